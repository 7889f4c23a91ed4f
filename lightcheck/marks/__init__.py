"""Marks: what only the builder knows of the wood, typed in or drawn on its picture, kept in marks.toml."""

from lightcheck.marks.drawn import Pen, of_drawing, read_pen
from lightcheck.marks.file import NAME, read, text
from lightcheck.marks.product import AREAS, CREASES, KINDS, LINES, STOPS, Mark, Marks, none
from lightcheck.marks.typed import read_mark

__all__ = [
    "AREAS", "CREASES", "KINDS", "LINES", "NAME", "STOPS", "Mark", "Marks", "Pen", "none", "of_drawing",
    "read", "read_mark", "read_pen", "text",
]  # fmt: skip
