"""Every kind of file that phones and their programs write: told by content, upright, the same light."""

import io
import os
import struct
import subprocess
import sys

import numpy as np
import pytest
from PIL import Image, ImageCms
from test_photo import STORED_FROM_UPRIGHT, profile_with, save, scene

from lightcheck import photo
from lightcheck.errors import LightcheckError
from lightcheck.photo import kinds

# --- a raw file, written by hand from the published tag tables (TIFF 6.0, DNG 1.7) -----------------

RATIONAL, SHORT, LONG, BYTE, ASCII, SRATIONAL = 5, 3, 4, 1, 2, 10
_LETTERS = {SHORT: "H", LONG: "I", BYTE: "B"}
SRGB_FROM_XYZ = (3.2406, -1.5372, -0.4986, -0.9689, 1.8758, 0.0415, 0.0557, -0.2040, 1.0570)  # IEC 61966-2-1


def tag(number: int, form: int, *values) -> tuple[int, int, int, bytes]:
    if form == ASCII:
        body = values[0].encode() + b"\0"
        return number, form, len(body), body
    if form in (RATIONAL, SRATIONAL):
        pairs = [n for v in values for n in (round(v * 10000), 10000)]
        return (
            number,
            form,
            len(values),
            struct.pack(f"<{len(pairs)}{'i' if form == SRATIONAL else 'I'}", *pairs),
        )
    return number, form, len(values), struct.pack(f"<{len(values)}{_LETTERS[form]}", *values)


def dng(values: np.ndarray, *, orientation: int = 1, white: int = 4095, black: int = 64) -> bytes:
    """A raw file: (rows, columns) uint16 mosaic RGGB or (rows, columns, 3) linear; the sensor sees sRGB."""
    high, wide = values.shape[:2]
    mosaic = values.ndim == 2
    each = 1 if mosaic else 3
    strip = np.ascontiguousarray(values, "<u2").tobytes()
    tags = [
        tag(254, LONG, 0), tag(256, LONG, wide), tag(257, LONG, high), tag(258, SHORT, *(16,) * each),
        tag(259, SHORT, 1), tag(262, SHORT, 32803 if mosaic else 34892), tag(271, ASCII, "Quillhaven"),
        tag(272, ASCII, "Quillhaven Bench 2"), tag(273, LONG, 0), tag(274, SHORT, orientation),
        tag(277, SHORT, each), tag(278, LONG, high), tag(279, LONG, len(strip)), tag(284, SHORT, 1),
        tag(50706, BYTE, 1, 4, 0, 0), tag(50707, BYTE, 1, 1, 0, 0), tag(50708, ASCII, "Quillhaven Bench 2"),
        tag(50714, LONG, *(black,) * (1 if mosaic else 3)), tag(50717, LONG, *(white,) * each),
        tag(50721, SRATIONAL, *SRGB_FROM_XYZ), tag(50728, RATIONAL, 1.0, 1.0, 1.0),
        tag(50778, SHORT, 21),
    ]  # fmt: skip
    if mosaic:
        tags += [tag(33421, SHORT, 2, 2), tag(33422, BYTE, 0, 1, 1, 2)]
    return _tiff(sorted(tags), strip)


def _tiff(tags: list, strip: bytes) -> bytes:
    start = 8 + 2 + 12 * len(tags) + 4
    beyond, rows = b"", b""
    later = start + sum(len(body) + len(body) % 2 for *_, body in tags if len(body) > 4)
    for number, form, count, body in tags:
        value = struct.pack("<I", later) if number == 273 else body
        if len(value) > 4:
            rows += struct.pack("<HHII", number, form, count, start + len(beyond))
            beyond += value + b"\0" * (len(value) % 2)
        else:
            rows += struct.pack("<HHI", number, form, count) + value.ljust(4, b"\0")
    return b"II*\0" + struct.pack("<IH", 8, len(tags)) + rows + struct.pack("<I", 0) + beyond + strip


def sensor(light: np.ndarray, *, white: int = 4095, black: int = 64) -> np.ndarray:
    """(rows, columns) mosaic RGGB of linear light (rows, columns, 3), 1 = white."""
    counts = np.round(black + np.clip(light, 0, 1) * (white - black)).astype(np.uint16)
    mosaic = counts[..., 1].copy()
    mosaic[::2, ::2], mosaic[1::2, 1::2] = counts[::2, ::2, 0], counts[1::2, 1::2, 2]
    return mosaic


