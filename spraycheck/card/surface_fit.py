"""Fit the bent sheet to printed corners or to the sheet's edges.

Everything is fitted at once by robust least squares with honest priors, so what the points do not
tell (focal length of a square-on view, curl across a hidden side) stays near what is usual and
shows up in the covariance.
"""

from __future__ import annotations

import functools
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from spraycheck.arrays import Float
from spraycheck.card.surface import (
    ASPECT,
    AXIS,
    COUNT,
    FOCAL,
    HEIGHTS,
    LENS,
    SPREAD,
    Basis,
    Surface,
    basis_of,
    side_positions,
    view_of,
)
from spraycheck.photo.containers import Photo

FILM_DIAGONAL_MM: Final = math.hypot(36.0, 24.0)
"""Equivalent focal lengths compare picture diagonals (CIPA DCG-001; from memory)."""

NORMAL_MAD: Final = 1.4826
"""Standard deviation of a normal distribution over its median absolute deviation."""

_DENSE: Final = 21  # positions along a side at which it is drawn; straight between two


@dataclass(frozen=True, kw_only=True)
class SurfaceSettings:
    """What is known of cameras and paper before any point is seen.

    Parameters
    ----------
    focal_35mm : float
        Equivalent focal length of a phone's main camera, mm (24 to 28 on current phones; chosen as
        the middle).
    focal_u_log : float
        Scale of the prior of its log where the photo does not say: covers 24 to 28 mm with
        electronic stabilisation and mild digital zoom.
    focal_freedom : float
        Degrees of freedom of Student's t, which that prior is: phones have second lenses of twice
        the focal length, 2.8 times the scale. Of the pairs tried (1 to 4; 0.2 to 0.3) those next to
        this one leave 32 practice photos as they were (0.37 mm) and see the long lens; with 1 a
        curled sheet is taken for one seen through another lens (6.7 mm off), with 3 or 4 and a
        scale of 0.2 the long lens for curl (4.3 mm).
    focal_exif_u_log : float
        Standard uncertainty of the same where EXIF says, normal: the tag is rounded to whole mm and
        cropping is not told.
    focal_low_35mm, focal_high_35mm : float
        EXIF values beyond are not believed, mm (phones and cameras; chosen).
    lens_u : float
        Standard uncertainty of the radial term: 2 % at the corners of a 26 mm picture, what phones
        leave after their own correction (chosen).
    axis_u : float
        Standard uncertainty of where the lens looks, half long sides: 1.5 % of the long side (image
        stabilisation and light cropping; chosen).
    cut_u_log : float
        Standard uncertainty of the log proportions of a cut sheet: ISO 216 allows 1.5 to 2 mm a
        side (a rectangular distribution over root 3, on both sides of A4, is 0.6 to 0.7 %; good
        cutters do better).
    print_u_log : float
        The same between printed marks whose check lines were given: the print is the scale.
    free_aspect_u_log : float
        The same for a sheet of unknown size: 1:1 to 1:1.7 both fit.
    spread_u : float
        By how much each side of a printed square may stand out, half square roots of the area:
        0.08 mm on A4: ink spread, toner, the camera's tone curve (a dot of a 300 dpi printer).
    bend_u, odd_bend_u, corner_u : float
        Standard deviations of the heights of bends of second and of third order and of lifted
        corners, half square roots of the area (0.1 is 12 mm on A4; chosen: sheets on a bench).
    reach : float
        Points further off than this many standard deviations count for nothing (4.685 gives 95 %
        efficiency on normal errors: Holland & Welsch 1977; rounded up).
    shared : float
        Neighbouring edge points share blur, paper texture and what the curl model lacks: they count
        as one in this many (chosen; checked against sheets of known truth).
    slack_frac : float
        Curl leaves a flat sheet's edges some percent of its size off; none of that may count as a
        stray point in the first, flat fit (chosen).
    edge_noise_px : float
        Least scatter of an edge point, decoded pixels (chosen: what a sharp edge without noise
        leaves between neighbours).
    corner_noise_px : float
        The same of a printed corner's coordinates (chosen: see `markers.place_corners`).
    rounds : int
        Most fits with the scatter estimated anew.
    settled_frac : float
        The scatter has settled when it falls by less than this.
    most_steps : int
        Most steps of one fit.
    tolerance : float
        Relative change of cost or parameters at which a fit has ended: far below the noise.
    """

    focal_35mm: float = 26.0
    focal_u_log: float = 0.25
    focal_freedom: float = 4.0
    focal_exif_u_log: float = 0.04
    focal_low_35mm: float = 10.0
    focal_high_35mm: float = 400.0
    lens_u: float = 0.03
    axis_u: float = 0.03
    cut_u_log: float = 0.004
    print_u_log: float = 1e-5
    free_aspect_u_log: float = 0.3
    spread_u: float = 0.00064
    bend_u: float = 0.04
    odd_bend_u: float = 0.005
    corner_u: float = 0.10
    reach: float = 5.0
    shared: float = 2.0
    slack_frac: float = 0.01
    edge_noise_px: float = 0.3
    corner_noise_px: float = 0.05
    rounds: int = 3
    settled_frac: float = 0.9
    most_steps: int = 60
    tolerance: float = 1e-4


