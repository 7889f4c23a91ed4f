"""Words: what the numbers of a hump map mean, in short sentences for the bench."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from lightcheck.report.tables import changes_mm, seen_share
from lightcheck.units import inch_fraction

if TYPE_CHECKING:
    from lightcheck.humpmap import HumpMap
    from lightcheck.spots import Spot

ROUNDING = (
    "Heights are given to 0.01 mm, inches to the nearest 1/64 and never finer than the give or "
    "take; under half of that step the list says “<” that step, never 0. Lengths are given to 5 mm."
)
CAUTIONS = (
    "No wax, chalk, oil or tape where glue will go. Lift the cards and check that nothing stays behind.",
    "Look for hidden fasteners before the plane goes over a spot, and keep hands behind the blade.",
    "Sanding with the longboard makes wood dust: wear a mask and collect it.",
    "A hot lamp near shavings or fresh finish starts fires, and so do oily rags left in a heap: "
    "spread them out to dry. Keep mains lamps away from damp places.",
    "This map does not know how much wood is left under a spot, and never says that a part is "
    "strong enough. How thin it may become is for its designer, class rules or a surveyor.",
    "No published rule gives a fairness limit for a wooden hull. The least height used here is your own.",
)  # common practice, no source


def verdict(result: HumpMap) -> str:
    """One sentence: how many spots, the highest and the deepest."""
    least = result.recipe.least_mm
    if not result.spots:
        return f"Nothing over {least:.2f} mm was found."
    over = sum(abs(s.height_mm) >= least for s in result.spots)
    may_be = len(result.spots) - over
    text = f"{_count(over, 'spot')} over {least:.2f} mm"
    text += f", and {may_be} that may be" if may_be else ""
    humps = [s for s in result.spots if s.kind == "hump"]
    hollows = [s for s in result.spots if s.kind == "hollow"]
    if humps:
        text += "; the highest is " + _named(max(humps, key=lambda s: s.height_mm))
    if hollows:
        text += "; the deepest is " + _named(min(hollows, key=lambda s: s.height_mm))
    return text + "."


def _named(spot: Spot) -> str:
    return f"spot {spot.number}, {spot.height_mm:+.2f}\u00a0mm, {spot.place}"


def method(result: HumpMap) -> tuple[str, ...]:
    """How it is worked out, in six sentences that fit what was photographed."""
    place = "The cards tell where the phone stood in each photo, and the scale."
    if not result.patch.cards:
        place = "The photos are taken as square on, with the scale that was typed."
    sides = "Photos with the lamp on different sides tell lean from the wood’s own light and dark."
    if len(result.relief.lamps) < 2:
        sides = "One photo alone can not tell lean from grain, so the give or take is wide."
    return (
        place,
        "Under a low lamp, wood leaning towards it is brighter and wood leaning away is darker.",
        sides,
        "One solve finds the surface that explains the photos, and the lamp’s place with it.",
        "The fair surface is the smooth one nearest to the wood; height is measured from it.",
        "All that is not certain is shaken many times over; the spread is the give or take.",
    )


def how_sure(result: HumpMap) -> tuple[str, ...]:
    """Sentences that say how far to trust the verdict."""
    sentences = [_measured(result)]
    sigma = result.fair.sigma_mm[np.isfinite(result.fair.sigma_mm)]
    if sigma.size:
        sentences.append(
            f"Heights are good to give or take {np.median(sigma):.2f} mm or better over half of it."
        )
    firm = sum(s.chance >= 0.9 for s in result.spots)
    if result.spots:
        loose = len(result.spots) - firm
        text = f"{firm} of {_count(len(result.spots), 'spot')} "
        text += "is all but certain" if firm == 1 else "are all but certain"
        sentences.append(text + (f"; look again at the other {loose} before planing." if loose else "."))
    else:
        sentences.append(
            "That does not prove the wood fair: humps longer than the longest that counts, "
            "lower than the limit below, or outside the part that was measured do not show."
        )
    return tuple(sentences)


def _measured(result: HumpMap) -> str:
    share = 100 * seen_share(result)
    wood = "the wood between the cards" if result.patch.cards else "the patch"
    return f"{_percent(share)} of {wood} was measured."


def held_by(result: HumpMap) -> tuple[str, ...]:
    """What the templates held and what they changed; nothing where there were none."""
    relief = result.relief
    if not relief.holds:
        return ()
    sentences = []
    for hold in relief.holds:
        left = float(np.sqrt(np.average(hold.left_mm**2, weights=hold.trust)))
        sentences.append(
            f"{hold.name}: {len(hold.left_mm)} places along the line, met to {left:.2f} mm; "
            f"{100 * hold.trust.mean():.0f} % of their weight was kept."
        )
    factor, sigma = relief.height_factor, relief.height_factor_sigma
    sentences.append(
        f"Lamps stood at {factor:.2f} of the height typed, give or take {sigma:.2f}, so far as the "
        "templates tell."
    )
    changed = [(s, held, free) for s, held, free in changes_mm(result) if math.isfinite(free)]
    if changed:
        spot, held, free = max(changed, key=lambda c: abs(c[1] - c[2]))
        sentences.append(
            f"Without them spot {spot.number} would read {free:+.2f} mm instead of {held:+.2f} mm: "
            "that is the most that they changed a spot."
        )
    sentences.append(
        "How high a template sat and how it leant stays open; only the form along its edge counts."
    )
    return tuple(sentences)


def limit(result: HumpMap) -> tuple[str, ...]:
    """The detection limit in words."""
    sigma = result.fair.sigma_mm[np.isfinite(result.fair.sigma_mm)]
    along, across = result.recipe.longest_mm
    sentences = []
    if sigma.size:
        wide = float(np.quantile(sigma, 0.9))
        sentences.append(
            f"On nine tenths of what was measured, height is good to give or take {wide:.2f} mm "
            f"or better, so a hump or hollow under about {2 * wide:.2f} mm could be missed "
            "or be nothing."
        )
    longest = f"{along:.0f} mm" if along == across else f"{along:.0f} mm along or {across:.0f} mm across"
    sentences.append(f"What is longer than {longest} is taken for the shape of the boat and not listed.")
    sentences.append("Plane tracks and other marks narrower than a plane iron are not listed either.")
    return tuple(sentences)


def chance_words(chance: float, *, draws: int) -> str:
    """How likely a spot is real and over the least height, in a word and per cent.

    Never 0 or 100 %: with n draws nothing finer than 1/n is known.
    """
    names = (
        (0.9, "all but certain"),
        (0.75, "likely"),
        (0.6, "more likely than not"),
        (0.4, "even chance"),
    )
    name = next((n for least, n in names if chance >= least), "doubtful")
    if chance > 1 - 1 / draws:
        return f"{name}, over {math.floor(100 * (1 - 1 / draws))}\u00a0%"
    if chance < 1 / draws:
        return f"{name}, under {math.ceil(100 / draws)}\u00a0%"
    return f"{name}, {100 * chance:.0f}\u00a0%"


def extent_words(spot: Spot) -> str:
    """Size at half height and how it lies: "120 x 60 mm, lying along"."""
    length, width = _to_5(spot.length_mm), _to_5(spot.width_mm)
    return f"{length} × {width} mm, {_lie(spot)}"


def _lie(spot: Spot) -> str:
    if spot.length_mm < 1.25 * spot.width_mm:
        return "roundish"
    turn = math.degrees(spot.turn_rad) % 180
    if turn < 22.5 or turn > 157.5:
        return "lying along"
    if 67.5 < turn < 112.5:
        return "lying across"
    return "slanting up to the right" if turn < 90 else "slanting up to the left"


def come_off_words(spot: Spot) -> str:
    """What to do about the spot."""
    if spot.kind == "hollow":
        return "leave: plane round it or fill"
    if not math.isfinite(spot.come_off_mm):
        return "not known here"
    inches = inch_fraction(spot.come_off_mm, sigma_mm=spot.sigma_mm)
    return f"{spot.come_off_mm:.2f} mm, {inches if inches.startswith('<') else f'about {inches}'}"


def lamp_words(place_mm: np.ndarray, *, kind: str, sigma_mm: np.ndarray) -> str:
    """Where the solve found a lamp, as a builder would say it."""
    if kind == "flash":
        return "the phone’s own light"
    bearing = math.degrees(math.atan2(place_mm[1], place_mm[0])) % 360
    out, up = math.hypot(place_mm[0], place_mm[1]), float(place_mm[2])
    if kind == "far":
        return f"bearing {bearing:.0f}°, far, {math.degrees(math.atan2(up, out)):.1f}° up"
    towards = np.asarray(place_mm[:2]) / max(out, 1e-9)
    out_sigma = float(np.hypot(*(towards * np.asarray(sigma_mm[:2]))))
    return (
        f"bearing {bearing:.0f}°, {out:.0f} mm out (give or take {out_sigma:.0f}), "
        f"{up:.0f} mm up (give or take {sigma_mm[2]:.0f})"
    )


def _to_5(length_mm: float) -> int:
    return max(5, 5 * round(length_mm / 5))


def _percent(share: float) -> str:
    """Never rounded up to the whole."""
    return "All" if share >= 99.95 else f"{math.floor(share)} %"


def _count(number: int, noun: str) -> str:
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"