def soft_light() -> np.ndarray:
    """Linear light without fine detail, so that a mosaic of it loses nothing; tells the ways round apart."""
    y, x = np.mgrid[0:240, 0:320]
    return np.dstack([0.05 + x / 500, 0.05 + y / 400, 0.1 + 0.1 * (x + y) / 560])


@pytest.fixture(scope="module", autouse=True)
def _raw_reader():
    pytest.importorskip("rawpy")


LUMINANCE = np.array([0.2126, 0.7152, 0.0722])


def test_raw_is_linear(tmp_path):
    path = tmp_path / "shot.jpg"  # told by content
    path.write_bytes(dng(sensor(soft_light())))
    seen = photo.load(path)
    assert seen.kind == "raw" and seen.size_px == (320, 240)
    inner = np.s_[4:-4, 4:-4]
    ratio = seen.light[inner] / (soft_light() @ LUMINANCE)[inner]
    assert np.median(ratio) == pytest.approx(1, abs=0.01)
    assert np.ptp(ratio / np.median(ratio)) < 0.04  # straight over a range of 10
    assert seen.facts.model == "Quillhaven Bench 2"
    assert not seen.spoilt.any() and np.quantile(seen.coded, 0.99) > 200  # brightened for showing only


@pytest.mark.parametrize("orientation", [1, 3, 6, 8])
def test_raw_comes_out_upright(tmp_path, orientation):
    turn = STORED_FROM_UPRIGHT[orientation]
    (tmp_path / "a.dng").write_bytes(dng(sensor(turn(soft_light())), orientation=orientation))
    seen = photo.load(tmp_path / "a.dng")
    assert seen.size_px == (320, 240)
    assert np.allclose(seen.light[8:-8, 8:-8], (soft_light() @ LUMINANCE)[8:-8, 8:-8], rtol=0.04)


def test_linear_raw_is_read_too(tmp_path):
    counts = np.round(64 + soft_light() * (4095 - 64)).astype(np.uint16)
    (tmp_path / "a.dng").write_bytes(dng(counts))
    assert np.allclose(photo.load(tmp_path / "a.dng").light, soft_light() @ LUMINANCE, rtol=0.02, atol=0.002)


def test_clipped_and_crushed_raw_is_told(tmp_path):
    light = soft_light()
    light[:60] *= 8
    light[200:] = 0
    (tmp_path / "a.dng").write_bytes(dng(sensor(light)))
    spoilt = photo.load(tmp_path / "a.dng").spoilt
    assert spoilt[20:50, 250:300].all() and spoilt[210:230].all() and not spoilt[80:180].any()


def test_large_raw_is_read_at_half_size(tmp_path):
    (tmp_path / "a.dng").write_bytes(dng(sensor(soft_light())))
    seen = photo.load(tmp_path / "a.dng", most_px=50_000)
    assert seen.size_px == (160, 120) and seen.written_px == (320, 240)


def test_without_the_raw_reader_it_says_what_to_install(tmp_path, monkeypatch):
    (tmp_path / "a.dng").write_bytes(dng(sensor(soft_light())))
    monkeypatch.setitem(sys.modules, "rawpy", None)
    with pytest.raises(LightcheckError, match="raw file, and the reader") as refusal:
        photo.load(tmp_path / "a.dng")
    assert "pip install 'lightcheck[raw]'" in refusal.value.remedy


