"""Pictures damaged in the ways files get damaged, and a run that loads many of them.

As a script: python damage.py KIND COUNT SEED FOLDER. Ends with the worst time, the memory used, and
how many were still read; anything but a photo or a refusal ends it with its trace.
"""

import io
import struct
import sys
import time
from pathlib import Path

import numpy as np
from PIL import Image

KINDS = ("JPEG", "PNG", "PNG16", "TIFF", "TIFFLZW", "HEIF", "WEBP", "MPO", "DNG")


def picture() -> np.ndarray:
    y, x = np.mgrid[0:208, 0:256]
    return np.dstack([40 + x * 0.6, 40 + y * 0.8, 60 + 0.3 * (x + y)]).astype(np.uint8)


def whole(kind: str) -> bytes:
    """A sound file of a kind, with tags and a profile for the damage to hit."""
    exif, page = Image.Exif(), io.BytesIO()
    exif[0x0112], exif[0x0110] = 6, "Quillhaven Bench 2"
    inner = exif.get_ifd(0x8769)
    inner[0x829A], inner[0x829D], inner[0x8827], inner[0xA405] = 0.02, 1.8, 100, 26
    inner[0xA460], inner[0xA461], inner[0xA404] = 3, (9, 9), 1.0
    profile = profile_bytes()
    image = Image.fromarray(picture())
    if kind == "DNG":
        from test_photo_kinds import dng, sensor

        return dng(sensor(picture() / 255.0))
    if kind == "HEIF":
        import pillow_heif

        pillow_heif.from_pillow(image).save(page, quality=70, exif=exif.tobytes())
    elif kind == "PNG16":
        import cv2

        return cv2.imencode(".png", picture().astype(np.uint16) * 257)[1].tobytes()
    elif kind == "TIFFLZW":
        image.save(page, "TIFF", compression="tiff_lzw", exif=exif, icc_profile=profile)
    elif kind == "MPO":
        image.save(page, "MPO", save_all=True, append_images=[image.reduce(2)], exif=exif)
    else:
        image.save(page, kind, exif=exif, icc_profile=profile)
    return page.getvalue()


def profile_bytes() -> bytes:
    numbers = b"".join(
        struct.pack(">i", round(n * 65536)) for n in (2.4, 1 / 1.055, 0.055 / 1.055, 1 / 12.92, 0.04045)
    )
    curve = struct.pack(">4sIHH", b"para", 0, 3, 0) + numbers
    tags = b"".join(struct.pack(">4sII", t, 168, len(curve)) for t in (b"rTRC", b"gTRC", b"bTRC"))
    return b"\0" * 128 + struct.pack(">I", 3) + tags + curve


def damaged(content: bytes, rng: np.random.Generator) -> bytes:
    """One of several kinds of damage, half of the time near the start, where the structure is."""
    broken = bytearray(content)
    reach = min(len(broken), 700) if rng.random() < 0.5 else len(broken)
    at = int(rng.integers(reach))
    way = int(rng.integers(8))
    if way == 0:  # cut short
        return bytes(broken[: max(at, 1)])
    if way == 1:  # a few bits turned
        for spot in rng.integers(reach, size=int(rng.integers(1, 9))):
            broken[spot] ^= 1 << int(rng.integers(8))
    elif way == 2:  # a stretch wiped out
        broken[at : at + int(rng.integers(1, 400))] = b"\0" * int(rng.integers(1, 400))
    elif way == 3:  # a stretch of noise
        broken[at : at + 64] = rng.bytes(int(rng.integers(1, 64)))
    elif way == 4:  # a number made huge
        broken[at : at + 4] = rng.choice(
            [b"\xff\xff\xff\xff", b"\x7f\xff\xff\xff", b"\xff\xff\xff\x7f", b"\0\0\0\0"]
        )
    elif way == 5:  # a stretch doubled
        broken[at:at] = broken[at : at + int(rng.integers(1, 600))]
    elif way == 6:  # a stretch lost
        del broken[at : at + int(rng.integers(1, 600))]
    else:  # a number made a little wrong
        broken[at] = (broken[at] + int(rng.choice([-2, -1, 1, 2, 16]))) % 256
    return bytes(broken)


def peak_gb() -> float:
    """Most memory that this process has held; not its parent's, which `ru_maxrss` would include."""
    status = Path("/proc/self/status")
    if not status.exists():
        import resource

        return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / (1e9 if sys.platform == "darwin" else 1e6)
    return next(int(row.split()[1]) for row in status.read_text().splitlines() if "VmHWM" in row) / 1e6


def run(kind: str, count: int, seed: int, folder: Path) -> None:
    from lightcheck import photo
    from lightcheck.errors import LightcheckError

    rng, sound = np.random.default_rng([seed, *kind.encode()]), whole(kind)
    path, worst, read = folder / "bench.jpg", 0.0, 0
    for _ in range(count):
        path.write_bytes(damaged(sound, rng))
        start = time.perf_counter()
        try:
            seen = photo.load(path)
            assert seen.coded.shape == (*seen.light.shape, 3) and np.isfinite(seen.light).all()
            read += 1
        except LightcheckError as refusal:
            assert "bench.jpg" in refusal.problem and refusal.remedy and "\n" not in refusal.problem
        worst = max(worst, time.perf_counter() - start)
    print(worst, peak_gb(), read)


if __name__ == "__main__":
    run(sys.argv[1], int(sys.argv[2]), int(sys.argv[3]), Path(sys.argv[4]))
