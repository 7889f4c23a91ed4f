"""What the solve hands from step to step."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from lightcheck.relief.bell import Bells


@dataclass(slots=True, kw_only=True)
class Guess:
    """What is known so far; each step makes a better one.

    z: (n,) heights without the base's share.  b: (m,) nuisances.  trust: (s, n) robust weights.
    left: (s, n) residual of the log light.  bells: what the prior is gathered about.
    """

    z: np.ndarray
    b: np.ndarray
    trust: np.ndarray
    left: np.ndarray
    bells: Bells
    scatter: float = np.nan


@dataclass(slots=True, kw_only=True)
class System:
    """The factorised step, kept for the draws.

    Its m unknowns are the nuisances and after them the changes of the bells' forms.
    wanted: (n, m) by what each of them moves what the prior wants heights near.
    """

    factor: object
    rows: list = field(default_factory=list)
    columns: np.ndarray
    cross: np.ndarray
    border: np.ndarray
    inner: np.ndarray
    height_weight: np.ndarray
    prior: np.ndarray
    wanted: np.ndarray