def test_damaged_raw_is_refused(tmp_path):
    whole = dng(sensor(soft_light()))
    for number, content in enumerate((whole[:900], whole[: len(whole) // 2], b"II*\0" + b"\xff" * 500)):
        (tmp_path / f"{number}.dng").write_bytes(content)
        with pytest.raises(LightcheckError, match=r"can not be read|damaged|black"):
            photo.load(tmp_path / f"{number}.dng")


def test_a_tiff_is_no_raw():
    page = io.BytesIO()
    Image.fromarray(scene()).save(page, "TIFF")
    assert kinds.kind(page.getvalue()) == "TIFF"


# --- the other kinds ------------------------------------------------------------------------------


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize("kind", ["WEBP", "MPO"])
def test_webp_and_mpo_are_upright(tmp_path, kind, orientation):
    stored = STORED_FROM_UPRIGHT[orientation](scene())
    more = {"lossless": True} if kind == "WEBP" else {"quality": 95, "subsampling": 0}
    if kind == "MPO":  # as stereo and depth phones write it: a second, smaller picture behind the first
        more |= {"save_all": True, "append_images": [Image.fromarray(scene()[::2, ::2])]}
    seen = photo.load(save(tmp_path / "a.jpg", stored, kind, orientation, **more))
    assert seen.kind == kind and seen.size_px == (320, 240)
    worst = abs(seen.coded.astype(int) - scene()).max(axis=2)
    assert np.quantile(worst, 0.99) <= (0 if kind == "WEBP" else 4)


def sixteen(kind: str, codes: np.ndarray, path, orientation: int = 1) -> None:
    """A 16-bit picture with an orientation tag, written by OpenCV; the tag goes in by hand."""
    import cv2

    stored = np.ascontiguousarray(STORED_FROM_UPRIGHT[orientation](codes))
    if kind == "PNG":
        done = cv2.imencode(".png", stored[..., ::-1] if stored.ndim == 3 else stored)[1].tobytes()
        exif = Image.Exif()
        exif[0x0112] = orientation
        body = b"eXIf" + exif.tobytes().removeprefix(b"Exif\0\0")
        import zlib

        chunk = struct.pack(">I", len(body) - 4) + body + struct.pack(">I", zlib.crc32(body))
        path.write_bytes(done[:33] + chunk + done[33:])
        return
    high, wide = stored.shape[:2]
    each = 1 if stored.ndim == 2 else 3
    strip = np.ascontiguousarray(stored, "<u2").tobytes()
    path.write_bytes(_tiff(sorted([
        tag(256, LONG, wide), tag(257, LONG, high), tag(258, SHORT, *(16,) * each), tag(259, SHORT, 1),
        tag(262, SHORT, 1 if each == 1 else 2), tag(273, LONG, 0), tag(274, SHORT, orientation),
        tag(277, SHORT, each), tag(278, LONG, high), tag(279, LONG, len(strip)),
    ]), strip))  # fmt: skip


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize("kind", ["PNG", "TIFF"])
def test_sixteen_bits_keep_their_fineness_and_come_upright(tmp_path, kind, orientation):
    y, x = np.mgrid[0:240, 0:320]
    codes = np.dstack([20000 + x * 7 + y, 20000 + x * 11, 20000 + y * 5]).astype(np.uint16)
    sixteen(kind, codes, tmp_path / "a.bin", orientation)
    seen = photo.load(tmp_path / "a.bin")
    expected = photo.srgb_decode(codes / 65535) @ LUMINANCE
    assert seen.size_px == (320, 240)
    assert np.abs(seen.light / expected - 1).max() < 1e-4  # 8 bits would be 1e-2 off
    assert abs(seen.coded.astype(int) - np.round(codes / 257).astype(int)).max() <= 1


@pytest.mark.parametrize("kind", ["PNG", "TIFF"])
def test_sixteen_bits_of_grey(tmp_path, kind):
    codes = np.tile(np.linspace(9000, 60000, 320).astype(np.uint16), (240, 1))
    sixteen(kind, codes, tmp_path / "a.bin")
    assert np.allclose(photo.load(tmp_path / "a.bin").light, photo.srgb_decode(codes / 65535), rtol=1e-4)


def test_a_linear_sixteen_bit_tiff_is_read_by_its_profile(tmp_path):
    """As raw converters write them; shown with the usual curve, so that cards can be found."""
    straight = profile_with(struct.pack(">4sII", b"curv", 0, 0))
    codes = np.tile(np.linspace(500, 60000, 320).astype(np.uint16), (240, 1))
    Image.fromarray(codes).save(tmp_path / "a.tif", icc_profile=straight)
    seen = photo.load(tmp_path / "a.tif")
    assert np.allclose(seen.light, codes / 65535, rtol=1e-4)
    assert seen.coded[0, 60, 0] > 2 * (codes[0, 60] >> 8)


def test_a_grey_picture_is_read_by_its_grey_profile(tmp_path):
    grey = struct.pack(">4sIIH", b"curv", 0, 1, 461)
    profile = b"\0" * 128 + struct.pack(">I", 1) + struct.pack(">4sII", b"kTRC", 144, len(grey)) + grey
    Image.fromarray(scene()[..., 0]).save(tmp_path / "a.jpg", quality=100, icc_profile=profile)
    expected = (scene()[120, 100:200, 0] / 255) ** 1.8
    assert np.allclose(photo.load(tmp_path / "a.jpg").light[120, 100:200], expected, rtol=0.03)


def test_a_cmyk_jpeg_is_read(tmp_path):
    Image.fromarray(scene()).convert("CMYK").save(tmp_path / "a.jpg", quality=95)
    assert np.quantile(abs(photo.load(tmp_path / "a.jpg").coded.astype(int) - scene()), 0.95) <= 6


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "TIFF", "WEBP", "HEIF"])
def test_display_p3_is_read_in_every_kind(tmp_path, kind):
    """The same light, whatever carries it: a wide-gamut profile with the sRGB curve."""
    pillow_heif = pytest.importorskip("pillow_heif")
    pillow_heif.register_heif_opener()
    curve = struct.pack(">4sIHH", b"para", 0, 3, 0)
    curve += b"".join(
        struct.pack(">i", round(n * 65536)) for n in (2.4, 1 / 1.055, 0.055 / 1.055, 1 / 12.92, 0.04045)
    )
    grey = np.repeat(np.tile(np.linspace(30, 240, 320).astype(np.uint8), (240, 1))[..., None], 3, axis=2)
    more = {"lossless": True} if kind == "WEBP" else {"quality": 95} if kind in ("JPEG", "HEIF") else {}
    Image.fromarray(grey).save(tmp_path / "a", kind, icc_profile=profile_with(curve), **more)
    seen = photo.load(tmp_path / "a")
    assert np.allclose(seen.light.mean(axis=0), photo.srgb_decode(grey[0, :, 0] / 255), rtol=0.02, atol=1e-3)


def test_our_srgb_curve_agrees_with_littlecms(tmp_path):
    """A picture with LittleCMS's own sRGB profile, and LittleCMS's own way to linear XYZ, side by side."""
    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB"))
    seen = photo.load(save(tmp_path / "a.png", scene(), "PNG", icc_profile=profile.tobytes()))
    lab = ImageCms.buildTransform(profile, ImageCms.createProfile("LAB"), "RGB", "LAB")
    l_star = np.asarray(ImageCms.applyTransform(Image.fromarray(scene()), lab))[..., 0] / 255 * 100
    y = np.where(l_star > 8, ((l_star + 16) / 116) ** 3, l_star / 903.3)  # CIE 15
    assert np.abs(seen.light - y).max() < 0.02


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "TIFF", "WEBP", "HEIF"])
def test_large_files_are_read_at_the_size_needed(tmp_path, kind):
    pillow_heif = pytest.importorskip("pillow_heif")
    pillow_heif.register_heif_opener()
    y, x = np.mgrid[0:600, 0:900]
    smooth = np.dstack([40 + x * 0.2, 40 + y * 0.3, 60 + 0 * x]).astype(np.uint8)
    exif = Image.Exif()
    exif[0x0112] = 6
    stored = np.ascontiguousarray(STORED_FROM_UPRIGHT[6](smooth))
    if kind == "HEIF":
        pillow_heif.from_pillow(Image.fromarray(stored)).save(tmp_path / "a", quality=95, exif=exif.tobytes())
    else:
        save(tmp_path / "a", stored, kind, 6)
    whole, seen = photo.load(tmp_path / "a"), photo.load(tmp_path / "a", most_px=100_000)
    wide, high = seen.size_px
    assert 70_000 < wide * high < 103_000 and seen.written_px == whole.size_px == (900, 600)
    assert wide / high == pytest.approx(1.5, rel=0.01)
    at = np.array([[0.25, 0.25], [0.5, 0.75], [0.9, 0.4]])
    for across, down in at:  # the same places, counted in each picture's own pixels
        a = whole.light[round(down * 600 - 0.5), round(across * 900 - 0.5)]
        b = seen.light[round(down * high - 0.5), round(across * wide - 0.5)]
        assert b == pytest.approx(float(a), rel=0.04)


