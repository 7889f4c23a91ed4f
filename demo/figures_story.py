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
    if path.suffix == ".jpg":  # what is left of the noise only takes room
        shown = shown.filter(ImageFilter.GaussianBlur(1.2))
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
    """PNG of a picture, no wider than a page: narrower rather than with too few colours."""
    for wide in (WIDE_PX, 900, 800, 720, 640, 560):
        high = round(picture.height * wide / picture.width)
        shown = picture.resize((wide, high), Image.Resampling.LANCZOS) if picture.width > wide else picture
        for colours in (128, 80):
            packed = io.BytesIO()
            found = shown.quantize(colours, method=Image.Quantize.MAXCOVERAGE, dither=Image.Dither.NONE)
            found.save(packed, "PNG", optimize=True)
            if packed.tell() <= MOST_BYTES:
                return packed.getvalue()
    raise SystemExit(f"A picture of {picture.size} does not fit into {MOST_BYTES} bytes.")


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