@dataclass(frozen=True, kw_only=True)
class EdgePoints:
    """Points found along one side of a sheet, in order.

    Parameters
    ----------
    side : int
        0 top, 1 right, 2 bottom, 3 left, as walked clockwise from the first corner.
    points_px : (K, 2) ndarray of float64
        Full-photo pixels.
    weight : (K,) ndarray of float64
        0 to 1.
    """

    side: int
    points_px: Float
    weight: Float


@dataclass(frozen=True, kw_only=True)
class PrintedPoints:
    """Printed corners found in the photo.

    Parameters
    ----------
    at : (K, 2) ndarray of float64
        Where they are printed, fractions of the sheet.
    outward : (K, 2) ndarray of float64
        How they move when their square's sides stand out: signs.
    points_px : (K, 2) ndarray of float64
        Full-photo pixels.
    """

    at: Float
    outward: Float
    points_px: Float


Points = tuple[EdgePoints, ...] | PrintedPoints


@dataclass(frozen=True, kw_only=True)
class Prior:
    """What was known before any point was seen.

    Parameters
    ----------
    focal_log, focal_u_log : float
        Log of the focal length in half long sides of the photo, and its standard uncertainty.
    focal_known : bool
        The photo states it; otherwise the tails are Student's.
    aspect_log, aspect_u_log : float
        Log of height over width, and its standard uncertainty.
    curl : float
        Scales the standard deviations of all curl; 0 keeps the sheet flat.
    """

    focal_log: float
    focal_u_log: float
    focal_known: bool
    aspect_log: float
    aspect_u_log: float
    curl: float = 1.0

    @classmethod
    def of(cls, photo: Photo, settings: SurfaceSettings, *, curl: float) -> Prior:
        """Take the focal length from a photo's metadata, else a phone's main camera's."""
        known = settings.focal_low_35mm < photo.focal_35mm < settings.focal_high_35mm
        focal_35mm = photo.focal_35mm if known else settings.focal_35mm
        diagonal = math.hypot(photo.width_px, photo.height_px)
        half_long = max(photo.width_px, photo.height_px) / 2
        return cls(
            focal_log=math.log(focal_35mm / FILM_DIAGONAL_MM * diagonal / half_long),
            focal_u_log=settings.focal_exif_u_log if known else settings.focal_u_log,
            focal_known=known,
            aspect_log=0.0,
            aspect_u_log=settings.free_aspect_u_log,
            curl=curl,
        )

    def shaped(self, aspect_log: float, u_log: float) -> Prior:
        """Return the same with other proportions."""
        return replace(self, aspect_log=aspect_log, aspect_u_log=u_log)

    def centre(self) -> Float:
        """Expected parameters; the pose has no expectation."""
        centre = np.zeros(COUNT)
        centre[[FOCAL, ASPECT]] = self.focal_log, self.aspect_log
        return centre

    def inverse_u(self, settings: SurfaceSettings) -> Float:
        """Inverse standard uncertainties; nought for the pose."""
        u = np.full(COUNT, np.inf)
        u[FOCAL], u[LENS], u[ASPECT] = self.focal_u_log, settings.lens_u, self.aspect_u_log
        u[AXIS:SPREAD], u[SPREAD] = settings.axis_u, settings.spread_u
        bends = [settings.bend_u] * 3 + [settings.odd_bend_u] * 4 + [settings.corner_u] * 8
        u[HEIGHTS:] = self.curl * np.array(bends) if self.curl else np.inf
        return np.asarray(1 / u)