def test_hdr_heic_is_refused_in_words(tmp_path):
    pillow_heif = pytest.importorskip("pillow_heif")
    image = pillow_heif.from_pillow(Image.fromarray(scene()))
    image.save(tmp_path / "a.heic", quality=80, transfer_characteristics=16, save_nclx_profile=True)
    with pytest.raises(LightcheckError, match="HDR"):
        photo.load(tmp_path / "a.heic")


def test_several_are_read_at_once_in_their_order(tmp_path):
    for n in range(4):
        save(tmp_path / f"{n}.jpg", scene()[:, : 320 - 10 * n], "JPEG")
    photos = photo.load_all([tmp_path / f"{n}.jpg" for n in range(4)])
    assert [p.size_px[0] for p in photos] == [320, 310, 300, 290]
    (tmp_path / "2.jpg").write_bytes(b"planks")
    with pytest.raises(LightcheckError, match=r"2\.jpg is not a picture"):
        photo.load_all([tmp_path / f"{n}.jpg" for n in range(4)])


MEASURE = """
import sys
from pathlib import Path
from lightcheck import photo
seen = photo.load(sys.argv[1])
peak = [row.split()[1] for row in Path("/proc/self/status").read_text().splitlines() if "VmHWM" in row][0]
print(*seen.size_px, *seen.written_px, peak)
"""


