"""The templates of the demo: a pattern and the daylight under it, and a map that hangs on two templates."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from lightcheck.cli.demo import nearest
from lightcheck.cli.demo_shots import lamp_words, shoot
from lightcheck.report.demo import Step

STATION, BLADE = "station-4", "rudder-blade"
NONE = "none"  # true height of a spot that was found where nothing was made
_NOT_THERE = (
    f"Where the table says '{NONE}', the map lists a spot that is not in the wood. Spots at the very edge of "
    "the map are the least sure, and the report says which those are: lay a straightedge there."
)


def station(out: Path, tell) -> Step:
    """Table of offsets, pattern of station 4, and the daylight under the template cut to it."""
    from lightcheck.report import daylight_words as words

    folder = out / STATION
    folder.mkdir()
    tell("Drawing the pattern of station 4 from the table of offsets.")
    drawn = _pattern(folder)
    tell("Photographing its template on the panel, and reading the daylight.")
    held, reading = _read(folder, drawn)
    small = ",".join(str(c.card) for c in drawn.cards)
    return Step(
        title="A template from the drawings, and the daylight under it",
        words=(
            "The table of offsets gives a full-size pattern with places for cards. The template cut to it is "
            "held on the panel after pass 1, its tick on the centreline, a bright sheet behind it.",
            "It rests on the hump beside the centreline and shows daylight to both sides: the "
            f"{words.largest_words(reading)}.",
        ),
        typed=(
            f"lightcheck pattern {STATION}/offsets.csv --station 4 --cards {small} -o {STATION}/pattern.pdf",
            f"lightcheck daylight {STATION}/template.jpg --outline {STATION}/pattern.csv --seat tick,square "
            f"-o {STATION}/daylight",
        ),
        open=(
            (f"{STATION}/daylight/daylight.png", "the daylight, and the wood off its designed shape"),
            (f"{STATION}/pattern.pdf", "the pattern at full size, on tiled sheets"),
            (f"{STATION}/template.jpg", "the photo"),
            (f"{STATION}/offsets.csv", "the table of offsets"),
        ),
        picture=f"{STATION}/template.jpg",
        caption="The template of station 4 on the panel, against the light.",
        head=("mm along the edge", "true daylight", "found", "give or take"),
        rows=_daylight_rows(held, reading),
    )  # fmt: skip


def _pattern(folder: Path):
    """Write the table and the four files of the pattern; returns the pattern."""
    from lightcheck import offsets, pattern
    from lightcheck.pattern.pages import pdf
    from lightcheck.pattern.vector import dxf, svg
    from lightcheck.specimen import scenario

    (folder / "offsets.csv").write_text(scenario.offsets_csv(), encoding="utf-8")
    drawn = pattern.make(offsets.read(folder / "offsets.csv"), pattern.Cut(station="4", cards=(20, 21)))
    (folder / "pattern.pdf").write_bytes(pdf(drawn, paper="a4"))
    for ending, text in ((".csv", pattern.outline_csv(drawn)), (".svg", svg(drawn)), (".dxf", dxf(drawn))):
        (folder / f"pattern{ending}").write_text(text, encoding="utf-8")
    return drawn


def _read(folder: Path, drawn):
    """Photograph and read the template cut to a pattern: as it was held, and its reading."""
    from lightcheck import template
    from lightcheck.report import daylight as files
    from lightcheck.specimen import scenario

    cards = tuple((c.card, c.x_mm, c.y_mm, c.turn_rad) for c in drawn.cards)
    held = scenario.held_at_station(scenario.passes()[0].board, drawn.edge.at_mm, drawn.sheet_mm, cards)
    photo = scenario.shoot_held(held, folder / "template.jpg", seed=3)
    asked = template.Asked(
        seat=template.seat(("tick", "square")),
        design=template.Design(outline=template.read_outline(str(folder / "pattern.csv"))),
    )
    reading = template.measure(photo, asked=asked)
    files.write(reading, folder / "daylight")
    return held, reading


def _daylight_rows(held, reading) -> tuple[tuple[str, ...], ...]:
    """True and found daylight at places spread over the edge."""
    (_, x0, y0, _), (_, x1, y1, _) = sorted(held.cards)
    along = np.array([x1 - x0, y1 - y0]) / np.hypot(x1 - x0, y1 - y0)
    x = (x0 + x1) / 2 + reading.edge_mm @ (along[0], -along[1])
    true = held.daylight_mm(x)
    seen = np.flatnonzero(np.isfinite(reading.daylight_mm))
    chosen = seen[np.round(np.linspace(0.04, 0.96, 8) * (len(seen) - 1)).astype(int)]
    return tuple(
        (
            f"{reading.along_mm[i]:.0f}",
            f"{true[i]:.2f}",
            f"{reading.daylight_mm[i]:.2f}",
            f"{max(reading.sigma_mm[i], 0.01):.2f}",
        )
        for i in chosen
    )


def held_map(out: Path, tell) -> Step:
    """The rudder blade, its lamps written down a quarter too high, held by two straight templates."""
    from lightcheck.specimen import scenario

    visit, folder = scenario.blade(), out / BLADE
    tell("The rudder blade: photographing it under three lamps, and two straight templates along it.")
    photos, true_lamps = shoot(visit, folder / "photos")
    lamps = tuple(scenario.hooded(spec) for spec in true_lamps)
    readings = [_blade_reading(visit, folder, line) for line in range(2)]
    tell("Mapping it, held by the two templates.")
    lines = scenario.BLADE_LINES_MM
    result = _map_blade(folder, photos, lamps, tuple(zip(readings, lines, strict=True)))
    rows = _held_rows(visit.board.humps, result)
    names = " ".join(f"{BLADE}/photos/{p.name}" for p in photos)
    hung = " ".join(f"--template {BLADE}/reading-{n}/@y={y:g}mm" for n, y in enumerate(lines, start=1))
    return Step(
        title="Templates that hold the map",
        words=(
            "The helper measured the lamps to the top of the hood instead of the bulb, so every lamp was "
            "written down a quarter too high, and from the photos alone heights come out too large. Two "
            "straight templates held along the blade put that right.",
            "The report says what the templates changed.",
            *([_NOT_THERE] if any(true == NONE for _, true, *_ in rows) else []),
        ),
        typed=(
            *(f"lightcheck daylight {BLADE}/template-{n}.jpg -o {BLADE}/reading-{n}" for n in (1, 2)),
            f"lightcheck map {names} {lamp_words(lamps)} {hung} -o {BLADE}/map",
        ),
        open=(
            (f"{BLADE}/map/report.html", "the map of the blade, with what the templates changed"),
            (f"{BLADE}/reading-1/daylight.png", "the daylight under the first template"),
        ),
        picture=f"{BLADE}/map/map.png",
        caption="The rudder blade, held by two templates.",
        head=("at x, y (mm)", "true", "photos alone", "with templates", "give or take"),
        rows=rows,
    )


def _map_blade(folder: Path, photos, lamps, held: tuple[tuple[Path, float], ...]):
    """Map the blade. held: (reading's folder, its y) of each template."""
    from lightcheck import humpmap, report

    templates = tuple(f"{reading}/@y={y:g}mm" for reading, y in held)
    recipe = humpmap.Recipe(photos=tuple(map(str, photos)), lamps=lamps, templates=templates)
    result = humpmap.make(recipe)
    report.write(result, folder / "map")
    return result


def _blade_reading(visit, folder: Path, line: int) -> Path:
    """Photograph and read the template on one line of the blade; returns the reading's folder."""
    from lightcheck import template
    from lightcheck.report import daylight as files
    from lightcheck.specimen import scenario

    held = scenario.held_along_blade(visit.board, line)
    photo = scenario.shoot_held(held, folder / f"template-{line + 1}.jpg", seed=5 + line)
    files.write(template.measure(photo), folder / f"reading-{line + 1}")
    return folder / f"reading-{line + 1}"


def _held_rows(humps, result) -> tuple[tuple[str, ...], ...]:
    """Heights at the place of each spot, with the templates and without."""
    rows, matched = [], set()
    for hump in sorted(humps, key=lambda h: -abs(h.height_mm)):
        spot = nearest(hump, [s for s in result.spots if s.number not in matched])
        place, true = f"{hump.x_mm:.0f}, {hump.y_mm:.0f}", f"{hump.height_mm:+.2f}"
        if spot is None:
            rows.append((place, true, "", "not listed", ""))
            continue
        matched.add(spot.number)
        rows.append((place, true, *_both_ways(spot, result)))
    for spot in result.spots:
        if spot.number not in matched:
            place = f"{spot.x_mm:.0f}, {spot.y_mm:.0f}"
            rows.append((place, NONE, *_both_ways(spot, result)))
    return tuple(rows)


def _both_ways(spot, result) -> tuple[str, str, str]:
    """Height at a spot from the photos alone, with the templates, and its give or take."""
    row, column = result.patch.grid.index(spot.x_mm, spot.y_mm)
    alone = result.without_mm[round(float(row)), round(float(column))]
    return f"{alone:+.2f}", f"{spot.height_mm:+.2f}", f"{max(spot.sigma_mm, 0.01):.2f}"
