"""Nothing of a job is lost: killed at any moment, disk full, two at once, a photo gone, clock set back."""

import errno
import json
import os
import random
import shutil
import time

import job_add
import job_maps
import pytest

from lightcheck import job
from lightcheck.errors import LightcheckError
from lightcheck.job import keep, lock, opened

forking = pytest.mark.skipif(not hasattr(os, "fork"), reason="processes are forked here")
KILLS = 50


@pytest.fixture(scope="module")
def adder():
    program = job_add.Adder()
    yield program
    program.close()


@pytest.fixture(scope="module")
def one_pass(tmp_path_factory):
    """A job with one pass, never changed by a test."""
    folder = tmp_path_factory.mktemp("one") / "job"
    job.create(folder, job.toml(part="rudder blade", tolerances=("0.3mm over 300mm",)))
    job_add.add(folder, job_add.photos(folder.parent, 0))
    return folder


@pytest.fixture(autouse=True)
def quick_disk(monkeypatch):
    """Waiting for the disk only matters when the power fails, which is not tried here."""
    monkeypatch.setattr(os, "fsync", lambda _: None)


@pytest.fixture
def folder(one_pass, tmp_path):
    shutil.copytree(one_pass, tmp_path / "job")
    return tmp_path / "job"


def whole(folder, numbers) -> None:
    """These passes are there, their photos byte for byte what was added, nothing odd is told of them."""
    held = job.open_job(folder)
    assert [p.number for p in held.passes] == list(numbers)
    assert held.damaged == () and held.told == ()
    for one in held.passes:
        assert len(one.photos) == 2
        assert job.changed_photos(one) == ()


def maps_of(folder) -> list:
    held = job.open_job(folder)
    return [job.made(held, one) for one in held.passes]


def after_a_kill(folder, before: list) -> list:
    """Check a job whose add was killed. before: maps of its passes; returns those that it has now."""
    now = maps_of(folder)
    assert len(now) in (len(before), len(before) + 1)
    assert now[: len(before)] == before
    whole(folder, range(1, len(now) + 1))
    if len(now) > len(before) and job.open_job(folder).passes[-1].map_folder.exists():
        assert now[-1] is not None and now[-1].current, "a map folder in place is a whole one"
    return now


@forking
def test_killed_at_any_moment_of_an_add_the_job_is_whole(adder, folder, tmp_path):
    start = time.monotonic()
    adder.start(folder, job_add.photos(tmp_path, 1))
    assert adder.end() == 0
    usual = time.monotonic() - start
    moments, maps, killed = random.Random(11), maps_of(folder), 0
    for number in range(2, KILLS + 2):
        shots = job_add.photos(tmp_path, number)
        kept = [p.read_bytes() for p in shots]
        adder.start(folder, shots, kill_s=moments.uniform(0, 1.1 * usual))
        killed += adder.end() == job_add.KILLED
        maps = after_a_kill(folder, maps)
        assert [p.read_bytes() for p in shots] == kept
    assert killed > 0
    job_add.add(folder, job_add.photos(tmp_path, KILLS + 2))
    whole(folder, range(1, len(maps) + 2))
    assert opened.left_over(folder) == []


@forking
def test_stopped_before_every_touch_of_a_file_the_job_is_whole_and_the_add_can_be_repeated(
    adder, one_pass, tmp_path
):
    shots, before = job_add.photos(tmp_path, 1), maps_of(one_pass)
    seen, status = set(), job_add.KILLED
    for at in range(1, 1000):
        folder = tmp_path / f"job-{at}"
        shutil.copytree(one_pass, folder)
        adder.start(folder, shots, at=at)
        status = adder.end()
        maps = after_a_kill(folder, before)
        seen.add((len(maps), maps[-1] is not None and len(maps) > 1))
        if status == 0:
            break
        assert status == job_add.KILLED
        if len(maps) == 1:
            job_add.add(folder, shots)
        else:
            with job.changing(folder, "job show") as (held, _):
                job.make(held, held.get(2), job_maps.Shaped())
        whole(folder, (1, 2))
        assert opened.left_over(folder) == [] and opened.without_pass(job.open_job(folder)) == ()
        shutil.rmtree(folder)
    assert status == 0
    assert seen == {(1, False), (2, False), (2, True)}, "before, between and after were all met"


def test_a_file_reaches_the_disk_before_it_gets_its_name_and_its_name_after(folder, tmp_path, monkeypatch):
    """write, fsync, rename, fsync the folder: the order that survives a power cut (POSIX rename)."""
    steps, inodes = [], {}
    replace = os.replace

    def noted_replace(source, target):
        steps.append(("named", os.stat(source).st_ino))
        inodes[os.stat(source).st_ino] = os.stat(os.path.dirname(target)).st_ino
        replace(source, target)

    monkeypatch.setattr(os, "fsync", lambda handle: steps.append(("kept", os.fstat(handle).st_ino)))
    monkeypatch.setattr(os, "replace", noted_replace)
    keep.write_json(tmp_path / "a.json", {"a": 1})
    keep.copy_in(job_add.photos(tmp_path, 1)[0], folder / "originals")
    assert len(inodes) == 2
    for number, (what, inode) in enumerate(steps):
        if what == "named":
            assert ("kept", inode) in steps[:number]
            assert ("kept", inodes[inode]) in steps[number:]


