"""Compare: one pass against the next, the whole walk on one page."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from lightcheck.change import states
from lightcheck.change.level import Levelled, levelled
from lightcheck.change.mirror import mirror as in_mirror
from lightcheck.change.product import Change, Hung, Registration, SpotChange, State
from lightcheck.change.register import register
from lightcheck.errors import LightcheckError
from lightcheck.grid import frozen
from lightcheck.patch import CardPlace
from lightcheck.stored import StoredMap

LEAST_COMMON, MUCH_UNSEEN = 0.1, 0.15  # shares of BEFORE's wood: refused below the one, told beyond the other
LOOSE_MM = 1.0  # a place less sure than this is told
MUCH_LEVEL_MM = 0.5  # rms of the levelling, from which it is told


def compare(
    before: StoredMap, after: StoredMap, *, mirror: bool = False, least_mm: float | None = None
) -> Change:
    """What changed from one stored map to the next, spot by spot and cell by cell.

    mirror: AFTER is the other side of the boat, and its mirror image is compared.  least_mm: least
    height that counts; without it the larger of what the two maps were made with.
    Refuses where it is not sure where the wood of one lies in the other, or too little is in both.
    """
    least = max(before.least_mm, after.least_mm) if least_mm is None else float(least_mm)
    if not least > 0:
        raise LightcheckError("The least height must be above nothing.", "Use for example --least 0.1mm.")
    other = in_mirror(after) if mirror else after
    lie = register(before, other, mirror=mirror)
    sheets = levelled(before, other, lie)
    seen = np.isfinite(before.height_mm)
    common = np.isfinite(sheets.change_mm).sum() / max(int(seen.sum()), 1)
    if common < LEAST_COMMON:
        raise LightcheckError(
            f"Only {common:.0%} of the wood in {before.folder} is in {after.folder} too.",
            "Photograph the same stretch of wood both times, cards round it.",
        )
    listed = states.of_before(before, other, sheets, lie, least_mm=least)
    new, rest = states.of_after(before, other, sheets, lie)
    known = np.isfinite(sheets.change_mm)
    quiet = np.abs(sheets.change_mm[known]) <= states.SURE * sheets.sigma_mm[known]
    return Change(
        names=(before.folder.name, after.folder.name),
        cards=(before.cards, tuple(_laid_back(c, lie) for c in other.cards)),
        registration=lie,
        mirror=mirror,
        grid=before.grid,
        before_mm=before.height_mm,
        after_mm=frozen(sheets.after_mm),
        change_mm=frozen(sheets.change_mm),
        sigma_mm=frozen(sheets.sigma_mm),
        level_mm=frozen(sheets.level_mm),
        stayed=float(quiet.mean()),
        least_mm=least,
        spots=(*listed, *new),
        warnings=tuple(_warnings((before, after), lie, sheets, rest, common)),
    )


def _laid_back(card: CardPlace, lie: Registration) -> CardPlace:
    """A card of AFTER in the frame of BEFORE."""
    x, y = lie.to_before_mm(card.x_mm, card.y_mm)
    return replace(card, x_mm=float(x), y_mm=float(y), turn_rad=card.turn_rad - lie.turn_rad)


def _warnings(maps: tuple[StoredMap, StoredMap], lie: Registration, sheets: Levelled, rest, common: float):
    """Sentences about what makes the comparison less sure than it could be."""
    before, after = maps
    if set(_photos(before)) & set(_photos(after)):
        yield "Both maps hold the same photo: what it shows can not have changed."
    if lie.hung is Hung.MIRRORED:
        yield (
            "The two sides are laid on each other by their cards, to give or take "
            f"{lie.sigma_mm:.1f} mm: only as true as the cards were laid by hand."
        )
    elif lie.sigma_mm > LOOSE_MM:
        yield (
            f"The wood is laid on itself to give or take {lie.sigma_mm:.1f} mm only: steep flanks may show "
            "a change that is none."
        )
    if lie.hung is Hung.CARDS:
        *most, last = (str(n) for n in lie.cards)
        numbers = f"{', '.join(most)} and {last}"
        yield f"The wood alone was not sure, so the place hangs on cards {numbers}, which lay as before."
    if 1 - common > MUCH_UNSEEN:
        yield f"{1 - common:.0%} of the wood seen before was not seen again and is not compared."
    if before.longest_mm != after.longest_mm:
        yield (
            "The two maps were made with different longest humps: map one again with the --longest of "
            "the other."
        )
    level = sheets.level_mm[np.isfinite(sheets.change_mm)]
    if np.sqrt(np.mean(level**2)) > MUCH_LEVEL_MM:
        yield (
            f"The two maps lie up to {np.abs(level).max():.1f} mm apart as a whole; that is taken for their "
            "fair surfaces and levelled out."
        )
    yield from _unlisted(rest)


def _unlisted(rest: list[SpotChange]):
    """What AFTER lists and BEFORE does not, without being new."""
    for row in rest:
        if row.state is State.UNSEEN:
            yield f"Spot {row.after_spot} of the second map ({row.place}) was not seen in the first."
        else:
            yield (
                f"Spot {row.after_spot} of the second map ({row.after_mm:+.2f} mm, {row.place}) is not new: "
                f"it stood at {row.before_mm:+.2f} mm, and the change lies inside the noise."
            )


def _photos(stored: StoredMap) -> list[str]:
    return [s["sha256"] for s in stored.facts.get("shots", ()) if s.get("sha256")]
