"""The demo's story, step by step: each is made by the same functions as the command named beside it."""

from __future__ import annotations

import time
from pathlib import Path

from lightcheck.cli import demo_held as held
from lightcheck.cli import demo_panel as panel
from lightcheck.cli.demo_shots import lamp_words, shoot
from lightcheck.cli.options import say
from lightcheck.report.demo import Step


def short(out: Path) -> tuple[Step, ...]:
    """The first map alone."""
    from lightcheck import humpmap, report
    from lightcheck.specimen import scenario

    visit, folder = scenario.passes()[0], out / panel.PANEL
    say("Photographing the bottom panel, lamp left and lamp right.")
    photos, lamps = shoot(visit, folder / "photos")
    say("Mapping it.")
    result = humpmap.make(humpmap.Recipe(photos=tuple(map(str, photos)), lamps=lamps))
    report.write(result, folder / "map")
    names = " ".join(f"{panel.PANEL}/photos/{p.name}" for p in photos)
    typed = f"lightcheck map {names} {lamp_words(lamps)} -o {panel.PANEL}/map"
    return (panel.first(visit, result.spots, map_at=f"{panel.PANEL}/map", typed=(typed,)),)


def whole(out: Path) -> tuple[Step, ...]:
    """The whole story; `out` is there and empty of an earlier one."""
    started = time.monotonic()

    def tell(words: str) -> None:
        say(f"{time.monotonic() - started:5.0f} s  {words}")

    (out / panel.PANEL).mkdir()
    panel.new_job(out / panel.PANEL / "job")
    steps = (
        panel.pass_one(out, tell),
        panel.working_list(out, tell),
        held.station(out, tell),
        panel.next_pass(out, 2, tell),
        panel.next_pass(out, 3, tell),
        panel.ready(out, tell),
        held.held_map(out, tell),
    )
    tell("Done.")
    return steps
