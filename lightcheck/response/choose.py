"""Choose: where the response of a set of photos is taken from.

    1  raw                       needs none
    2  a grey strip in a photo   its own light, its own setting
    3  brackets that were given
    4  kept of the same phone    from an earlier map, wider by what a phone may change
    5  nothing                   the standard curve with its usual sigma; the lamp's fall-off does the rest

Raw photos among others keep their own: the others go on down the list.
"""

from __future__ import annotations

from dataclasses import replace

from lightcheck import photo as photos_
from lightcheck.card import Sighting, grey, tone
from lightcheck.errors import LightcheckError
from lightcheck.photo import Photo, bracket
from lightcheck.response import kept
from lightcheck.response.product import BRACKET, KEPT, RAW, STANDARD, STRIP, Response

_UNUSED = " The bracket was not needed."


def choose(
    photos: tuple[Photo, ...],
    sightings: tuple[tuple[Sighting, ...], ...],
    *,
    brackets: tuple[str, ...] = (),
    use_kept: bool = False,
) -> Response:
    """The response of photos lit by a lamp.

    sightings: cards in each, () where there are none.  brackets: paths.  use_kept: whether one kept of
    this phone counts. Refuses brackets of another phone, of raw files, and those that tell nothing.
    """
    bent = tuple(p.kind != "raw" for p in photos)
    if not any(bent):
        return Response(source=RAW, bent=bent, sentence="Raw photos: no tone curve to measure.")
    phone = _phone(tuple(p for p, on in zip(photos, bent, strict=True) if on))
    found = _from_strips(photos, sightings, bent)
    if found is not None:
        unused = _UNUSED if brackets else ""
        return replace(found, phone=phone, sentence=found.sentence + unused)
    if brackets:
        return replace(_from_brackets(brackets, phone), bent=bent, phone=phone)
    known = kept.read(phone) if use_kept and phone else None
    if known is not None:
        return Response(
            source=KEPT, curve=known.curve, more_sigma=kept.CHANGED_SIGMA, bent=bent, phone=phone,
            sentence=f"Kept response of this phone used ({known.words}); --no-kept-response leaves it out.",
        )  # fmt: skip
    return Response(source=STANDARD, bent=bent, phone=phone)


def _phone(photos: tuple[Photo, ...]) -> str:
    """Make and model where all photos agree on them, else ""."""
    named = {p.facts.phone for p in photos}
    return named.pop() or "" if len(named) == 1 else ""


def _from_strips(photos, sightings, bent: tuple[bool, ...]) -> Response | None:
    """From the strips in photos that have a curve; None where there are none or too little of them."""
    strips = [
        one
        for photo, seen, on in zip(photos, sightings or ((),) * len(photos), bent, strict=True)
        if on
        for one in grey.find(photo, seen)
    ]
    try:
        curve = tone.response(tuple(strips))
    except LightcheckError:
        return None
    many = f"{len(strips)} grey strip{'s' if len(strips) > 1 else ''}"
    return Response(
        source=STRIP, curve=curve, bent=bent, sentence=f"The phone's tone curve was read from {many}."
    )


def _from_brackets(paths: tuple[str, ...], phone: str) -> Response:
    shots = photos_.load_all(paths)
    if any(s.kind == "raw" for s in shots):
        raise LightcheckError(
            "The bracket is raw, but a photo to be mapped is not.",
            "Take the bracket in the format of the photos: raw has no tone curve to measure.",
        )
    other = next((s for s in shots if phone and s.facts.phone and s.facts.phone != phone), None)
    if other is not None:
        raise LightcheckError(
            f"{other.name} of the bracket was taken with another phone than the photos.",
            "Take the bracket with the phone, lens and mode of the photos.",
        )
    sentence = f"The phone's tone curve was read from the bracket of {len(shots)} photos."
    return Response(
        source=BRACKET, curve=bracket.response(shots), bent=(True,) * len(shots), sentence=sentence
    )