def test_a_command_that_was_cut_short_is_told_and_its_leftovers_go(folder):
    (folder / "passes" / f"{keep.PART}x").mkdir()
    (folder / "passes" / "01" / f"{keep.MAKING}y").mkdir()
    (folder / lock.NAME).write_text(json.dumps({"command": "job add", "process": 1}))
    with job.changing(folder, "job undo") as (held, cut_short):
        assert cut_short == "job add"
        assert [p.number for p in held.passes] == [1]
    assert opened.left_over(folder) == []
    with job.changing(folder, "job undo") as (_, cut_short):
        assert cut_short is None


@forking
@pytest.mark.parametrize("file_bytes", [1000, 4000, 12000])
def test_a_disk_that_fills_up_costs_no_earlier_pass(adder, folder, tmp_path, file_bytes):
    """1000: not even a photo fits. 4000: a photo does, the map does not. 12000: half the map."""
    shots = job_add.photos(tmp_path, 1)
    assert 1000 < shots[0].stat().st_size < 4000
    adder.start(folder, shots, file_bytes=file_bytes, told=str(tmp_path / "told"))
    assert adder.end() == 1
    problem, remedy = (tmp_path / "told").read_text().splitlines()
    if file_bytes == 1000:
        assert "the disk is full" in problem and "Earlier passes are whole" in problem
        whole(folder, (1,))
        assert opened.without_pass(job.open_job(folder)) == ()
    else:
        assert "photos of pass 2 are kept, but its map" in problem and "--pass 2" in remedy
        whole(folder, (1, 2))
        with job.changing(folder, "job show") as (held, _):
            assert job.make(held, held.get(2), job_maps.Shaped()), "room was made"
    held = job.open_job(folder)
    assert job.made(held, held.passes[0]).current
    assert opened.left_over(folder) == []


def test_no_byte_is_copied_where_there_is_no_room(folder, tmp_path, monkeypatch):
    usage = shutil.disk_usage(folder)
    monkeypatch.setattr(keep.shutil, "disk_usage", lambda _: usage._replace(free=1 << 20))
    before = sorted(p.name for p in (folder / "originals").iterdir())
    with pytest.raises(LightcheckError, match="MB left"):
        job_add.add(folder, job_add.photos(tmp_path, 1))
    assert sorted(p.name for p in (folder / "originals").iterdir()) == before


@pytest.mark.parametrize(
    ("number", "words"),
    [
        (errno.ENOSPC, "the disk is full"),
        (errno.EDQUOT, "the disk is full"),
        (errno.EROFS, "may not be written to"),
        (errno.EIO, "Check the disk"),
    ],
)
def test_a_disk_that_fails_at_the_last_step_leaves_no_pass(folder, tmp_path, monkeypatch, number, words):
    def fails(source, target):
        raise OSError(number, os.strerror(number))

    monkeypatch.setattr("lightcheck.job.work.os.rename", fails)
    with pytest.raises(LightcheckError) as refused:
        job_add.add(folder, job_add.photos(tmp_path, 1))
    assert words in f"{refused.value.problem} {refused.value.remedy}"
    monkeypatch.undo()
    whole(folder, (1,))
    assert opened.without_pass(job.open_job(folder)) == ()


def test_two_commands_at_once_one_waits_and_is_refused(folder, tmp_path):
    second = lock.held(folder, "job undo", patience_s=0.2)
    with lock.held(folder, "job add"), pytest.raises(LightcheckError) as refused, second:
        pass
    assert "(job add) is working on this job" in refused.value.problem
    assert "Wait" in refused.value.remedy
    whole(folder, (1,))
    job_add.add(folder, job_add.photos(tmp_path, 1))
    whole(folder, (1, 2))


@forking
def test_two_adds_at_once_become_two_passes(adder, folder, tmp_path):
    """Two programs, each forking one add; the kernel decides who is first."""
    other = job_add.Adder()
    for n, program in enumerate((adder, other), start=1):
        program.start(folder, job_add.photos(tmp_path, n), told=str(tmp_path / f"told-{n}"))
    assert [adder.end(), other.end()] == [0, 0], "each waits for the other"
    other.close()
    whole(folder, (1, 2, 3))
    held = job.open_job(folder)
    assert len({p.sha256 for one in held.passes for p in one.photos}) == 6


