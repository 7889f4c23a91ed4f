"""Refusals and doubts: the two ways in which the tool says "not like this".

A refusal stops the work and always carries its remedy. A doubt flags a place that was measured but
should be trusted less; it travels with the number.
"""

from __future__ import annotations

from enum import StrEnum


class LightcheckError(Exception):
    """A refusal: what is wrong, and what to do about it.

    `picture` may hold (height, width, 3) uint8 RGB that shows the trouble; the command line saves
    it beside the result folder.
    """

    def __init__(self, problem: str, remedy: str, *, picture=None) -> None:
        """Problem and remedy are one sentence each."""
        super().__init__(problem)
        self.problem = problem
        self.remedy = remedy
        self.picture = picture


class Doubt(StrEnum):
    """Why a place should be trusted less. The value is what a reader is told."""

    EDGE = "at the edge of what was seen"
    PART = "partly unseen"
    FEW = "lit from too few sides here"
    GRAIN = "may be grain: only one photo"
