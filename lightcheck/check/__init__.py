"""Check: whether photos are fit to measure from, told before and after measuring.

Every finding comes from something measured: what the phone wrote, or the pixels. A finding says what
is wrong, how much doubt that adds in mm, and what to do; red, amber or green in words. `files` looks at
photos before anything is measured, `examine` at photos that have been read and laid out already.
"""

from lightcheck.check.finding import AMBER, GREEN, RED, Finding, doubt_mm
from lightcheck.check.gather import examine, files

__all__ = ["AMBER", "GREEN", "RED", "Finding", "doubt_mm", "examine", "files"]
