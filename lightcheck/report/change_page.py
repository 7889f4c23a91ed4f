"""Change page: what became of every spot on one printable page, nothing fetched from outside."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from lightcheck import __version__
from lightcheck.report import change as words
from lightcheck.report.look import address, template

if TYPE_CHECKING:
    from lightcheck.change import Change

CARE = (
    "A hollow is never planed. Where it was cut too far, what would have to come off round it decides "
    "whether to fill or to shim it.",
    "Look for hidden fasteners before the plane goes over a spot, and keep hands behind the blade.",
    "This page does not know how much wood is left, and never says that a part is strong enough. How thin "
    "it may become is for its designer, class rules or a surveyor.",
)  # common practice, no source
_ORDER = ("cut too far", "new", "up", "down", "gone", "same", "")
_COUNTED = {
    "cut too far": "cut too far",
    "new": "new",
    "up": "went up",
    "down": "went down",
    "gone": "gone",
    "same": "the same as before",
    "": "not seen both times",
}


def page(result: Change, *, picture: bytes) -> str:
    """The page. picture: change.png."""
    return template("change.html").render(
        title="Two sides compared" if result.mirror else "What changed",
        verdict=verdict(result),
        where=words.where_words(result),
        sure=_sure(result),
        spots=[_row(r, result) for r in result.spots],
        mirror=result.mirror,
        names=result.names,
        least=f"{result.least_mm:.2f} mm",
        picture=address(picture),
        warnings=result.warnings,
        cautions=CARE,
        version=f"lightcheck {__version__}",
    )


def verdict(result: Change) -> str:
    """One sentence: how many spots went which way."""
    if not result.spots:
        return "No hump or hollow is listed in either map."
    counts = {s: sum(str(r.state) == s for r in result.spots) for s in _ORDER}
    names = words.MIRRORED if result.mirror else _COUNTED
    told = [f"{n} {names[s]}" for s, n in counts.items() if n]
    total = len(result.spots)
    return f"{total} spot{'s' if total > 1 else ''}: {', '.join(told)}."


def _sure(result: Change) -> str:
    sigma = result.sigma_mm[np.isfinite(result.sigma_mm)]
    share = 100 * result.stayed
    return (
        f"A change of a spot is good to give or take {np.median(sigma):.2f} mm over half of the wood; "
        f"{share:.0f} % of it changed by no more than the noise."
    )


def _row(row, result: Change) -> dict:
    return {
        "number": row.spot,
        "kind": row.kind,
        "was": words.height(row.before_mm),
        "now": words.height(row.after_mm),
        "change": words.change_words(row),
        "state": words.state_words(row, mirror=result.mirror),
        "loud": str(row.state) in ("cut too far", "new"),
        "place": row.place,
    }
