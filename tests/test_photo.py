"""Photos right way up, in linear light, or refused."""

import io
import struct
import zlib

import numpy as np
import pytest
from PIL import Image, ImageCms

from lightcheck import photo
from lightcheck.errors import LightcheckError

# How a stored picture is made from the upright one for each tag value: the inverse of what the
# EXIF 2.32 table says a viewer must do.
STORED_FROM_UPRIGHT = {
    1: lambda a: a,
    2: lambda a: a[:, ::-1],
    3: lambda a: a[::-1, ::-1],
    4: lambda a: a[::-1],
    5: lambda a: a.transpose(1, 0, 2),
    6: lambda a: a.transpose(1, 0, 2)[::-1],
    7: lambda a: a.transpose(1, 0, 2)[::-1, ::-1],
    8: lambda a: a.transpose(1, 0, 2)[:, ::-1],
}


def scene() -> np.ndarray:
    """A picture that tells all eight ways round apart, smooth enough for JPEG."""
    y, x = np.mgrid[0:240, 0:320]
    red, green = 40 + x * 0.6, 40 + y * 0.8
    blue = np.where((x < 60) & (y < 50), 220, 60)
    return np.dstack([red, green, blue]).astype(np.uint8)


def save(path, picture, kind, orientation=1, **more):
    exif = Image.Exif()
    exif[0x0112] = orientation
    if kind == "JPEG":
        more |= {"quality": 95, "subsampling": 0}
    Image.fromarray(np.ascontiguousarray(picture)).save(path, kind, exif=exif, **more)
    return path


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "TIFF"])
@pytest.mark.parametrize("orientation", range(1, 9))
def test_every_orientation_comes_out_upright(tmp_path, kind, orientation):
    stored = STORED_FROM_UPRIGHT[orientation](scene())
    seen = photo.load(save(tmp_path / "one.bin", stored, kind, orientation))  # told by content
    assert seen.size_px == (320, 240)
    worst = abs(seen.coded.astype(int) - scene()).max(axis=2)
    assert np.quantile(worst, 0.99) <= (4 if kind == "JPEG" else 0)


@pytest.mark.parametrize("orientation", range(1, 9))
def test_heic_is_turned_once(tmp_path, orientation):
    """The container's own rotation, as phones write it."""
    heif = pytest.importorskip("pillow_heif")
    exif = Image.Exif()
    exif[0x0112] = orientation
    stored = np.ascontiguousarray(STORED_FROM_UPRIGHT[orientation](scene()))
    image = Image.fromarray(stored)
    heif.from_pillow(image).save(tmp_path / "one.heic", quality=95, exif=exif.tobytes())
    seen = photo.load(tmp_path / "one.heic")
    assert seen.size_px == (320, 240)
    assert np.quantile(abs(seen.coded.astype(int) - scene()).max(axis=2), 0.95) <= 12


# --- linear light ---------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("coded", "linear"),
    [
        (0, 0.0),
        (10, 0.003035),
        (11, 0.003347),
        (64, 0.051269),
        (128, 0.215861),
        (188, 0.502886),
        (255, 1),
    ],
)
def test_srgb_table(coded, linear):
    """IEC 61966-2-1, computed from its formula by hand to six places."""
    assert photo.srgb_decode(coded / 255) == pytest.approx(linear, abs=1e-6)


def grey_ramp() -> np.ndarray:
    return np.repeat(np.tile(np.arange(256, dtype=np.uint8), (256, 1))[..., None], 3, axis=2)


def test_light_of_a_grey_ramp_is_the_curve(tmp_path):
    seen = photo.load(save(tmp_path / "a.png", grey_ramp(), "PNG"))
    assert np.allclose(seen.light[0], photo.srgb_decode(np.arange(256) / 255), atol=1e-6)
    assert seen.spoilt[0, :5].all() and seen.spoilt[0, 252:].all()
    assert not seen.spoilt[0, 5:252].any()


def test_an_embedded_srgb_profile_changes_nothing(tmp_path):
    """The profile that LittleCMS builds carries a parametric curve with the standard's numbers."""
    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    seen = photo.load(save(tmp_path / "a.png", grey_ramp(), "PNG", icc_profile=profile))
    assert np.allclose(seen.light[0], photo.srgb_decode(np.arange(256) / 255), atol=2e-4)


def profile_with(curve: bytes) -> bytes:
    """A matrix profile that holds nothing but three tone curves (ICC.1:2022, 7.2 and 7.3)."""
    tags = b"".join(struct.pack(">4sII", t, 168, len(curve)) for t in (b"rTRC", b"gTRC", b"bTRC"))
    return b"\0" * 128 + struct.pack(">I", 3) + tags + curve


