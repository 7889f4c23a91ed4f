"""Page: one printable file for people, its pictures inside, nothing fetched from outside."""

from __future__ import annotations

import platform
from typing import TYPE_CHECKING

import numpy as np

from lightcheck import __version__
from lightcheck.check import GREEN
from lightcheck.report import lamp, pictures, plots, words
from lightcheck.report.look import address, template
from lightcheck.report.tables import Shot, shots
from lightcheck.units import height_words

if TYPE_CHECKING:
    from lightcheck.humpmap import HumpMap
    from lightcheck.spots import Spot
    from lightcheck.step import StepReading


def render(result: HumpMap, *, map_png: bytes, steps: tuple[StepReading, ...] = ()) -> str:
    """The whole page. map_png: the map picture, as in map.png.  steps: self-checks."""
    draws, reach = len(result.fair.draws_mm), lamp.reach_of(result)
    return template("page.html").render(
        verdict=words.verdict(result),
        sure=words.how_sure(result),
        spots=[_row(s, draws=draws) for s in result.spots],
        least=f"{result.recipe.least_mm:.2f} mm",
        draws=draws,
        photo=address(pictures.photo_jpeg(result), "jpeg"),
        map=address(map_png),
        sections=address(plots.sections_png(result)),
        lamps=address(pictures.lamps_png(result)),
        shots=[_shot(n, s) for n, s in enumerate(shots(result), start=1)],
        setting=_setting(result),
        warnings=result.warnings,
        held_by=words.held_by(result),
        reach=address(lamp.limit_png(result, reach)),
        reach_words=lamp.limit_words(reach, result.recipe.least_mm),
        shadows=tuple(c.sentence for c in result.shadows),
        steps=tuple(s.sentence for s in steps),
        method=words.method(result),
        limit=words.limit(result),
        rounding=words.ROUNDING,
        cautions=words.CAUTIONS,
        versions=(f"lightcheck {__version__}, Python {platform.python_version()}, NumPy {np.__version__}"),
    )


def _row(spot: Spot, *, draws: int) -> dict:
    return {
        "number": spot.number,
        "kind": spot.kind,
        "height": height_words(float(spot.height_mm), sigma_mm=float(spot.sigma_mm)),
        "come_off": words.come_off_words(spot),
        "extent": words.extent_words(spot),
        "place": spot.place,
        "chance": words.chance_words(float(spot.chance), draws=draws),
        "doubts": [str(d) for d in spot.doubts],
    }


def _shot(number: int, shot: Shot) -> dict:
    facts, found = shot.photo.facts, shot.found
    camera = [
        facts.model,
        facts.taken and facts.taken.replace(":", "-", 2),
        facts.exposure_s
        and (f"1/{1 / facts.exposure_s:.0f} s" if facts.exposure_s < 0.4 else f"{facts.exposure_s:.1f} s"),
        facts.iso and f"ISO {facts.iso:.0f}",
        facts.f_number and f"f/{facts.f_number:.1f}",
        facts.focal_35mm and f"{facts.focal_35mm:.0f} mm lens (35 mm terms)",
    ]
    dark = shot.lamp.strip().lower() == "off"
    place = "lamp off: the other light in the room" if dark else "not used for heights"
    if found is not None:
        place = words.lamp_words(found.place_mm, kind=found.kind, sigma_mm=found.sigma_mm)
    return {
        "number": number,
        "name": shot.photo.name,
        "sha256": shot.photo.sha256,
        "lamp": shot.lamp,
        "found": place,
        "camera": ", ".join(str(c) for c in camera if c) or "nothing noted by the phone",
        "misfit": "-" if shot.misfit_mm is None or number == 1 else f"{shot.misfit_mm:.2f} mm",
        "likeness": "-" if shot.likeness is None or number == 1 else f"{100 * shot.likeness:.0f} %",
    }


def _setting(result: HumpMap) -> list[tuple[str, str]]:
    """What was measured on the way, as (name, words)."""
    patch, relief, recipe = result.patch, result.relief, result.recipe
    across, tall = np.ptp(patch.grid.x_mm), np.ptp(patch.grid.y_mm)
    rows = [("Patch", f"{across:.0f} × {tall:.0f} mm, in cells of {patch.grid.cell_mm:g} mm")]
    if patch.cards:
        numbers = ", ".join(str(c.card) for c in patch.cards)
        rows.append(("Cards", f"{numbers}; found to {patch.corner_rms_px:.2f} pixels"))
        rows.append(("Printed ruler", " and ".join(f"{m:g} mm" for m in recipe.measured_mm) + " for 100 mm"))
    else:
        rows.append(("Scale", f"typed: {recipe.scale_mm_px} mm to the pixel"))
    rows.append(("Shape of the wood", _shape(patch.base)))
    slope = "; ".join(f"{r:.2f}" for r in relief.response)
    if result.findings:
        names = [f.name for f in result.findings if f.severity != GREEN]
        rows.append(("Faults found in the photos", ", ".join(names) or "none"))
    known = f". {result.response.sentence}" if result.response and result.response.sentence else ""
    rows.append(("Tone of the phone", f"{slope} from dark to light (1 is the standard curve){known}"))
    rows.append(("Other light in the room", f"{100 * relief.ambient_share:.1f} % of the lamp’s"))
    left = f"{100 * relief.noise:.1f} % of the light"
    rows.append(("Left unexplained", left if np.isfinite(relief.noise) else "one photo can not say"))
    return rows


def _shape(base) -> str:
    bends = np.linalg.eigvalsh([[base.along_x, base.twist], [base.twist, base.along_y]])
    most = float(bends[np.argmax(np.abs(bends))])
    if abs(most) < 1 / 50_000:
        return "flat"
    radius = f"{1 / abs(most) / 1000:.1f} m"
    if bends[0] * bends[1] < -0.1 * most**2:
        return f"twisted, sharpest radius {radius}"
    return f"{'rounded' if most < 0 else 'hollowed'}, sharpest radius {radius}"
