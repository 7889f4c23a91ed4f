"""Light: clipped, dark, hazy or tinted photos, and lamps that do not stand as typed."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from lightcheck.card import Sighting
from lightcheck.check import lamps as fit
from lightcheck.check.finding import AMBER, RED, Finding, height_of_light
from lightcheck.check.lit import Lit, middle
from lightcheck.check.sheet import Sheet
from lightcheck.lamp import Lamp
from lightcheck.photo import Photo

CLIPPED, MOST_CLIPPED = 0.02, 0.5  # share of the wood
CRUSHED = 0.05
DIM, DARK = 0.02, 0.006  # median linear light of the wood: 15 % and 8 % coded
HAZE = 0.16  # ink over paper, where bare toner on paper is 0.05 (own trial on path-traced photos: 0.04-0.07)
TINT = 0.08  # log of red over green or blue over green of the paper, between photos
TINT_SHARE = 0.02  # of light, that a tint turns into false contrast of coloured grain: own estimate
MUCH_AMBIENT, TOO_MUCH_AMBIENT = 0.30, 1.0  # of the lamp's light
SECOND, SECOND_GAIN = 0.15, 9.0  # a second lamp's light, and chi square that it explains
SURE_AMBIENT = 2.0  # of its own sigmas
SIDED = 0.10  # rms of the log light of paper that a lamp explains, in a photo of the room alone
ONE_SIDE_RAD = np.radians(50)
WRONG_TURN_RAD, WRONG_MISFIT = np.radians(50), 2.0
UNKNOWN_PART = 0.3  # of the contrast taken away by other light, that stays unknown: own estimate
USUAL_HUMP_MM = 0.5
LEAST_CONTRAST = 0.0045  # of light, peak: below this a hump can not be told from grain
HIGH_CONTRAST = 0.012  # below this it can, but with twice the doubt
USUAL_WIDTH_MM = 100.0
_SIDES = ("right", "top right", "top", "top left", "left", "bottom left", "bottom", "bottom right")


def exposure(photos: tuple[Photo, ...], sheet: Sheet, lamps: tuple[Lamp, ...]) -> Iterator[Finding]:
    """Clipped and crushed share, and darkness, on the wood between the cards."""
    for n, photo in enumerate(photos):
        if not lamps or lamps[n].kind != "off":
            yield from levels(photo, sheet.light[n][sheet.wood], sheet.spoilt[n][sheet.wood])


def unlaid(photo: Photo, sightings: tuple[Sighting, ...]) -> Iterator[Finding]:
    """The same where the wood can not be told from what is round it: between the cards, or the middle."""
    if len(sightings) > 1:
        corners = np.concatenate([s.corners_px for s in sightings])
        left, top = np.maximum(corners.min(axis=0), 0).astype(int)
        right, low = np.ceil(corners.max(axis=0)).astype(int) + 1
    else:
        wide, high = photo.size_px
        left, top, right, low = wide // 4, high // 4, wide - wide // 4, high - high // 4
    part = np.s_[top:low:3, left:right:3]
    yield from levels(photo, photo.light[part].ravel(), photo.spoilt[part].ravel())


def levels(photo: Photo, level: np.ndarray, spoilt: np.ndarray) -> Iterator[Finding]:
    """Whether wood of these levels of linear light is burnt out or too dark. (n,) each."""
    level, spoilt = level[np.isfinite(level)], spoilt[np.isfinite(level)]
    if not len(level):
        return
    clipped, crushed = (spoilt & (level > 0.3)).mean(), (spoilt & (level < 0.1)).mean()
    if clipped > CLIPPED:
        yield Finding(
            name="clipped", severity=RED if clipped > MOST_CLIPPED else AMBER, photo=photo.name,
            what=f"{clipped:.0%} of the wood is burnt out to white: nothing can be measured there.",
            remedy="Tap on the brightest wood, pull the exposure down, and take it again.",
        )  # fmt: skip
    usual = float(np.median(level))
    if usual < DIM or crushed > CRUSHED:
        yield Finding(
            name="dark", severity=RED if usual < DARK or crushed > MOST_CLIPPED else AMBER,
            photo=photo.name, sigma_mm=height_of_light(0.01 * DIM / max(usual, 1e-3)),
            what=f"The wood is dark: {crushed:.0%} of it is crushed to black, and the rest is noisy.",
            remedy="Give it more exposure, or bring the lamp nearer.",
        )  # fmt: skip


def lens(photos: tuple[Photo, ...], found: Lit) -> Iterator[Finding]:
    """Haze: stray light in the lens lifts the ink."""
    ink = middle(found.ink / np.exp(found.paper_log), axis=1) if found.ink.size else []
    for photo, share in zip(photos, ink, strict=False):
        if share > HAZE:
            yield Finding(
                name="hazy lens", severity=AMBER, photo=photo.name,
                sigma_mm=UNKNOWN_PART * (share - 0.06) * USUAL_HUMP_MM,
                what=f"Black print shows {share:.0%} as bright as paper: stray light veils the picture.",
                remedy="Wipe the lens, and shade it from the lamp with your hand.",
            )  # fmt: skip


def tint(photos: tuple[Photo, ...], found: Lit, lamps: tuple[Lamp, ...]) -> Iterator[Finding]:
    """White balance between photos, by the paper; a photo by the phone's own light may differ."""
    with np.errstate(invalid="ignore"):
        colour = middle(np.log(found.paper[..., [0, 2]] / found.paper[..., 1:2]), axis=1)
    usable = np.isfinite(colour).all(axis=1) & ~np.array([bool(p.facts.flash) for p in photos])
    usable &= np.array([lamp.rakes for lamp in lamps]) if lamps else _uneven(found)
    if usable.sum() < 2:
        return
    usual = np.median(colour[usable], axis=0)
    off = np.where(usable, np.abs(colour - usual).max(axis=1), 0.0)
    if usable.sum() == 2:
        off *= 2  # the median lies midway
    worst = int(np.argmax(off))
    if off[worst] > TINT:
        yield Finding(
            name="white balance changed", severity=AMBER, photo=photos[worst].name,
            sigma_mm=height_of_light(TINT_SHARE * off[worst] / 0.2),
            what=f"White paper has another tint in it than in the other photos ({off[worst]:.0%}).",
            remedy="Lock exposure and white balance, or use one kind of lamp and no daylight.",
        )  # fmt: skip


