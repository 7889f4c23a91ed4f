"""lightcheck: the group of commands, and the one door where a refusal becomes words.

A refusal is two lines on stderr (what is wrong, what to do) and exit code 1. Wrong usage is click's
own and exits with 2. Anything else is a fault of the program and shows its trace.
"""

from __future__ import annotations

import importlib
import os

import click

from lightcheck import __version__
from lightcheck.cli.options import OUT, talk_options
from lightcheck.errors import LightcheckError

# In the order in which they are met; one module each.
COMMANDS = (
    "cards", "lamp", "check", "map", "daylight", "pattern", "stations", "compare", "lay", "mark", "plan",
    "job", "about", "demo",
)  # fmt: skip
_CV2_SYSTEM_PARTS = ("libGL", "libgthread", "libglib", "libX11", "libxcb", "libSM", "libXext")


class Bench(click.Group):
    """Commands that are read in only when asked for."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Names in the order of the walk."""
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """The command of this name, from the module of this name."""
        if cmd_name not in COMMANDS:
            return None
        return importlib.import_module(f"lightcheck.cli.{cmd_name}").command

    def invoke(self, ctx: click.Context):
        """Run, and turn refusals into two lines."""
        # The sums here are many and small: threads of the algebra library only wait for each other.
        os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
        if os.environ.get("NO_COLOR") or os.environ.get("TERM") == "dumb":
            ctx.color = False
        try:
            return super().invoke(ctx)
        except LightcheckError as refusal:
            _refuse(ctx, refusal.problem, f"{refusal.remedy}{_show(ctx, refusal.picture)}")
        except ImportError as error:
            if not _is_cv2(error):
                raise
            _refuse(
                ctx,
                f"OpenCV could not be loaded ({error}).",
                "Install the system packages libgl1 and libglib2.0-0, or swap wheels: "
                "pip uninstall opencv-python, then pip install opencv-python-headless.",
            )


def _refuse(ctx: click.Context, problem: str, remedy: str) -> None:
    click.secho(_one_line(problem), err=True, bold=True, color=ctx.color)
    click.echo(_one_line(remedy), err=True, color=ctx.color)
    ctx.exit(1)


def _one_line(text: str) -> str:
    return " ".join(text.split())


def _show(ctx: click.Context, picture) -> str:
    """Save the marked-up picture beside the result folder; " See NAME.", or nothing."""
    out = ctx.meta.get(OUT)
    if picture is None or out is None:
        return ""
    from PIL import Image

    path = out.parent / f"{out.name or out.resolve().name}-trouble.png"
    beside = path.with_name(f".{path.name}.part")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        Image.fromarray(picture).save(beside, "PNG")
        beside.replace(path)
    except OSError:
        beside.unlink(missing_ok=True)
        return ""
    return f" See {path}."


def _is_cv2(error: ImportError) -> bool:
    return error.name == "cv2" or any(part in str(error) for part in _CV2_SYSTEM_PARTS)


@click.command(
    cls=Bench,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
    epilog="Start with: lightcheck demo",
)
@click.version_option(__version__, prog_name="lightcheck")
@talk_options
def main() -> None:
    """Maps humps and hollows of planed wood from phone photos under one low lamp."""
