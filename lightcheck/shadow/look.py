"""All shadows that were named, looked for on a patch."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from lightcheck.errors import LightcheckError
from lightcheck.grid import Grid, frozen
from lightcheck.lamp import Lamp
from lightcheck.patch import Patch
from lightcheck.shadow.fit import RIM_MM, Shadow, measure
from lightcheck.shadow.things import ShadowSpec
from lightcheck.shadow.window import Setting

LOWER = 0.6  # share of a lamp's elevation: a lamp a little lower than was read casts a longer shadow


def find(specs: tuple[ShadowSpec, ...], patch: Patch, lamps: tuple[Lamp, ...]) -> tuple[Shadow, ...]:
    """Measure every named shadow, in every raking shot or in the one that was named.

    lamps: one per shot of the patch. Refuses a photo or a card that is not there.
    """
    fine, found = patch.grid.finer(patch.times), []
    for spec in specs:
        at = _place(spec, patch)
        for shot in _shots(spec, patch, lamps):
            others = [i for i in range(len(lamps)) if i != shot and lamps[i].kind != "off"]
            setting = Setting(
                photo=patch.names[shot], base=patch.base, eye_mm=getattr(patch.views[shot], "eye_mm", None)
            )
            sheet, rest = patch.fine_log_light[shot], patch.fine_log_light[others]
            found.append(measure(sheet, fine, thing=spec.thing, at_mm=at, others=rest, setting=setting))
    return tuple(found)


def covered(shadows: tuple[Shadow, ...], grid: Grid, lamps: tuple[Lamp, ...] = ()) -> np.ndarray:
    """(ny, nx) bool: cells that a thing or any of its shadows lies on; no height is to be read there.

    lamps: those under which shadows lie that were not measured, because another photo was named.
    """
    hidden = np.zeros(grid.shape, bool)
    for one in shadows:
        steep = max(one.elevation_rad - one.lamp_rad, one.elevation_rad / 3)
        ways = [(one.towards[:2], steep)]
        for lamp in (a for a in lamps if a.rakes):
            to = lamp.place_mm - one.top_mm
            ways.append((to[:2], LOWER * np.arctan2(max(to[2], 1.0), np.hypot(*to[:2]))))
        for towards, elevation in ways:
            hidden |= _dark(one, grid, towards, elevation)
    return hidden


def _dark(one: Shadow, grid: Grid, towards: np.ndarray, elevation_rad: float) -> np.ndarray:
    """(ny, nx) bool: under the thing, or in its shadow of a light in this direction."""
    x, y = grid.mesh_mm()
    radius = max(one.thing.length_mm, one.thing.width_mm) / 2 + RIM_MM + grid.cell_mm
    away = -(towards / max(np.hypot(*towards), 1e-9))
    dx, dy = x - one.top_mm[0], y - one.top_mm[1]
    along = np.clip(dx * away[0] + dy * away[1], 0.0, one.thing.thick_mm / np.tan(elevation_rad))
    return np.hypot(dx - along * away[0], dy - along * away[1]) < radius


def uncovered(patch: Patch, shadows: tuple[Shadow, ...], lamps: tuple[Lamp, ...] = ()) -> Patch:
    """The patch with what the things and their shadows lie on taken for unseen: there is no wood to map."""
    if not shadows:
        return patch
    hidden = covered(shadows, patch.grid, lamps)
    return replace(
        patch, log_light=frozen(np.where(hidden, np.nan, patch.log_light)),
        wood=frozen(patch.wood & ~hidden, bool),
    )  # fmt: skip


def about(specs: tuple[ShadowSpec, ...], patch: Patch) -> np.ndarray:
    """(k, 2) places at which the things are said to lie, to a centimetre or so. [mm]"""
    return np.array([_place(spec, patch) for spec in specs]).reshape(-1, 2)


def _place(spec: ShadowSpec, patch: Patch) -> np.ndarray:
    at = np.array([spec.x_mm, spec.y_mm])
    if spec.card is None:
        return at
    card = next((c for c in patch.cards if c.card == spec.card), None)
    if card is None:
        raise LightcheckError(
            f"'{spec.text[:80]}': card {spec.card} is not in the photos.",
            f"Cards seen: {', '.join(str(c.card) for c in patch.cards) or 'none'}.",
        )
    return at + np.array([card.x_mm, card.y_mm])


def _shots(spec: ShadowSpec, patch: Patch, lamps: tuple[Lamp, ...]) -> list[int]:
    raking = [i for i, a in enumerate(lamps) if a.rakes]
    if spec.photo is None:
        return raking
    named = _named(spec.photo, patch.names)
    if not set(named) & set(raking):
        raise LightcheckError(
            f"'{spec.text[:80]}': there is no raking photo of that name.",
            f"Photos: {', '.join(patch.names[i] for i in raking)}. Leave the name out to look in all.",
        )
    return [i for i in named if i in raking]


def _named(typed: str, names: tuple[str, ...]) -> list[int]:
    """Shots of a file name, or else of a name without its ending, or else the shot of a number."""
    tail = typed.replace("\\", "/").rsplit("/", 1)[-1]
    ways = (
        [i for i, name in enumerate(names) if name == tail],
        [i for i, name in enumerate(names) if name.rsplit(".", 1)[0] == tail],
        [i for i in range(len(names)) if str(i + 1) == tail],
    )
    return next((w for w in ways if w), [])