def _uneven(found: Lit) -> np.ndarray:
    """Photos in which the light falls off across the cards as under a raking lamp."""
    log = found.paper_log
    spread = np.where(np.isnan(log), -np.inf, log).max(axis=1) - np.where(np.isnan(log), np.inf, log).min(
        axis=1
    )
    return spread > 0.5


def placed(photos, sheet: Sheet, found: Lit, lamps: tuple[Lamp, ...]) -> Iterator[Finding]:
    """Lamps against the light that the cards and the wood show."""
    wrong = {}
    for n, lamp in enumerate(lamps):
        if lamp.rakes:
            best, least, typed = fit.bearing(sheet.base, lamp, found, n)
            if _turn(best, _bearing(lamp)) > WRONG_TURN_RAD and typed > max(WRONG_MISFIT * least, 0.25):
                wrong[n] = best
    if len(wrong) > 1 and _one_side(list(wrong.values()), [_bearing(lamps[n]) for n in wrong]):
        yield _stronger(float(np.angle(np.exp(1j * np.array(list(wrong.values()))).mean())))
    elif wrong:
        yield from (_wrong_side(photos[n], lamps[n], best) for n, best in wrong.items())
    else:
        yield from _other_light(photos, sheet, found, lamps)


def _bearing(lamp: Lamp) -> float:
    return float(np.arctan2(lamp.place_mm[1], lamp.place_mm[0]))


def _turn(a: float, b: float) -> float:
    return float(abs(np.angle(np.exp(1j * (a - b)))))


def _one_side(seen: list[float], typed: list[float]) -> bool:
    """Whether the light comes from one side in photos whose lamps were typed on several."""
    return max(_turn(seen[0], s) for s in seen) < ONE_SIDE_RAD < max(_turn(typed[0], t) for t in typed)


def _wrong_side(photo: Photo, lamp: Lamp, best: float) -> Finding:
    return Finding(
        name="lamp on the wrong side", severity=RED, photo=photo.name,
        what=f"The light comes from the {side(best)}, but '{lamp.spec[:40]}' was typed.",
        remedy="Give the photos and their --lamp in the same order; sides are as the first photo shows them.",
    )  # fmt: skip


def _stronger(rad: float) -> Finding:
    return Finding(
        name="second light", severity=RED,
        what=f"In these photos most light comes from the {side(rad)}, wherever the lamp was typed.",
        remedy="Turn off every other lamp and cover the window; move the lamp between the photos.",
    )  # fmt: skip


def side(rad: float) -> str:
    """A bearing in words: "top left"."""
    return _SIDES[round(np.degrees(rad) / 45) % 8]


