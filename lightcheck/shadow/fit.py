"""Measuring one shadow on the sheet: bearing and elevation of the lamp from where a thing lies.

    thickness |#|\\                     tan elevation = thickness / length
    ----------+-+--\\------ wood         the length runs from the edge of the thing to where half
              | length |                 of the lamp's light has come back

A lamp is no point: its shadow ends in a long half-light, so all of it is fitted at once. A disc of
angular radius a, its middle at elevation e, hidden up to the elevation c, sends the share
A(u) + a/e B(u), u = (c - e)/a, A a circle's segment, B its moment: the upper half of the lamp lights
level wood more than the lower half does.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.optimize import least_squares

from lightcheck.errors import LightcheckError
from lightcheck.grid import Grid, frozen
from lightcheck.patch import Base
from lightcheck.shadow.things import Thing
from lightcheck.shadow.window import Setting, Window, tone

MIDDLE_SIGMA_MM = 0.35  # of the middle, found from the thing's outline
SHAPE_SHARE = 0.06  # of the lamp's angular radius: lamps are no even discs
ALIKE_CELLS = 12.0  # fine cells whose grain errs together
LEAST_DEPTH = 0.25  # share of the light that a shadow must take
RIM_MM = 1.2  # about the thing, not looked at: blur, and light thrown back by its side
USUAL_OUT_MM = 900.0  # of a lamp; a shadow of 20 mm hardly depends on it
MOST_SIGMAS = 5.0  # that the fit may move the middle by
LOWEST_RAD, HIGHEST_RAD = np.radians(1.5), np.radians(70)
TURN_SIGMA_RAD = np.radians(0.8)  # the cards' own turn and the sheet's squareness
MOST_START, MOST_FIT = 3000, 5000  # places looked at: more only costs time
LEAST_GAIN = 25.0  # five sigmas: a shadow is there at all
LEAST_ENDING = 0.7  # share of a shadow's half-light that must lie on wood that was seen
ACROSS_RAD = np.radians(60)  # light must cross a dowel at this angle or more
_START_SHIFTS = (0.0, -0.3, 0.3)  # of the log tangent: a half-light can be taken for the shadow's end
_START_DEG = (2.5, 3.2, 4, 5, 6.3, 8, 10, 13, 17, 22, 30, 42)


@dataclass(frozen=True, slots=True, kw_only=True)
class Shadow:
    """One shadow, measured.

    photo: its name.  top_mm: (3,) middle of the thing's top face in the patch frame.
    towards: (3,) unit vector from there to the lamp.  bearing_rad, elevation_rad: the same over the
    tangent plane at the thing.  cov_rad2: (2, 2) of bearing and elevation.  length_mm: thickness over
    the tangent of the elevation.  depth: share of the light taken.  lamp_rad: angular radius of the lamp.
    """

    photo: str
    thing: Thing
    top_mm: np.ndarray
    towards: np.ndarray
    axes: np.ndarray
    bearing_rad: float
    elevation_rad: float
    cov_rad2: np.ndarray
    length_mm: float
    depth: float
    lamp_rad: float


def elevation_rad(*, thick_mm: float, length_mm: float) -> float:
    """Elevation of the light over a shadow so long, from the foot of the edge that casts it."""
    return float(np.arctan2(thick_mm, length_mm))


def measure(
    log_light: np.ndarray, grid: Grid, *, thing: Thing, at_mm, others=None, setting: Setting | None = None
) -> Shadow:
    """Find a thing near a place on the sheet and measure its shadow.

    log_light: (ny, nx) of one shot, NaN where not seen.  at_mm: (2,) roughly where the thing lies.
    others: (k, ny, nx) shots lit from elsewhere, which take the grain out; may be left out.
    Refuses a place off the sheet, and where no shadow is found.
    """
    setting = setting or Setting()
    others = np.zeros((0, *grid.shape)) if others is None else np.asarray(others)
    view = Window.about(
        (np.asarray(log_light), others), grid, np.asarray(at_mm, float), thing=thing, setting=setting
    )
    middle, turn = view.middle()
    problem = _Problem(view, middle, turn)
    start = problem.start()
    fits = [
        least_squares(
            problem.residuals, start + shift * np.eye(9)[1], problem.slopes, bounds=problem.bounds(),
            x_scale=problem.scale, loss="soft_l1", f_scale=3.0, max_nfev=60,
        )
        for shift in _START_SHIFTS
    ]  # fmt: skip
    fit = min(fits, key=lambda f: f.cost)
    return problem.shadow(fit)


def lit_share(critical_rad, elevation, lamp_rad) -> np.ndarray:
    """Share of a disc lamp's light that reaches wood from which it is hidden below `critical_rad`."""
    u = np.clip((np.asarray(critical_rad) - elevation) / lamp_rad, -1.0, 1.0)
    root = np.sqrt(1 - u**2)
    segment, moment = (np.arccos(u) - u * root) / np.pi, 2 / (3 * np.pi) * root**3
    return segment + lamp_rad / elevation * moment


