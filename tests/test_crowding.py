"""What a map says where much of the wood is off fair and all light came along one line."""

from dataclasses import replace

import numpy as np
import pytest
from laid import SHEET, bump, relief_of

from lightcheck.humpmap.warn import crowding_warnings

WAVES = 0.1 * np.sin(SHEET.mesh_mm()[1] / 20.0)
ONE_HUMP = bump(0.0, 0.0, 0.5, 30.0)


def under(z_mm, *bearings_deg, kind="lamp"):
    """The warnings of a relief under lamps at these bearings."""
    relief = relief_of(z_mm, lamps=len(bearings_deg))
    turns = np.radians(bearings_deg)
    places = [900 * np.array([np.cos(t), np.sin(t), 0.1]) for t in turns]
    lamps = tuple(replace(a, kind=kind, place_mm=p) for a, p in zip(relief.lamps, places, strict=True))
    return list(crowding_warnings(replace(relief, lamps=lamps), z_mm))


@pytest.mark.parametrize("kind", ["lamp", "far"])
def test_waves_under_an_opposed_pair_are_told(kind):
    (sentence,) = under(WAVES, 180, 5, kind=kind)
    assert "one line" in sentence and "right angles" in sentence


@pytest.mark.parametrize("bearings", [(90, 210, 330), (180, 90), (180, 0, 90)])
def test_light_from_more_sides_is_enough(bearings):
    assert under(WAVES, *bearings) == []


def test_a_fair_board_with_a_hump_is_no_crowd():
    assert under(ONE_HUMP, 180, 0) == []


def test_one_photo_has_its_own_warning():
    assert under(WAVES, 180) == []


def test_the_flash_does_not_count_as_another_side():
    relief = relief_of(WAVES, lamps=2)
    rake, flash = relief.lamps
    flash = replace(flash, kind="flash", place_mm=np.array([0.0, 300.0, 750.0]))
    assert len(list(crowding_warnings(replace(relief, lamps=(rake, flash)), WAVES))) == 1