def _other_light(photos, sheet: Sheet, found: Lit, lamps: tuple[Lamp, ...]) -> Iterator[Finding]:
    lit = [i for i, lamp in enumerate(lamps) if lamp.kind != "off"]
    if not lit:
        return
    part = Lit(
        paper=found.paper[lit], ink=found.ink[lit], half_mm=found.half_mm, tile_mm=found.tile_mm,
        wood=found.wood[lit], colour=found.colour[lit],
    )  # fmt: skip
    try:
        shares = fit.shares(sheet.base, tuple(lamps[i] for i in lit), part)
    except (ValueError, np.linalg.LinAlgError):  # too little paper and wood in sight
        return
    for i, share in zip(lit, shares, strict=True):
        if share is None:
            continue
        if share.gain > SECOND_GAIN and share.second > SECOND:
            yield second(photos[i].name, share.second, share.bearing_rad)
        elif share.ambient > MUCH_AMBIENT and share.ambient > SURE_AMBIENT * share.sigma:
            yield ambient(None, share.ambient)
            return


def second(name: str | None, share: float, rad: float) -> Finding:
    """The finding that another lamp or a window shines from one side."""
    return Finding(
        name="second light", severity=RED if share > TOO_MUCH_AMBIENT else AMBER,
        photo=name, sigma_mm=_doubt(share),
        what=f"A second light shines from the {side(rad)}, about {share:.0%} as strong as the lamp.",
        remedy="Turn off or cover every other lamp, and draw a cloth over the window.",
    )  # fmt: skip


def ambient(name: str | None, share: float) -> Finding:
    """The finding that so much light is not the lamp's."""
    return Finding(
        name="ambient light", severity=RED if share > TOO_MUCH_AMBIENT else AMBER, photo=name,
        sigma_mm=_doubt(share),
        what=f"About {share:.0%} as much light as the lamp's comes from the room or another lamp.",
        remedy="Wait for dusk or hang a tarpaulin, and take one more photo with the lamp off (--lamp off).",
    )  # fmt: skip


def _doubt(share: float) -> float:
    return UNKNOWN_PART * share / (1 + share) * USUAL_HUMP_MM


def lamp_off(photos, sheet: Sheet, found: Lit, lamps: tuple[Lamp, ...]) -> Iterator[Finding]:
    """Room light measured by the photo with the lamp off, scaled by the exposures."""
    for dark in (i for i, lamp in enumerate(lamps) if lamp.kind == "off"):
        raking = [i for i, lamp in enumerate(lamps) if lamp.rakes]
        if not all(photos[i].facts.gain for i in (dark, *raking)):
            yield Finding(
                name="lamp-off exposure unknown", severity=AMBER, photo=photos[dark].name,
                what="The exposures are not written down, so the lamp-off photo can not be scaled.",
                remedy="Use the files as the phone wrote them, with the exposure locked for the set.",
            )  # fmt: skip
            continue
        shares = [s for s in (_room_share(photos, sheet, dark, i) for i in raking) if s is not None]
        rest = float(np.median(shares)) if shares else 0.0
        if rest > MUCH_AMBIENT / (1 + MUCH_AMBIENT):
            rad, sided = fit.from_side(sheet.base, found.paper_log[dark], found.half_mm)
            share = rest / max(1 - rest, 0.1)
            yield second(photos[dark].name, share, rad) if sided > SIDED else ambient(None, share)


def _room_share(photos, sheet: Sheet, dark: int, shot: int) -> float | None:
    """Median share of a shot's light that was there without the lamp."""
    sound = sheet.wood & ~sheet.spoilt[shot] & np.isfinite(sheet.light[dark])
    if sound.sum() < 1000:
        return None
    ratio = float(np.median(sheet.light[dark][sound] / sheet.light[shot][sound]))
    return ratio * photos[shot].facts.gain / photos[dark].facts.gain


def height(photos: tuple[Photo, ...], lamps: tuple[Lamp, ...], least_mm: float) -> Iterator[Finding]:
    """Whether each lamp is low enough for the least height asked for."""
    for photo, lamp in zip(photos, lamps, strict=True):
        if not lamp.rakes:
            continue
        contrast = np.pi * least_mm / USUAL_WIDTH_MM / np.tan(max(lamp.elevation_rad, 1e-3))
        if contrast < HIGH_CONTRAST:
            out = np.hypot(*lamp.place_mm[:2])
            yield Finding(
                name="lamp too high", severity=RED if contrast < LEAST_CONTRAST else AMBER,
                photo=photo.name, sigma_mm=height_of_light(LEAST_CONTRAST, elevation_rad=lamp.elevation_rad),
                what=f"The lamp stands {np.degrees(lamp.elevation_rad):.0f} degrees high: a hump of "
                f"{least_mm:.2g} mm, 100 mm wide, changes the light by only {contrast:.1%}.",
                remedy=f"Lower it to 5-8 degrees: at {out:.0f} mm that is "
                f"{out * np.tan(np.radians(6.5)):.0f} mm above the wood.",
            )  # fmt: skip
