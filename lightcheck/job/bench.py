"""Bench: the tools of job.toml as the working list wants them.

What the builder left out is filled in from an ordinary bench (common practice, no source).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from lightcheck.job.settings import Settings

if TYPE_CHECKING:
    from lightcheck.plan import Tool


def bench(settings: Settings) -> tuple[Tool, ...]:
    """Planes and spokeshaves that stand in job.toml; empty where none does."""
    from lightcheck.plan.tool import CUTS, completed

    return tuple(
        completed(t.name, t.kind, length_mm=t.length_mm, width_mm=t.width_mm, shaving_mm=t.shaving_mm)
        for t in settings.tools
        if t.kind in CUTS
    )