@pytest.mark.skipif(sys.platform != "linux", reason="its own peak memory is read from /proc")
def test_48_megapixels_stay_within_memory(tmp_path):
    wide, high = 8064, 6048
    ramp = np.add.outer(np.arange(high) % 97, np.arange(wide) % 89).astype(np.uint8) + 40
    Image.fromarray(np.repeat(ramp[..., None], 3, axis=2)).save(tmp_path / "a.jpg", quality=90)
    ran = subprocess.run(
        [sys.executable, "-c", MEASURE, str(tmp_path / "a.jpg")],
        capture_output=True, text=True, check=True, env=os.environ | {"OPENBLAS_NUM_THREADS": "1"},
    )  # fmt: skip
    w, h, written_w, written_h, most_kb = map(int, ran.stdout.split())
    assert (written_w, written_h) == (wide, high) and w * h <= photo.MOST_PX
    assert most_kb < 0.6e6  # a pair, and what follows, stays within 1.5 GB


# --- what the phone wrote -------------------------------------------------------------------------


def facts_of(tmp_path, **detail) -> photo.CameraFacts:
    exif = Image.Exif()
    inner = exif.get_ifd(0x8769)
    for number, value in detail.items():
        inner[int(number[1:], 16)] = value
    Image.fromarray(scene()).save(tmp_path / "a.jpg", exif=exif)
    return photo.load(tmp_path / "a.jpg").facts


@pytest.mark.parametrize(
    ("detail", "name", "value"),
    [
        ({"xA460": 3, "xA461": (9, 9)}, "frames", 9),
        ({"xA460": 2}, "frames", 0),
        ({"xA460": 3}, "merged_frames", True),
        ({"xA460": 1}, "merged_frames", False),
        ({"xA460": 1, "xA461": (9, 9)}, "frames", None),
        ({"xA404": 2.0}, "zoom", 2.0),
        ({"xA406": 3}, "scene", "night"),
        ({"xA401": 8}, "scene", "portrait"),
        ({"xA403": 1}, "balance", "manual"),
        ({"xA434": "Bench wide 5.7 mm"}, "lens", "Bench wide 5.7 mm"),
        ({"x9209": 0x19}, "flash", True),
        ({"x9209": 0x10}, "flash", False),
        ({"x920A": 5.7}, "focal_mm", 5.7),
        ({"xA002": 4032, "xA003": 3024}, "stated_px", (4032, 3024)),
    ],
)
def test_facts_for_the_checks(tmp_path, detail, name, value):
    found = getattr(facts_of(tmp_path, **detail), name)
    assert found == pytest.approx(value) if isinstance(value, float) else found == value
