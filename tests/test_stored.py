"""A stored map reads back as it was, and a folder that is not whole is refused with what to do."""

import json

import made_up
import numpy as np
import pytest

from lightcheck import report, stored
from lightcheck.errors import LightcheckError


@pytest.fixture(scope="module")
def result():
    return made_up.hump_map()


@pytest.fixture
def folder(result, tmp_path):
    report.write(result, tmp_path / "map")
    return tmp_path / "map"


def test_a_map_reads_back_as_it_was(result, folder):
    back = stored.read(folder)
    assert back.grid == result.patch.grid
    np.testing.assert_allclose(back.height_mm, result.fair.height_mm, atol=1e-6)
    np.testing.assert_allclose(back.draws_mm, result.fair.draws_mm, atol=1e-3)
    assert [(c.card, c.x_mm, c.y_mm) for c in back.cards] == [
        (c.card, c.x_mm, c.y_mm) for c in result.patch.cards
    ]
    assert (back.least_mm, back.longest_mm) == (result.recipe.least_mm, result.recipe.longest_mm)
    for now, was in zip(back.spots, result.spots, strict=True):
        assert (now.number, now.kind, now.place, now.doubts) == (was.number, was.kind, was.place, was.doubts)
        assert now.height_mm == pytest.approx(was.height_mm, abs=1e-4)
        assert now.turn_rad == pytest.approx(was.turn_rad, abs=1e-3)
        np.testing.assert_allclose(now.outline_mm, was.outline_mm, atol=0.06)


def test_the_wood_lies_the_right_way_up_on_its_sheet(result, folder):
    back = stored.read(folder)
    assert back.wood_grid.cell_mm == pytest.approx(result.patch.grid.cell_mm / result.patch.times)
    seen = np.isfinite(result.patch.fine_log_light).any(axis=0)
    np.testing.assert_array_equal(back.wood > 0, seen)
    light = np.nanmean(result.patch.fine_log_light[:, seen], axis=0)
    assert np.corrcoef(light, back.wood[seen])[0, 1] > 0.5


def _newer(folder):
    facts = json.loads((folder / "map.json").read_text())
    (folder / "map.json").write_text(json.dumps(facts | {"schema": 99}))


def _other_sheet(folder):
    facts = json.loads((folder / "map.json").read_text())
    facts["grid"]["nx"] += 1
    (folder / "map.json").write_text(json.dumps(facts))


def _cut(name):
    def damage(folder):
        whole = (folder / name).read_bytes()
        (folder / name).write_bytes(whole[: len(whole) // 2])

    return damage


@pytest.mark.parametrize(
    ("damage", "problem"),
    [
        (_newer, "newer"),
        (_other_sheet, "belong together"),
        (_cut("map.json"), "can not be read"),
        (_cut("map.npz"), "missing or damaged"),
        (_cut("draws.npz"), "missing or damaged"),
        (_cut("wood.png"), "missing or damaged"),
        (lambda folder: (folder / "draws.npz").unlink(), "missing or damaged"),
        (lambda folder: (folder / "map.json").unlink(), "not the result folder"),
    ],
)
def test_a_folder_that_is_not_whole_is_refused(folder, damage, problem):
    damage(folder)
    with pytest.raises(LightcheckError, match=problem) as refusal:
        stored.read(folder)
    assert refusal.value.remedy