class _Problem:
    """Unknown: bearing, log tan elevation, log lamp radius, floor, level and its slopes, middle."""

    scale = np.array([0.05, 0.1, 0.2, 0.05, 0.05, 0.002, 0.002, MIDDLE_SIGMA_MM, MIDDLE_SIGMA_MM])

    def __init__(self, view: Window, middle: np.ndarray, turn: float) -> None:
        self.view, self.thing, self.turn = view, view.thing, turn
        base = view.setting.base
        x, y = view.grid.mesh_mm()
        self.foot = base.points_mm(*middle)
        self.axes = _axes(base, middle)
        local = (base.points_mm(x, y) - self.foot) @ self.axes.T
        change = view.log_light - tone(view.others)
        self.place, self.change = local[np.isfinite(change)], change[np.isfinite(change)]

    def model(self, p: np.ndarray, place: np.ndarray) -> np.ndarray:
        """(n,) share of light at each place."""
        moved = place - [p[7], p[8], 0.0]
        lamp = USUAL_OUT_MM * np.array([np.cos(p[0]), np.sin(p[0]), np.exp(p[1])])
        lamp[2] += self.thing.thick_mm
        to = lamp - moved
        out = np.hypot(to[:, 0], to[:, 1])
        critical = np.arctan(self.thing.critical(moved, to[:, :2] / out[:, None], self.turn))
        share = lit_share(critical, np.arctan2(to[:, 2], out), np.exp(p[2]))
        return p[3] + (1 - p[3]) * share

    def start(self) -> np.ndarray:
        """Bearing and elevation whose shadow is darkest against its surroundings; and what to look at."""
        size, best = np.hypot(*self.place[:, :2].T), (0.0, 0.0, 0.0)
        radius, thick = max(self.thing.length_mm, self.thing.width_mm) / 2, self.thing.thick_mm
        under = self._under(self.place)
        near = ~under & (size < radius + 12 + thick / np.tan(np.radians(4)))
        step = max(1, int(near.sum()) // MOST_START)
        place, change = self.place[near][::step], self.change[near][::step]
        for bearing in np.radians(np.arange(0, 360, 6)):
            way = np.tile([np.cos(bearing), np.sin(bearing)], (len(place), 1))
            critical = self.thing.critical(place, way, self.turn)
            for elevation in np.tan(np.radians(_START_DEG)):
                dark = critical > elevation
                if 8 < dark.sum() < len(dark) - 8:
                    contrast = np.median(change[~dark]) - change[dark].mean()
                    best = max(best, (contrast * np.sqrt(dark.sum()), bearing, elevation))
        _, bearing, elevation = best
        self._look(bearing, elevation)
        level = float(np.median(self.change[self.model(self._p(bearing, elevation, 0.0), self.place) > 0.98]))
        return self._p(bearing, elevation, level)

    @staticmethod
    def _p(bearing: float, elevation: float, level: float) -> np.ndarray:
        lamp = max(0.2 * np.arctan(elevation), 0.005)
        return np.array([bearing, np.log(max(elevation, 0.02)), np.log(lamp), 0.05, level, 0, 0, 0, 0])

    def _under(self, place: np.ndarray) -> np.ndarray:
        """Places under the thing, on its rim, or where the phone sees its side."""
        way = np.tile([1.0, 0.0], (len(place), 1))
        under = np.zeros(len(place), bool)
        for dx, dy in RIM_MM * np.array([(0, 0), (1, 0), (-1, 0), (0, 1), (0, -1), (0.7, 0.7), (-0.7, 0.7),
                                         (0.7, -0.7), (-0.7, -0.7)]):  # fmt: skip
            under |= np.isinf(self.thing.critical(place + np.array([dx, dy, 0.0]), way, self.turn))
        return under

    def _look(self, bearing: float, elevation: float) -> None:
        """Keep the places behind the thing, as far as the half-light may reach."""
        radius = max(self.thing.length_mm, self.thing.width_mm) / 2
        away = -(self.place[:, 0] * np.cos(bearing) + self.place[:, 1] * np.sin(bearing))
        beside = self.place[:, 1] * np.cos(bearing) - self.place[:, 0] * np.sin(bearing)
        reach = radius + 2.0 * self.thing.thick_mm / elevation + 8
        keep = (
            (away > -0.3 * radius)
            & (away < reach)
            & (np.abs(beside) < radius + 10)
            & ~self._under(self.place)
        )
        step = max(1, int(keep.sum()) // MOST_FIT)
        self.place, self.change = self.place[keep][::step], self.change[keep][::step]
        self.alike = max(1.0, ALIKE_CELLS / step)

    def residuals(self, p: np.ndarray) -> np.ndarray:
        """(n + 3,) misfits in units of about one sigma, then the priors of middle and lamp size."""
        level = p[4] + self.place[:, :2] @ p[5:7]
        light = np.exp(np.clip(self.change - level, -8, 2))
        misfit = (light - self.model(p, self.place)) / 0.05
        size = (p[2] - np.log(0.02)) / 1.0
        return np.r_[misfit / np.sqrt(self.alike), p[7:9] / MIDDLE_SIGMA_MM, size]

    @staticmethod
    def bounds() -> tuple[list, list]:
        """Elevations, lamps and places of the middle beyond these are no fit at all."""
        middle, free = MOST_SIGMAS * MIDDLE_SIGMA_MM, [np.inf] * 3
        low = [-np.inf, np.log(np.tan(LOWEST_RAD)), np.log(1e-3), -0.5, -np.inf, -np.inf, -np.inf]
        high = [np.inf, np.log(np.tan(HIGHEST_RAD)), np.log(0.3), 0.95, *free]
        return [*low, -middle, -middle], [*high, middle, middle]

    def slopes(self, p: np.ndarray) -> np.ndarray:
        """(n + 3, 9) of the misfits, over steps wide enough to move the sharp sides of a shadow a cell."""
        steps = np.diag(0.2 * self.scale)
        ahead, behind = ([self.residuals(p + sign * s) for s in steps] for sign in (1, -1))
        return (np.array(ahead) - behind).T / (2 * np.diag(steps))

    def shadow(self, fit) -> Shadow:
        """The product, with what the fit can not know added to its covariance."""
        p, thing = fit.x, self.thing
        tangent, lamp = np.exp(p[1]), float(np.exp(p[2]))
        elevation, depth = float(np.arctan(tangent)), float(1 - p[3])
        self._refuse(p, depth)
        scatter = max(1.0, float(np.median(np.abs(fit.fun[:-3])) * 1.4826) ** 2 * self.alike)
        cov = np.linalg.inv(fit.jac.T @ fit.jac / scatter + 1e-9 * np.eye(9))
        turn = np.diag([1.0, tangent / (1 + tangent**2)])
        cov = turn @ cov[:2, :2] @ turn
        cov[1, 1] += (turn[1, 1] * thing.sigma_mm / thing.thick_mm) ** 2 + (SHAPE_SHARE * lamp) ** 2
        cov[0, 0] += TURN_SIGMA_RAD**2
        c, s = np.cos(p[0]), np.sin(p[0])
        unit = np.array([c * np.cos(elevation), s * np.cos(elevation), np.sin(elevation)])
        top = self.foot + np.array([p[7], p[8], thing.thick_mm]) @ self.axes
        return Shadow(
            photo=self.view.setting.photo, thing=thing, top_mm=frozen(top), towards=frozen(unit @ self.axes),
            axes=frozen(self.axes), bearing_rad=float(np.angle(np.exp(1j * p[0]))), elevation_rad=elevation,
            cov_rad2=frozen(cov), length_mm=float(thing.thick_mm / tangent), depth=depth, lamp_rad=lamp,
        )  # fmt: skip

    def _refuse(self, p: np.ndarray, depth: float) -> None:
        """Refuse what is no shadow, a shadow cut short, and a dowel that lies along the light."""
        at, name, photo = self.view.at_mm, self.thing.name, self.view.setting.photo
        elevation, edge = np.arctan(np.exp(p[1])), 0.98 * MOST_SIGMAS * MIDDLE_SIGMA_MM
        lost = depth < LEAST_DEPTH or max(abs(p[7]), abs(p[8])) > edge or self._gain(p) < LEAST_GAIN
        if lost or not 1.05 * LOWEST_RAD < elevation < 0.98 * HIGHEST_RAD:
            raise LightcheckError(
                f"No shadow of {name} was found near {at[0]:.0f}, {at[1]:.0f} mm in {photo}.",
                "Give its place to a centimetre or so, as the first photo shows it, and keep its shadow on "
                "bare wood between the cards.",
            )
        if self.thing.kind == "dowel" and abs(np.sin(p[0] - self.turn)) < np.sin(ACROSS_RAD):
            raise LightcheckError(
                f"{name} lies along the light in {photo}, so its shadow tells little.",
                "Turn it across the light, or use a coin.",
            )
        if self._ending_seen(p) < LEAST_ENDING:
            raise LightcheckError(
                f"The shadow of {name} runs off the wood that {photo} shows between the cards.",
                "Lay it nearer to the lamp, or use a thinner thing, such as a coin.",
            )

    def _gain(self, p: np.ndarray) -> float:
        """How much worse level wood without a shadow explains the light: twice the log likelihood."""
        bare = np.where(np.arange(9) == 3, 1.0, p)
        with_it, without = (np.minimum(self.residuals(q)[:-3] ** 2, 9.0).sum() for q in (p, bare))
        return float(without - with_it)

    def _ending_seen(self, p: np.ndarray) -> float:
        """Share of the half-light, behind the middle of the thing, that lies on wood that was seen."""
        away = np.arange(0.0, 4 * self.thing.thick_mm / np.exp(p[1]) + self.thing.length_mm, 0.5)
        line = np.array([p[7], p[8], 0.0]) - np.outer(away, [np.cos(p[0]), np.sin(p[0]), 0.0])
        share = (self.model(p, line) - p[3]) / (1 - p[3])
        places = self.foot + line[(share > 0.1) & (share < 0.9)] @ self.axes
        rows, columns = (np.rint(i).astype(int) for i in self.view.grid.index(places[:, 0], places[:, 1]))
        sheet = self.view.log_light
        on = (rows >= 0) & (rows < sheet.shape[0]) & (columns >= 0) & (columns < sheet.shape[1])
        return float(np.isfinite(sheet[rows[on], columns[on]]).sum() / max(len(places), 1))


def _axes(base: Base, middle: np.ndarray) -> np.ndarray:
    """Rows: along x in the tangent plane, square to it, out of the wood."""
    normal = base.normal(*middle)
    along = np.array([1.0, 0.0, base.slope(*middle)[0]])
    along = along / np.linalg.norm(along)
    return np.array([along, np.cross(normal, along), normal])