def test_reading_needs_no_lock(folder):
    with lock.held(folder, "job add"):
        assert len(job.look(job.open_job(folder)).rows) == 1


def test_a_photo_removed_by_hand_is_named_and_can_be_put_back(folder, tmp_path):
    shots = job_add.photos(tmp_path, 1)
    job_add.add(folder, shots)
    held = job.open_job(folder)
    lost = held.get(2).photos[1]
    lost.path.unlink()
    view = job.look(job.open_job(folder))
    assert [row.current for row in view.rows] == [True, True], "maps made before stay"
    (sentence,) = view.told
    assert "Pass 2: 1-b.jpg is not there any more" in sentence and lost.path.name in sentence
    with job.changing(folder, "job show") as (held, _), pytest.raises(LightcheckError) as refused:
        job.make(held, held.get(2), job_maps.Shaped(), again=True)
    assert "1-b.jpg is not there any more" in refused.value.problem
    assert lost.path.name in refused.value.remedy
    shutil.copy(shots[1], lost.path)
    whole(folder, (1, 2))


def test_a_photo_changed_by_hand_is_not_mapped(folder):
    kept = job.open_job(folder).get(1).photos[0].path
    kept.chmod(0o644)
    content = bytearray(kept.read_bytes())
    content[-10] ^= 1
    kept.write_bytes(content)
    held = job.open_job(folder)
    assert held.told == (), "its size is the same; only reading it through tells"
    assert job.changed_photos(held.get(1)) == ("0-a.jpg",)
    with job.changing(folder, "job show") as (held, _), pytest.raises(LightcheckError, match="was changed"):
        job.make(held, held.get(1), job_maps.Shaped(), again=True)


def test_a_clock_set_back_is_told_and_changes_nothing(folder, tmp_path, monkeypatch):
    monkeypatch.setattr("lightcheck.job.work.now", lambda: "2001-02-03T04:05:06+00:00")
    job_add.add(folder, job_add.photos(tmp_path, 1))
    held = job.open_job(folder)
    assert [p.number for p in held.passes] == [1, 2] and held.next_number == 3
    (sentence,) = held.told
    assert "clock" in sentence and "nothing is lost" in sentence
    assert job.look(held).last.one.number == 2


def _no_facts(folder):
    (folder / "passes" / "01" / "pass.json").unlink()


def _cut_facts(folder):
    path = folder / "passes" / "01" / "pass.json"
    path.write_text(path.read_text()[:100])


def _newer_facts(folder):
    path = folder / "passes" / "01" / "pass.json"
    path.write_text(json.dumps(json.loads(path.read_text()) | {"schema": 99}))


def _climbing_facts(folder):
    path = folder / "passes" / "01" / "pass.json"
    facts = json.loads(path.read_text())
    facts["photos"][0]["sha256"] = "../../secret"
    path.write_text(json.dumps(facts))


@pytest.mark.parametrize(
    ("spoil", "words"),
    [
        (_no_facts, "has lost its pass.json"),
        (_cut_facts, "can not be read"),
        (_newer_facts, "newer lightcheck"),
        (_climbing_facts, "can not be read"),
    ],
)
def test_a_damaged_pass_leaves_the_others_whole_and_its_number_taken(folder, tmp_path, spoil, words):
    job_add.add(folder, job_add.photos(tmp_path, 1))
    spoil(folder)
    held = job.open_job(folder)
    assert [p.number for p in held.passes] == [2] and held.next_number == 3
    assert any(words in s and "others" in s.replace("other passes", "others") for s in held.told)
    assert job.changed_photos(held.get(2)) == ()
    with pytest.raises(LightcheckError, match="Pass 1"):
        held.get(1)


def test_a_pass_or_a_map_deleted_by_hand_is_told_or_made_again(folder, tmp_path):
    job_add.add(folder, job_add.photos(tmp_path, 1))
    shutil.rmtree(folder / "passes" / "02" / "map")
    assert job.look(job.open_job(folder)).rows[1].made is None
    with job.changing(folder, "job show") as (held, _):
        assert job.make(held, held.get(2), job_maps.Shaped())
    shutil.rmtree(folder / "passes" / "01")
    held = job.open_job(folder)
    assert [p.number for p in held.passes] == [2]
    assert held.told == ("Pass 1 is missing from passes/.",)


def test_a_job_that_lost_its_settings_opens_and_can_be_given_new_ones(folder, tmp_path):
    (folder / "job.toml").unlink()
    held = job.open_job(folder)
    assert [p.number for p in held.passes] == [1] and "job.toml is missing" in held.told[0]
    with pytest.raises(LightcheckError, match=r"job\.toml is missing"):
        job_add.add(folder, job_add.photos(tmp_path, 1))
    job.create(folder, job.toml(part="rudder blade"))
    whole(folder, (1,))
