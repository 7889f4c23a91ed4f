"""Nothing private travels on: where a photo was taken, with which very phone, by whom."""

import base64
import io
import re
import xml.etree.ElementTree as ET
import zlib

import numpy as np
import photo_sets as sets
import pytest
from click.testing import CliRunner
from PIL import Image

from lightcheck.cli.main import main

SECRETS = {
    "place": b"N57.1234 secret place",
    "body": b"SERIAL-BODY-90210",
    "lens": b"SERIAL-LENS-31337",
    "owner": b"A Secret Owner",
    "xmp": b"a-secret-in-xmp",
    "remark": b"a secret remark",
    "id": b"unique-image-id-0815",
    "maker": b"MAKERNOTE-4711",
}
GPS_IFD, XMP_MARK = 0x8825, b"http://ns.adobe.com/xap/1.0/"


def private_photo(path) -> None:
    """The same picture with everything in its tags that a phone may write."""
    with Image.open(path) as opened:
        image, exif = opened.copy(), opened.getexif()
    gps, inner = exif.get_ifd(GPS_IFD), exif.get_ifd(0x8769)
    gps[1], gps[2], gps[3], gps[4] = "N", (57.0, 12.0, 34.0), "W", (3.0, 45.0, 12.0)
    gps[27], gps[29] = SECRETS["place"], "2031:02:03"
    inner[0xA431], inner[0xA435] = SECRETS["body"].decode(), SECRETS["lens"].decode()
    inner[0xA430], inner[0x9286] = SECRETS["owner"].decode(), b"ASCII\0\0\0" + SECRETS["remark"]
    inner[0xA420], inner[0x927C] = SECRETS["id"].decode(), SECRETS["maker"]
    exif[0x013B], exif[0x8298] = SECRETS["owner"].decode(), SECRETS["owner"].decode()
    exif[0x010E] = SECRETS["remark"].decode()
    packet = b'<x:xmpmeta xmlns:x="adobe:ns:meta/">' + SECRETS["xmp"] + b"</x:xmpmeta>"
    image.save(path, quality=93, exif=exif, xmp=packet, comment=SECRETS["remark"])


def everything_in(content: bytes) -> bytes:
    """The bytes of a file, of what is packed in it, and of pictures that stand in a page."""
    found = [content]
    for packed in re.findall(rb"base64,([A-Za-z0-9+/=\s]+)", content):
        found.append(everything_in(base64.b64decode(packed)))
    if content[:8] == b"\x89PNG\r\n\x1a\n" or content[:3] == b"\xff\xd8\xff":
        with Image.open(io.BytesIO(content)) as image:
            assert not image.getexif().get_ifd(GPS_IFD)
            found += [str(v).encode() for v in image.info.values()]
    if content[:4] == b"%PDF":
        found += [_unpacked(s) for s in re.findall(rb"stream\r?\n(.*?)endstream", content, re.S)]
    if content[:2] == b"PK":  # an archive of arrays
        archive = np.load(io.BytesIO(content), allow_pickle=False)
        found += [archive[name].tobytes() for name in archive.files]
    return b"\n".join(found)


def _unpacked(stream: bytes) -> bytes:
    try:
        return zlib.decompress(stream)
    except zlib.error:
        return stream


@pytest.fixture(scope="module")
def mapped(tmp_path_factory):
    """A pair with secrets in its tags, mapped; and what was said meanwhile."""
    folder = tmp_path_factory.mktemp("private")
    paths, typed = sets.write(sets.Bench.of(small=True).pair(), folder)
    for path in paths:
        private_photo(path)
    words = ["map", *map(str, paths), "--lamp", typed[0], "--lamp", typed[1], "-o", str(folder / "map")]
    result = CliRunner().invoke(main, [*words, "--json"])
    assert result.exit_code == 0, result.output
    return folder, paths, result.output


def test_the_secrets_are_in_the_photos(mapped):
    """Else the next test could not fail."""
    for path in mapped[1]:
        content = path.read_bytes()
        assert all(secret in content for secret in SECRETS.values())
        assert XMP_MARK in content
        with Image.open(path) as image:
            assert image.getexif().get_ifd(GPS_IFD)


def test_no_output_of_map_holds_a_secret(mapped):
    folder, _, said = mapped
    written = [p for p in (folder / "map").rglob("*") if p.is_file()]
    assert {p.suffix for p in written} >= {".html", ".png", ".json", ".npz", ".csv"}
    for path in written:
        content = everything_in(path.read_bytes())
        for what, secret in SECRETS.items():
            assert secret not in content, f"{what} in {path.name}"
            assert secret.decode().encode("utf-16-le") not in content
        assert XMP_MARK not in content and b"xmpmeta" not in content
        assert str(folder).encode() not in content, f"the path of the photos in {path.name}"
    assert not any(secret.decode() in said for secret in SECRETS.values())


def test_no_output_reaches_out(mapped):
    """No page loads a font, script or picture from elsewhere, or tells anyone that it was read."""
    page = (mapped[0] / "map" / "report.html").read_text(encoding="utf-8")
    outside = re.findall(r"""(?:src|href)\s*=\s*["'](?:https?:)?//[^"']+""", page)
    assert outside == [] and "@import" not in page and "url(http" not in page
    for vector in (mapped[0] / "map").glob("*.svg"):
        ET.parse(vector)


def test_check_tells_no_secret(mapped):
    _, paths, _ = mapped
    result = CliRunner().invoke(main, ["check", "--json", *map(str, paths)])
    assert result.exit_code == 0
    assert not any(secret.decode() in result.output for secret in SECRETS.values())
