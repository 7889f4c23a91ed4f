"""Kept: responses of phones, kept from one map to the next because the builder asked for it.

One small JSON per phone in the user's own folder for such things. It names make and model, never a serial
number, photo or place.
"""

from __future__ import annotations

import json
import os
import re
import sys
import tempfile
from dataclasses import dataclass
from datetime import date
from pathlib import Path

import numpy as np

from lightcheck.errors import LightcheckError
from lightcheck.grid import frozen
from lightcheck.photo.slope import LogSlope
from lightcheck.response.product import Response

SCHEMA = 1
CHANGED_SIGMA = 0.05  # of the slope, from one scene to another on one phone: own estimate
_STEEPEST, _MOST_KNOTS = 5.0, 100


@dataclass(frozen=True, slots=True, kw_only=True)
class KeptResponse:
    """One phone's response.  source: what it was read from.  day: when, as 2031-05-04."""

    phone: str
    source: str
    day: str
    curve: LogSlope

    @property
    def words(self) -> str:
        """Where it comes from."""
        return f"{self.source}, {self.day}"


def folder() -> Path:
    """Where responses are kept, by the platform's custom; it need not exist."""
    return _root()[0] / "lightcheck" / "responses"


def shown_folder() -> str:
    """The same in words that name nobody."""
    return "/".join((_root()[1], "lightcheck", "responses"))


def _root() -> tuple[Path, str]:
    """XDG Base Directory Specification 0.8; the other two from memory."""
    if sys.platform == "win32" and os.environ.get("LOCALAPPDATA"):
        return Path(os.environ["LOCALAPPDATA"]), "%LOCALAPPDATA%"
    given = os.environ.get("XDG_STATE_HOME", "")
    if os.path.isabs(given):  # the specification has relative ones ignored
        return Path(given), "$XDG_STATE_HOME"
    tail = ("Library", "Application Support") if sys.platform == "darwin" else (".local", "state")
    return Path.home().joinpath(*tail), "/".join(("~", *tail))


def keep(response: Response) -> Path:
    """Keep a measured response for its phone, in place of an earlier one.

    Refuses one that was not measured, that has no phone's name, and a folder that can not be written.
    """
    if not response.measured:
        raise LightcheckError(
            "There is no measured response to keep.",
            "Lay a card with a grey strip in sight, or give two or more --bracket photos.",
        )
    if not response.phone:
        raise LightcheckError(
            "The photos do not say which phone took them, or were taken with several.",
            "Use photos as one phone wrote them.",
        )
    curve = response.curve
    facts = {
        "schema": SCHEMA,
        "phone": response.phone,
        "source": response.source,
        "day": date.today().isoformat(),
        "light_log": curve.light_log.tolist(),
        "slope": curve.slope.tolist(),
        "sigma": curve.sigma.tolist(),
    }
    path = _path(response.phone)
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        _write(path, json.dumps(facts, indent=1) + "\n")
    except OSError as error:
        raise LightcheckError(
            f"The response could not be kept in {shown_folder()} ({error.strerror or error}).",
            "The map itself is whole. See that this folder can be written.",
        ) from None
    return path


def _write(path: Path, text: str) -> None:
    """Beside, then moved into place."""
    handle, beside = tempfile.mkstemp(dir=path.parent, prefix=".", suffix=".part")
    try:
        with os.fdopen(handle, "w", encoding="utf-8") as file:
            file.write(text)
        os.replace(beside, path)
    finally:
        Path(beside).unlink(missing_ok=True)


def read(phone: str) -> KeptResponse | None:
    """What was kept of this phone, or None. Refuses a damaged file."""
    path = _path(phone)
    if not path.is_file():
        return None
    found = _read(path)
    if found is None:
        raise LightcheckError(
            f"The response kept of {phone} can not be read.",
            f"Take {path.name} out of {shown_folder()}, or map with --no-kept-response.",
        )
    return found if found.phone == phone else None


def listed() -> tuple[KeptResponse, ...]:
    """Every response that is kept and can be read, by phone."""
    try:
        paths = sorted(folder().glob("*.json"))
    except OSError:
        return ()
    return tuple(found for found in map(_read, paths) if found is not None)


def _path(phone: str) -> Path:
    slug = re.sub(r"[^a-z0-9]+", "-", phone.lower()).strip("-") or "phone"
    return folder() / f"{slug}.json"


def _read(path: Path) -> KeptResponse | None:
    """None where the file is damaged, newer or no response."""
    try:
        facts = json.loads(path.read_text(encoding="utf-8"))
        if int(facts["schema"]) > SCHEMA:
            return None
        light, slope, sigma = (np.array(facts[k], float) for k in ("light_log", "slope", "sigma"))
        words = {k: str(facts[k])[:120] for k in ("phone", "source", "day")}
    except (OSError, ValueError, KeyError, TypeError, RecursionError):
        return None
    whole = light.ndim == 1 and light.shape == slope.shape == sigma.shape and 2 <= len(light) <= _MOST_KNOTS
    if not whole or not np.isfinite([light, slope, sigma]).all() or (np.diff(light) <= 0).any():
        return None
    if (sigma <= 0).any() or slope.min() < 1 / _STEEPEST or slope.max() > _STEEPEST:
        return None
    return KeptResponse(
        curve=LogSlope(light_log=frozen(light), slope=frozen(slope), sigma=frozen(sigma)), **words
    )
