"""Photo: a file from a phone becomes linear light, right way up.

The kind of file is told by its content, never by its name. Whatever the orientation tag says, the
picture comes out as the person held the phone. Coded values are decoded with the curve of the
embedded profile (sRGB and Display P3 share one); raw files need no curve. The result is proportional
to the light that reached the sensor as far as the phone let it be.
"""

from lightcheck.photo.curve import CLIP_CODE, DARK_CODE, srgb_decode
from lightcheck.photo.curve import linear as _linear
from lightcheck.photo.decode import MOST_PIXELS
from lightcheck.photo.product import CameraFacts, Photo
from lightcheck.photo.read import MOST_PX, load, load_all

__all__ = [
    "CLIP_CODE",
    "DARK_CODE",
    "MOST_PIXELS",
    "MOST_PX",
    "CameraFacts",
    "Photo",
    "_linear",
    "load",
    "load_all",
    "srgb_decode",
]