def fit_flat(
    start: Surface, points: Points, prior: Prior, settings: SurfaceSettings, *, noise_px: float
) -> Surface:
    """Fit a flat sheet, with room for the curl that is not modelled yet.

    Parameters
    ----------
    start : Surface
        First guess, see `surface.place_flat`.
    points : tuple of EdgePoints, or PrintedPoints
        What was seen; a hidden side is left out.
    prior : Prior
        What was known before.
    settings : SurfaceSettings
        Of the model.
    noise_px : float
        Least scatter of a point, full-photo pixels.
    """
    problem = _Problem(points, start, replace(prior, curl=0.0), settings)
    scale = max(noise_px, settings.slack_frac * problem.size_px)
    return problem.told(problem.solve(start.values, scale), start, noise_px)


def fit_bent(
    start: Surface, points: Points, prior: Prior, settings: SurfaceSettings, *, noise_px: float
) -> Surface:
    """Fit pose, focal length, lens, proportions and curl; parameters as of `fit_flat`.

    Notes
    -----
    Least squares (`scipy.optimize.least_squares`) on Tukey's biweight, the scatter taken from the
    residuals of the fit before and never growing.
    """
    problem = _Problem(points, start, prior, settings)
    values, scale = start.values, math.inf
    for _ in range(settings.rounds):
        last, scale = scale, min(scale, problem.scatter(values, noise_px))
        if scale > settings.settled_frac * last:
            break
        values = problem.solve(values, scale)
    return problem.told(values, start, noise_px)


class _Problem:
    """Residuals, derivatives and loss of a fit; remembers what was computed last."""

    def __init__(
        self, points: Points, start: Surface, prior: Prior, settings: SurfaceSettings
    ) -> None:
        if isinstance(points, PrintedPoints):
            seen = (points.points_px - start.middle_px) / start.unit_px
            basis = replace(basis_of(*points.at.T), outward=points.outward)
            rows: Callable[[Float], tuple[Float, Float]] = functools.partial(
                _corner_rows, seen=seen, basis=basis
            )
            weight = np.ones(seen.size)
        else:
            parts = [(edge.points_px - start.middle_px) / start.unit_px for edge in points]
            seen = np.concatenate(parts)
            sides = tuple(edge.side for edge in points)
            rows = functools.partial(_edge_rows, seen=parts, sides=sides, basis=_drawn())
            weight = np.concatenate([edge.weight for edge in points]) / settings.shared
        self.rows, self.weight, self.settings = rows, weight, settings
        self.unit_px = start.unit_px
        self.size_px = float(np.linalg.norm(np.ptp(seen, axis=0))) * start.unit_px
        self.centre, self.inverse_u = prior.centre(), prior.inverse_u(settings)
        self.held = np.flatnonzero(self.inverse_u)
        self.tailed = self.held == (FOCAL if not prior.focal_known else -1)
        self.free = np.arange(COUNT if prior.curl else HEIGHTS)
        self._key = b""
        self._last: tuple[Float, Float] = (np.empty(0), np.empty((0, 0)))

    def at(self, values: Float) -> tuple[Float, Float]:
        """Residuals ``(M,)`` and derivatives ``(M, 27)`` of the points, pixels."""
        key = values.tobytes()
        if key != self._key:
            residual, jacobian = self.rows(values)
            self._key, self._last = key, (residual * self.unit_px, jacobian * self.unit_px)
        return self._last

    def solve(self, values: Float, scale: float) -> Float:
        """Fit from a start, points scattering by ``scale`` pixels."""
        # Imported here: half a second that a reader of containers should not pay for.
        from scipy.optimize import least_squares

        root = np.sqrt(self.weight) / scale
        prior = np.zeros((len(self.held), COUNT))
        prior[np.arange(len(prior)), self.held] = self.inverse_u[self.held]
        prior = prior[:, self.free]
        count = len(root)

        def whole(part: Float) -> Float:
            out = values.copy()
            out[self.free] = part
            return out

        def residuals(part: Float) -> Float:
            every = whole(part)
            offset = (every - self.centre) * self.inverse_u
            return np.concatenate([self.at(every)[0] * root, offset[self.held]])

        def jacobian(part: Float) -> Float:
            return np.concatenate([self.at(whole(part))[1][:, self.free] * root[:, None], prior])

        def loss(z: Float) -> Float:
            out = np.stack([z, np.ones_like(z), np.zeros_like(z)])
            out[:2, :count] = self._biweight(z[:count])
            out[:2, count:] = self._departure(z[count:])
            return out

        tolerance = self.settings.tolerance
        found = least_squares(
            residuals,
            values[self.free],
            jac=jacobian,
            loss=loss,  # type: ignore[arg-type] # the stub has the loss as scipy wraps it
            x_scale="jac",
            ftol=tolerance,
            xtol=tolerance,
            gtol=None,
            max_nfev=self.settings.most_steps,
        )
        return whole(found.x)

    def _biweight(self, z: Float) -> Float:
        """Tukey's biweight of squared, weighted residuals, and its derivative.

        The second derivative is left at nought: least squares with changing weights, which cannot
        go astray where the loss bends the other way.
        """
        reach2 = np.maximum(self.settings.reach**2 * self.weight, 1e-12)
        left = np.maximum(1 - z / reach2, 0)
        return np.stack([reach2 / 3 * (1 - left**3), left**2])

    def _departure(self, z: Float) -> Float:
        """Loss of squared departures from the prior, and its derivative."""
        freedom = self.settings.focal_freedom
        tail = np.where(self.tailed, z, 0) / freedom
        return np.stack([np.where(self.tailed, freedom * np.log1p(tail), z), 1 / (1 + tail)])

    def _losses(self, values: Float, scale: float) -> tuple[Float, Float]:
        points = self._biweight(self.at(values)[0] ** 2 * self.weight / scale**2)
        offset = ((values - self.centre) * self.inverse_u)[self.held]
        return points, self._departure(offset**2)

    def scatter(self, values: Float, least: float) -> float:
        """Robust scatter of the points about the fit, pixels."""
        residual = np.abs(self.at(values)[0])
        # Parameters take up scatter; the priors hold most of them.
        free = max(len(residual) - len(self.free), len(residual) / 3)
        middle = float(np.median(residual)) * math.sqrt(len(residual) / free)
        return max(NORMAL_MAD * middle, least)

    def told(self, values: Float, start: Surface, noise_px: float) -> Surface:
        """Return the fit with its covariance and how well it fits."""
        scale = self.scatter(values, noise_px)
        points, prior = self._losses(values, scale)
        jacobian = self.at(values)[1]
        square = (jacobian.T * (points[1] * self.weight / scale**2)) @ jacobian
        square[self.held, self.held] += prior[1] * self.inverse_u[self.held] ** 2
        # What few points leave open costs nothing; a trace keeps it from being endless.
        square += np.diag(1e-12 * np.diag(square) + 1e-12)
        covariance = np.zeros((COUNT, COUNT))
        kept = np.ix_(self.free, self.free)
        covariance[kept] = np.linalg.inv(square[kept])
        # Counted with the least scatter, so that fits to the same points can be compared.
        points, prior = self._losses(values, noise_px)
        return replace(
            start,
            values=values,
            covariance=covariance,
            residual_px=scale,
            misfit=float(points[0].sum() + prior[0].sum()),
        )


