"""Pictures of the README's story, made from what `lightcheck demo` wrote.

    lightcheck demo -o lightcheck-demo
    python demo/figures_story.py lightcheck-demo

Writes demo/pictures/story-*.png: as wide as a page, on white, each under 120 kB.
"""

from __future__ import annotations

import argparse
import io
from pathlib import Path

from PIL import Image, ImageFilter

HERE = Path(__file__).resolve().parent
WIDE_PX, MOST_BYTES = 1000, 120_000
PANEL = "bottom-panel"
PICTURES = {
    "map": f"{PANEL}/job/passes/01/map/map.png",
    "list": f"{PANEL}/list.png",
    "bench": f"{PANEL}/list/bench.pdf",
    "template": "station-4/template.jpg",
    "daylight": "station-4/daylight/daylight.png",
    "change": f"{PANEL}/change-1-2/change.png",
    "passes": f"{PANEL}/passes/strip.png",
    "gaps": f"{PANEL}/passes/gaps.png",
    "blade": "rudder-blade/map/map.png",
}
PHOTOS = ("shot-1.jpg", "shot-2.jpg")


def opened(path: Path) -> Image.Image:
    """A picture, or the first page of a PDF, on white."""
    if path.suffix == ".pdf":
        import pypdfium2

        with pypdfium2.PdfDocument(path) as document:
            return document[0].render(scale=1.7).to_pil().convert("RGB")
    with Image.open(path) as picture:
        shown = picture.convert("RGBA")
    white = Image.new("RGBA", shown.size, "white")
    return Image.alpha_composite(white, shown).convert("RGB")


def pair(folder: Path) -> Image.Image:
    """The two photos of the first pass side by side, a white strip between."""
    wide = (WIDE_PX - 12) // 2
    shots = [opened(folder / PANEL / "photos-1" / name) for name in PHOTOS]
    shots = [s.resize((wide, round(s.height * wide / s.width)), Image.Resampling.LANCZOS) for s in shots]
    both = Image.new("RGB", (WIDE_PX, shots[0].height), "white")
    both.paste(shots[0], (0, 0))
    both.paste(shots[1], (WIDE_PX - wide, 0))
    return both


def fitted(picture: Image.Image) -> bytes:
    """PNG of a picture, no wider than a page, with as many colours as the size allows."""
    if picture.width > WIDE_PX:
        high = round(picture.height * WIDE_PX / picture.width)
        picture = picture.resize((WIDE_PX, high), Image.Resampling.LANCZOS)
    for colours, soft in ((256, 0), (128, 0), (64, 0), (48, 0.6), (32, 0.8), (24, 1.0)):
        shown = picture.filter(ImageFilter.GaussianBlur(soft)) if soft else picture
        packed = io.BytesIO()
        shown.quantize(colours, dither=Image.Dither.NONE).save(packed, "PNG", optimize=True)
        if packed.tell() <= MOST_BYTES:
            return packed.getvalue()
    smaller = (picture.width * 4 // 5, picture.height * 4 // 5)
    return fitted(picture.resize(smaller, Image.Resampling.LANCZOS))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folder", type=Path, nargs="?", default=Path("lightcheck-demo"))
    folder = parser.parse_args().folder
    shown = {"photos": pair(folder)} | {name: opened(folder / path) for name, path in PICTURES.items()}
    for name, picture in shown.items():
        packed = fitted(picture)
        path = HERE / "pictures" / f"story-{name}.png"
        path.write_bytes(packed)
        print(f"{path.name:<22}{len(packed) / 1000:6.0f} kB")


if __name__ == "__main__":
    main()
