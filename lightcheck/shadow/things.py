"""Things of known thickness that cast a shadow: coins from mint tables, discs, blocks and dowels."""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np

from lightcheck.errors import LightcheckError
from lightcheck.units import length_mm

SIZE_SIGMA_MM = 0.05  # of a thickness: tables of one coin differ by this, and so do callipers in use
_US = "US Mint, coin specifications"
_EURO = "two coin lists that agree; diameters also in Regulation (EC) 975/98"
_UK, _UK_MEMORY = "published coin lists", "diameter from a coin list, thickness from memory"
_MEMORY = "from memory, not checked"
# name: diameter, thickness [mm], source, what other tables print for the thickness
_COINS = {
    "us cent": (19.05, 1.52, _US, (1.55,)),  # an almanac prints 1.55
    "us nickel": (21.21, 1.95, _US, ()),
    "us dime": (17.91, 1.35, _US, ()),
    "us quarter": (24.26, 1.75, _US, ()),
    "us half": (30.61, 2.15, _US, ()),
    "us dollar": (26.49, 2.00, _US, ()),
    "euro 1c": (16.25, 1.67, _EURO, ()),
    "euro 2c": (18.75, 1.67, _EURO, ()),
    "euro 5c": (21.25, 1.67, _EURO, ()),
    "euro 10c": (19.75, 1.93, _EURO, ()),
    "euro 20c": (22.25, 2.14, _EURO, ()),
    "euro 50c": (24.25, 2.38, _EURO, ()),
    "euro 1": (23.25, 2.33, _EURO, ()),
    "euro 2": (25.75, 2.20, _EURO, ()),
    "uk 1p": (20.3, 1.65, _UK_MEMORY, ()),
    "uk 2p": (25.9, 2.03, _UK_MEMORY, (1.85,)),  # steel since 1992; the older bronze is thinner
    "uk 5p": (18.0, 1.7, _UK, ()),
    "uk 10p": (24.5, 1.85, _UK_MEMORY, ()),
    "uk 1": (23.43, 2.8, _UK, ()),  # twelve-sided: point to point
    "uk 2": (28.4, 2.5, _UK, ()),
    "canada 25c": (23.88, 1.58, _UK, ()),
    "canada 2": (28.0, 1.8, _UK, ()),
    "australia 5c": (19.41, 1.3, _MEMORY, ()),
    "australia 10c": (23.60, 1.5, _MEMORY, ()),
    "australia 20c": (28.52, 1.75, _MEMORY, ()),
    "australia 50c": (31.51, 2.0, _MEMORY, ()),
    "australia 1": (25.00, 2.8, _MEMORY, ()),
    "australia 2": (20.50, 3.0, _MEMORY, ()),
}
_EXAMPLE = (
    "Type it like 'left.jpg: euro 2 at 120mm,-40mm'; besides coins a disc 30mm x 5mm, "
    "a block 40mm x 20mm x 6mm or a dowel 8mm x 60mm."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Thing:
    """What lies on the wood.

    kind: "disc" (flat, length_mm its diameter), "block" or "dowel" (lying).  length_mm, width_mm: seen
    from above.  thick_mm: how high it stands, and its sigma.  source: where the size is from.
    """

    name: str
    kind: str
    length_mm: float
    width_mm: float
    thick_mm: float
    sigma_mm: float = SIZE_SIGMA_MM
    source: str = "as stated"

    def outline_mm(self, turn_rad: float) -> tuple[np.ndarray, np.ndarray]:
        """(n, 2) points round it as seen from above, and their normals, about its middle."""
        if self.kind == "disc":
            turns = np.linspace(0, 2 * np.pi, 72, endpoint=False)
            normals = np.stack([np.cos(turns), np.sin(turns)], axis=1)
            return normals * self.length_mm / 2, normals
        half, part = np.array([self.length_mm, self.width_mm]) / 2, np.linspace(-0.9, 0.9, 25)
        sides = []
        for sign in (-1.0, 1.0):
            sides.append(np.c_[part * half[0], np.full(25, sign * half[1]), np.zeros(25), np.full(25, sign)])
            sides.append(np.c_[np.full(25, sign * half[0]), part * half[1], np.full(25, sign), np.zeros(25)])
        rows, c, s = np.concatenate(sides), np.cos(turn_rad), np.sin(turn_rad)
        turned = np.array([[c, s], [-s, c]])
        return rows[:, :2] @ turned, rows[:, 2:] @ turned

    def critical(self, place: np.ndarray, way: np.ndarray, turn_rad: float) -> np.ndarray:
        """(n,) tangent of the elevation below which it hides a lamp; 0 where it never does.

        place: (n, 3) from its middle, in the tangent plane and over it.  way: (n, 2) unit vectors to
        the lamp, along the plane. Nothing is said of places under the thing itself (inf).
        """
        c, s = np.cos(turn_rad), np.sin(turn_rad)
        turned = np.array([[c, -s], [s, c]])
        at, to = place[:, :2] @ turned, way @ turned
        if self.kind == "dowel":
            return self._over_dowel(at, to, place[:, 2])
        enter, leave = self._disc_way(at, to) if self.kind == "disc" else self._block_way(at, to)
        with np.errstate(divide="ignore", invalid="ignore"):
            tangent = (self.thick_mm - place[:, 2]) / enter
        return np.where((leave > enter) & (leave > 0), np.where(enter > 0, tangent, np.inf), 0.0)

    def _disc_way(self, at: np.ndarray, to: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Lengths along each way at which it comes under the disc and out again."""
        middle, beside = -(at * to).sum(1), at[:, 0] * to[:, 1] - at[:, 1] * to[:, 0]
        half = np.sqrt(np.maximum((self.length_mm / 2) ** 2 - beside**2, 0.0))
        return middle - half, np.where(half > 0, middle + half, -np.inf)

    def _block_way(self, at: np.ndarray, to: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        to = np.where(np.abs(to) < 1e-9, 1e-9, to)
        half = np.array([self.length_mm, self.width_mm]) / 2
        ends = np.sort(np.stack([(-half - at) / to, (half - at) / to]), axis=0)
        return ends[0].max(axis=1), ends[1].min(axis=1)

    def _over_dowel(self, at: np.ndarray, to: np.ndarray, up: np.ndarray) -> np.ndarray:
        """The ray that grazes a lying cylinder: square to its axis it stands at 2 atan(r / p)."""
        radius = self.thick_mm / 2
        side = -np.sign(at[:, 1])
        across = np.maximum(to[:, 1] * side, 0.0)  # share of the way that goes towards the axis
        away = np.abs(at[:, 1])
        reach, lift = np.hypot(away, radius - up), np.arctan2(radius - up, away)
        steep = lift + np.arcsin(np.clip(radius / np.maximum(reach, 1e-9), -1, 1))
        touch = (away - radius * np.sin(steep)) / np.maximum(across, 1e-9)
        along = at[:, 0] + to[:, 0] * touch
        met = (across > 1e-6) & (np.abs(along) < self.length_mm / 2)
        tangent = np.where(steep < np.pi / 2, np.tan(np.minimum(steep, 1.5)) * across, np.inf)
        return np.where(away < radius, np.inf, np.where(met, tangent, 0.0))


@dataclass(frozen=True, slots=True, kw_only=True)
class ShadowSpec:
    """What was typed: photo (name or number, None: every raking one), the thing, roughly where it lies.

    x_mm, y_mm: right and up as the first photo shows it, from the middle of `card` or from the origin.
    """

    text: str
    photo: str | None
    thing: Thing
    x_mm: float
    y_mm: float
    card: int | None


def read(text: str) -> ShadowSpec:
    """Understand one `--shadow` value: "left.jpg: euro 2 at 120mm,-40mm from card 2"."""
    match = re.fullmatch(
        r"(?:(?P<photo>[^:]{1,120}(?::[\\/][^:]{1,120})?):\s*)?(?P<thing>[^:]{1,60}?)\s+at\s+(?P<x>[^,]{1,20}),"
        r"(?P<y>[^,]{1,20}?)(?:\s+from\s+card\s+(?P<card>\d{1,2}))?",
        text.strip()[:400],
    )
    if not match:
        raise LightcheckError(f"'{text[:60]}' does not say what casts the shadow and where.", _EXAMPLE)
    return ShadowSpec(
        text=text,
        photo=match["photo"].strip() if match["photo"] else None,
        thing=thing(match["thing"]),
        x_mm=length_mm(match["x"]),
        y_mm=length_mm(match["y"]),
        card=int(match["card"]) if match["card"] else None,
    )


def thing(text: str) -> Thing:
    """A thing by name or by size. Refuses what is not in the tables and what has no sensible size."""
    name = " ".join(text.lower().split())
    if name in _COINS:
        across, thick, source, others = _COINS[name]
        sigma = max([SIZE_SIGMA_MM, *(abs(thick - o) / 2 for o in others)])
        return Thing(
            name=name,
            kind="disc",
            length_mm=across,
            width_mm=across,
            thick_mm=thick,
            sigma_mm=sigma,
            source=source,
        )
    kind, _, size = name.partition(" ")
    count = {"disc": 2, "block": 3, "dowel": 2}.get(kind)
    if count is None:
        first = name.split(" ")[0]
        known = [n for n in _COINS if n.startswith(first)] or list(_COINS)[:6]
        raise LightcheckError(
            f"'{text[:40]}' is no thing of known size.",
            f"Known are for example {', '.join(known)}. {_EXAMPLE}",
        )
    sizes = [length_mm(part) for part in size.split("x")] if size else []
    if len(sizes) != count or not all(0.3 <= v <= 300 for v in sizes):
        raise LightcheckError(f"'{text[:40]}' lacks its sizes.", _EXAMPLE)
    return _sized(name, kind, sizes)


def _sized(name: str, kind: str, sizes: list[float]) -> Thing:
    if kind == "disc":
        return Thing(name=name, kind=kind, length_mm=sizes[0], width_mm=sizes[0], thick_mm=sizes[1])
    if kind == "dowel":
        return Thing(name=name, kind=kind, length_mm=sizes[1], width_mm=sizes[0], thick_mm=sizes[0])
    length, width = sorted(sizes[:2], reverse=True)
    return Thing(name=name, kind=kind, length_mm=length, width_mm=width, thick_mm=sizes[2])


def coins() -> dict[str, tuple[float, float, str, tuple[float, ...]]]:
    """Name to diameter, thickness [mm], source, and what other tables print for the thickness."""
    return dict(_COINS)