def _corner_rows(values: Float, *, seen: Float, basis: Basis) -> tuple[Float, Float]:
    position, jacobian = view_of(values, basis)
    return (position - seen).ravel(), jacobian.reshape(-1, COUNT)


def _edge_rows(
    values: Float, *, seen: Sequence[Float], sides: tuple[int, ...], basis: Basis
) -> tuple[Float, Float]:
    """Distance of each edge point from its side, and derivatives."""
    position, jacobian = view_of(values, basis)
    lines, by = position.reshape(4, _DENSE, 2), jacobian.reshape(4, _DENSE, 2, COUNT)
    residuals, rows = [], []
    for side, points in zip(sides, seen, strict=True):
        line = lines[side]
        chord = line[-1] - line[0]
        line_at, seen_at = line @ chord, points @ chord
        after = np.clip(np.searchsorted(line_at, seen_at), 1, _DENSE - 1)
        way = line[after] - line[after - 1]
        part = (seen_at - line_at[after - 1]) / (line_at[after] - line_at[after - 1] + 1e-12)
        part = np.clip(part, 0, 1)[:, None]
        normal = np.stack([way[:, 1], -way[:, 0]], axis=1)
        normal /= np.linalg.norm(normal, axis=1, keepdims=True) + 1e-12
        near = line[after - 1] + part * way
        residuals.append(((near - points) * normal).sum(axis=1))
        between = by[side][after - 1] * (1 - part[..., None]) + by[side][after] * part[..., None]
        rows.append((normal[:, None] @ between)[:, 0])
    return np.concatenate(residuals), np.concatenate(rows)


@functools.cache
def _drawn() -> Basis:
    """All four sides at `_DENSE` places each."""
    along = np.linspace(-1.0, 1.0, _DENSE)
    x, y = (np.concatenate([side_positions(s, along)[k] for s in range(4)]) for k in (0, 1))
    return basis_of(x, y)
