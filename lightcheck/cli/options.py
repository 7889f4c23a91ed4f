"""Options that several commands share: lengths as people type them, card numbers, talk, folders."""

from __future__ import annotations

import os
import re
from pathlib import Path

import click

from lightcheck.errors import LightcheckError
from lightcheck.units import length_mm

OUT = "lightcheck.out"  # context key: path of the result, for what is saved beside it
_LONGEST_NAME = 240  # bytes: file systems take 255, and endings are added while writing
_TALK = "lightcheck.talk"  # context key: 0 quiet, 1 as usual, 2 with detail


class Length(click.ParamType):
    """One length with its unit, in millimetres inside. Refused where it is not above `above`."""

    name = "length"

    def __init__(self, *, above_mm: float = 0.0, or_equal: bool = False) -> None:
        """Set the least that is allowed."""
        self.above_mm, self.or_equal = above_mm, or_equal

    def convert(self, value, param, ctx) -> float:
        """Length in mm of what was typed."""
        if isinstance(value, (int, float)):
            return float(value)
        length = length_mm(value)
        if length > self.above_mm or (self.or_equal and length == self.above_mm):
            return length
        raise LightcheckError(
            f"'{value.strip()}' is too small for {_option(param)}.",
            f"Give a length above {self.above_mm:g}mm, such as 400mm.",
        )


class LengthPair(click.ParamType):
    """One or two lengths with a comma between; one stands for both."""

    name = "length[,length]"

    def convert(self, value, param, ctx) -> tuple[float, float]:
        """Two lengths in mm."""
        if isinstance(value, tuple):
            return value
        parts = value.split(",")
        if len(parts) > 2:
            raise LightcheckError(
                f"'{value[:60]}' holds more than two lengths.",
                f"Give one or two for {_option(param)}, such as 800mm,300mm.",
            )
        single = Length()
        first, *rest = (single.convert(part, param, ctx) for part in parts)
        return first, rest[0] if rest else first


class Scale(click.ParamType):
    """Millimetres on the wood per pixel, such as 0.35mm/px."""

    name = "scale"

    def convert(self, value, param, ctx) -> float:
        """mm per pixel."""
        if isinstance(value, float):
            return value
        length, slash, pixel = value.strip().lower().rpartition("/")
        if not slash or pixel.strip() not in ("px", "pixel"):
            raise LightcheckError(f"'{value[:60]}' is not a scale.", "Type it like --scale 0.35mm/px.")
        return Length().convert(length, param, ctx)


class CardList(click.ParamType):
    """Card numbers: 0-7 or 0,3,20-23."""

    name = "numbers"

    def convert(self, value, param, ctx) -> tuple[int, ...]:
        """Numbers in the order typed."""
        if isinstance(value, tuple):
            return value
        numbers: list[int] = []
        for part in value.split(","):
            match = re.fullmatch(r"\s*(\d{1,3})\s*(?:-\s*(\d{1,3})\s*)?", part)
            first, last = (int(match[1]), int(match[2] or match[1])) if match else (1, 0)
            if last < first:
                raise LightcheckError(
                    f"'{value[:60]}' is not a list of card numbers.",
                    "Type it like --numbers 0-7 or --numbers 0,3,20-23.",
                )
            numbers += range(first, last + 1)
        return tuple(numbers)


def _option(param) -> str:
    return max(param.opts, key=len) if param is not None else "it"


def talk_options(command):
    """-q and -v, on the group and on every command."""
    quiet = click.option(
        "-q", "--quiet", is_flag=True, default=False, expose_value=False,
        callback=lambda ctx, _, on: _set_talk(ctx, on, 0), help="Say only what is wrong.",
    )  # fmt: skip
    verbose = click.option(
        "-v", "--verbose", is_flag=True, default=False, expose_value=False,
        callback=lambda ctx, _, on: _set_talk(ctx, on, 2), help="Say more on the way.",
    )  # fmt: skip
    return quiet(verbose(command))


def _set_talk(ctx: click.Context, on: bool, level: int) -> None:
    if on:
        ctx.meta[_TALK] = level


def say(text: str, *, level: int = 1) -> None:
    """Talk on stderr, unless told to be quiet. level 2: only with -v."""
    ctx = click.get_current_context()
    if ctx.meta.get(_TALK, 1) >= level:
        click.echo(text, err=True, color=ctx.find_root().color)


def keep_out(ctx: click.Context, _, value: str | None) -> Path | None:
    """The path typed after -o, remembered. Refuses a name that no disk takes."""
    if value is None:
        return None
    if max(len(os.fsencode(part)) for part in ("", *Path(value).parts)) > _LONGEST_NAME:
        raise LightcheckError("The name after -o is too long for a disk.", "Give a shorter one.")
    ctx.meta[OUT] = Path(value)
    return Path(value)


def out_option(*, help: str, default: str | None = None):
    """-o, remembered so that a marked-up picture can be saved beside it."""
    fallback = {"required": True} if default is None else {"default": default, "show_default": True}
    return click.option(
        "-o", "--output", "out", **fallback, callback=keep_out, metavar="PATH", help=help,
    )  # fmt: skip


def force_option(command):
    """--force."""
    return click.option("--force", is_flag=True, default=False, help="Replace an earlier result.")(command)