def para(form: int, *numbers: float) -> bytes:
    fixed = b"".join(struct.pack(">i", round(n * 65536)) for n in numbers)
    return struct.pack(">4sIHH", b"para", 0, form, 0) + fixed


def test_display_p3_has_the_srgb_curve(tmp_path):
    """Display P3 as phones embed it: parametricCurveType 3, g a b c d of IEC 61966-2-1."""
    p3 = profile_with(para(3, 2.4, 1 / 1.055, 0.055 / 1.055, 1 / 12.92, 0.04045))
    seen = photo.load(save(tmp_path / "a.png", grey_ramp(), "PNG", icc_profile=p3))
    assert np.allclose(seen.light[0], photo.srgb_decode(np.arange(256) / 255), atol=1e-4)


@pytest.mark.parametrize("curve", [para(0, 1.8), struct.pack(">4sIIH", b"curv", 0, 1, 461)])
def test_a_plain_power_is_respected(tmp_path, curve):
    seen = photo.load(save(tmp_path / "a.png", grey_ramp(), "PNG", icc_profile=profile_with(curve)))
    assert np.allclose(seen.light[0], (np.arange(256) / 255) ** 1.8, atol=2e-3)


@pytest.mark.parametrize(
    "profile",
    [b"no profile", profile_with(b"mft2" + b"\0" * 40), profile_with(para(3, 0, 0, 0, 0, 9))],
)
def test_a_useless_profile_falls_back_to_srgb(tmp_path, profile):
    seen = photo.load(save(tmp_path / "a.png", grey_ramp(), "PNG", icc_profile=profile))
    assert np.allclose(seen.light[0], photo.srgb_decode(np.arange(256) / 255), atol=1e-6)


def test_camera_facts(tmp_path):
    exif = Image.Exif()
    exif[0x0110] = "Quillhaven Bench 2"
    detail = exif.get_ifd(0x8769)
    detail[0x829A], detail[0x829D], detail[0x8827], detail[0xA405] = 0.02, 1.8, 100, 26
    Image.fromarray(scene()).save(tmp_path / "a.jpg", exif=exif)
    facts = photo.load(tmp_path / "a.jpg").facts
    assert facts.model == "Quillhaven Bench 2" and facts.focal_35mm == 26
    assert facts.gain == pytest.approx(0.02 * 100 / 1.8**2, rel=1e-3)
    Image.fromarray(scene()).save(tmp_path / "b.jpg")
    assert photo.load(tmp_path / "b.jpg").facts == photo.CameraFacts()


# --- refusals -------------------------------------------------------------------------------------


def huge_png() -> bytes:
    """A header that claims 60000 x 60000 pixels, and nothing behind it."""
    head = b"IHDR" + struct.pack(">IIBBBBB", 60000, 60000, 8, 2, 0, 0, 0)
    body = struct.pack(">I", 13) + head + struct.pack(">I", zlib.crc32(head))
    return b"\x89PNG\r\n\x1a\n" + body + struct.pack(">I", 0) + b"IDAT"


def jpeg() -> bytes:
    page = io.BytesIO()
    Image.fromarray(scene()).save(page, "JPEG")
    return page.getvalue()


def tiny() -> bytes:
    page = io.BytesIO()
    Image.fromarray(scene()[:90, :120]).save(page, "PNG")
    return page.getvalue()


def black() -> bytes:
    page = io.BytesIO()
    Image.fromarray(scene() * 0).save(page, "PNG")
    return page.getvalue()


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "empty"),
        (b"a list of planks, not a picture", "not a picture"),
        (jpeg()[:2000], "damaged or cut short"),
        (jpeg()[:30], "not a picture|damaged"),
        (huge_png(), "larger than"),
        (tiny(), "only 120 x 90"),
        (black(), "black"),
    ],
    ids=["empty", "text", "cut", "cut-early", "huge", "tiny", "black"],
)
def test_refusals_name_the_file_and_a_way_out(tmp_path, content, words):
    path = tmp_path / "bench.jpg"
    path.write_bytes(content)
    with pytest.raises(LightcheckError, match=words) as refusal:
        photo.load(path)
    assert "bench.jpg" in refusal.value.problem and refusal.value.remedy


def test_a_missing_file_and_a_folder_are_refused(tmp_path):
    with pytest.raises(LightcheckError, match="not there"):
        photo.load(tmp_path / "none.jpg")
    with pytest.raises(LightcheckError, match="can not be read"):
        photo.load(tmp_path)


def test_the_original_is_not_touched(tmp_path):
    path = tmp_path / "a.jpg"
    path.write_bytes(jpeg())
    photo.load(path)
    assert path.read_bytes() == jpeg()
