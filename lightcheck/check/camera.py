"""Camera: findings from what the phone wrote, photo by photo and between the photos of a set.

A phone need not write anything; then nothing is found here, but that is said too, for a stripped file
has mostly been through a messenger.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

from lightcheck.check.finding import AMBER, RED, Finding
from lightcheck.photo import Photo

MOST_ZOOM = 1.02
OTHER_LENS = 1.04  # ratio of focal lengths: more than a focus step changes it (1-2 %, from memory)
OTHER_EXPOSURE = 2.5  # ratio; a lamp moved by a tenth of its distance changes the light by a third
LONG_EXPOSURE_S = 0.1  # nobody holds a phone that still
MM_PER_STOP = (
    0.01  # a fiftieth of a 0.5 mm hump: slope of an unknown tone curve from stop to stop (own estimate)
)
MERGED_MM = 0.05  # a tenth of a 0.5 mm hump: local evening-out takes 10 % of contrast (own assumption; smooth
# evening-out of 10 % left a map as good as before, own trial)
_SAME = "Take the set again with one lens, one size and no zoom, from the same height."


def camera(photos: tuple[Photo, ...], raking: tuple[bool, ...] = ()) -> Iterator[Finding]:
    """Findings from the facts of each photo, then between them. raking: photos lit by a lamp, if known."""
    for photo in photos:
        yield from _modes(photo)
        yield from _zoom(photo)
        yield from _untold(photo)
    if len(photos) > 1:
        yield from _lens(photos)
        yield from _size(photos)
        yield from _exposure(
            [p for p, low in zip(photos, raking or (True,) * len(photos), strict=True) if low]
        )
        yield from _same(photos)


def _modes(photo: Photo) -> Iterator[Finding]:
    facts = photo.facts
    doubt = MERGED_MM
    if facts.scene == "night":
        yield Finding(
            name="night mode", severity=AMBER, sigma_mm=doubt, photo=photo.name,
            what="The phone used its night mode: it lifted the shadows, and that looks like slope.",
            remedy="Turn night mode off and bring the lamp nearer, or prop the phone up.",
        )  # fmt: skip
    elif facts.scene == "portrait":
        yield Finding(
            name="portrait mode", severity=AMBER, sigma_mm=None, photo=photo.name,
            what="The phone used its portrait mode, which paints blur on.",
            remedy="Use the plain photo mode.",
        )  # fmt: skip
    elif facts.merged_frames:
        many = f"{facts.frames} frames" if facts.frames else "several frames"
        yield Finding(
            name="merged frames", severity=AMBER, sigma_mm=doubt, photo=photo.name,
            what=f"The phone merged {many} into this photo and may have evened out the light.",
            remedy="Turn HDR and night mode off, or use raw.",
        )  # fmt: skip
    elif facts.exposure_s and facts.exposure_s > LONG_EXPOSURE_S:
        yield Finding(
            name="long exposure", severity=AMBER, photo=photo.name,
            what=f"The exposure took {facts.exposure_s:.2g} s, too long to hold a phone still.",
            remedy="Prop the phone up and use its timer, or bring the lamp nearer.",
        )  # fmt: skip


def _zoom(photo: Photo) -> Iterator[Finding]:
    zoom = photo.facts.zoom
    if zoom and zoom > MOST_ZOOM:
        yield Finding(
            name="digital zoom", severity=AMBER, photo=photo.name,
            what=f"The phone zoomed {zoom:.2g} times in by stretching pixels: it shows less than it seems.",
            remedy="Set the zoom to 1x and go nearer instead.",
        )  # fmt: skip


def _untold(photo: Photo) -> Iterator[Finding]:
    facts = photo.facts
    if not any((facts.model, facts.exposure_s, facts.focal_35mm)):
        yield Finding(
            name="no camera facts", severity=AMBER, photo=photo.name,
            what="The file does not say with which lens and exposure it was taken: it may be a copy.",
            remedy="Use the file as the phone wrote it: by cable or as a file, not through a messenger.",
        )  # fmt: skip
        return
    stated, written = facts.stated_px, photo.written_px
    if stated and written and max(stated) > 1.1 * max(written):
        yield Finding(
            name="shrunk copy", severity=AMBER, photo=photo.name,
            what=f"The phone took {stated[0]} x {stated[1]} pixels, "
            f"but the file has {written[0]} x {written[1]}.",
            remedy="Use the file as the phone wrote it, uncropped.",
        )  # fmt: skip


def _lens(photos: tuple[Photo, ...]) -> Iterator[Finding]:
    """The first photo says which lens is meant."""
    first = photos[0].facts
    for photo in photos[1:]:
        facts = photo.facts
        ways = [
            (a, b)
            for a, b in ((first.focal_35mm, facts.focal_35mm), (first.focal_mm, facts.focal_mm))
            if a and b
        ]
        longer = max((max(a / b, b / a) for a, b in ways), default=1.0)
        named = first.lens and facts.lens and first.lens != facts.lens
        if longer > OTHER_LENS or named or (first.model and facts.model and first.model != facts.model):
            yield Finding(
                name="other lens", severity=AMBER, photo=photo.name, sigma_mm=None,
                what=f"It was taken with another lens or phone than {photos[0].name}.",
                remedy=f"{_SAME} Turn off automatic macro: close up it changes the lens.",
            )  # fmt: skip


def _size(photos: tuple[Photo, ...]) -> Iterator[Finding]:
    sizes = [tuple(sorted(p.written_px or p.size_px)) for p in photos]
    for photo, size in zip(photos[1:], sizes[1:], strict=True):
        if size != sizes[0]:
            yield Finding(
                name="other size", severity=AMBER, photo=photo.name,
                what=f"It has {size[1]} x {size[0]} pixels, "
                f"{photos[0].name} has {sizes[0][1]} x {sizes[0][0]}.",
                remedy=_SAME,
            )  # fmt: skip


def _exposure(photos: list[Photo]) -> Iterator[Finding]:
    """Against the median, of two against the first: one that stands out is named, not all the others."""
    gains = {p.name: p.facts.gain for p in photos if p.facts.gain and not p.facts.flash}
    if len(gains) < 2:
        return
    levels = sorted(gains.values())
    middle = levels[len(levels) // 2] if len(levels) > 2 else next(iter(gains.values()))
    for name, gain in gains.items():
        ratio = max(gain / middle, middle / gain)
        if ratio > OTHER_EXPOSURE:
            stops = math.log2(ratio)
            yield Finding(
                name="exposure changed", severity=AMBER, photo=name,
                sigma_mm=MM_PER_STOP * stops,
                what=f"Its exposure differs from the others by {stops:.1f} stops.",
                remedy="Lock the exposure on the first photo (press and hold), and keep it for the set.",
            )  # fmt: skip


def _same(photos: tuple[Photo, ...]) -> Iterator[Finding]:
    seen: dict[str, str] = {}
    for photo in photos:
        if photo.sha256 in seen:
            yield Finding(
                name="same photo twice", severity=RED, photo=photo.name,
                what=f"It is the same file as {seen[photo.sha256]}.",
                remedy="Give each photo once, one for each place of the lamp.",
            )  # fmt: skip
        seen.setdefault(photo.sha256, photo.name)
