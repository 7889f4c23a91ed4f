"""Hump maps of planed wood from raking-light phone photos.

Photos of a surface under one low lamp go in; heights of its humps and hollows, in millimetres and
with their doubt, come out. The modules read from left to right in the order of the photo's journey
(see DEVELOPERS.md); nothing heavy is imported here, so that `lightcheck --help` answers at once.
"""

__version__ = "0.1.0"
