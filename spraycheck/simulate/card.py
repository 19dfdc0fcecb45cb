"""The sprayed card, flat: spray laid down, soaked in, and everything true about it kept."""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from spraycheck.errors import InputError
from spraycheck.simulate import deposits, optics, soaking, spray
from spraycheck.simulate.checks import Seed, as_rng, check_range
from spraycheck.simulate.nozzle import SyntheticNozzle
from spraycheck.simulate.paper import Fluid, Paper
from spraycheck.simulate.record import record_truth
from spraycheck.simulate.shot import SprayShot
from spraycheck.simulate.spray import Grid
from spraycheck.simulate.textures import cloud_field, noise_field
from spraycheck.simulate.truth import CardTruth, direction_about

FloatMap = NDArray[np.float32]
Labels = NDArray[np.int32]


@dataclass(frozen=True, kw_only=True)
class CardImage:
    """A sprayed sheet, lying flat.

    Parameters
    ----------
    wetness : (M, N) ndarray of float32
        0 dry, 1 full.
    volume_mm3 : (M, N) ndarray of float32
        Fluid per cell.
    labels : (M, N) ndarray of int32
        Whose fluid reached each cell most: hole number from 1, 0 nobody's, negative the marks
        (-1 is the first of ``truth.marks``). Given for every cell with any fluid, so a threshold
        on ``wetness`` is up to the user.
    grain : (M, N) ndarray of float32
        Brightness of the bare surface relative to its mean.
    cell_mm : float
        Side of a cell.
    paper, fluid : Paper, Fluid
        What it is made of.
    truth : CardTruth
        What is really on it.
    """

    wetness: FloatMap
    volume_mm3: FloatMap
    labels: Labels
    grain: FloatMap
    cell_mm: float
    paper: Paper
    fluid: Fluid
    truth: CardTruth

    @property
    def grid(self) -> Grid:
        """The cells."""
        return Grid(
            width_mm=self.paper.width_mm, height_mm=self.paper.height_mm, cell_mm=self.cell_mm
        )

    def linear_rgb(
        self, *, backing: tuple[float, float, float] = (0.3, 0.3, 0.3), pitch_mm: float = 0.0
    ) -> FloatMap:
        """Return the sheet's linear reflectance, artwork included.

        Parameters
        ----------
        backing : (3,) tuple of float
            Linear reflectance of what the sheet lies on; shows through where it is wet.
        pitch_mm : float
            Side of an output cell; 0 keeps the card's.

        Returns
        -------
        (M, N, 3) ndarray of float32
        """
        pitch = pitch_mm or self.cell_mm
        rows = max(2, round(self.paper.height_mm / pitch))
        cols = max(2, round(self.paper.width_mm / pitch))
        wetness, grain = self.wetness, self.grain
        if (rows, cols) != wetness.shape:
            how = cv2.INTER_CUBIC if pitch < self.cell_mm else cv2.INTER_AREA
            wetness = np.asarray(cv2.resize(wetness, (cols, rows), interpolation=how))
            grain = np.asarray(cv2.resize(grain, (cols, rows), interpolation=cv2.INTER_LINEAR))
        rgb = optics.paint(wetness, optics.wetness_table(self.paper, self.fluid, backing))
        rgb *= grain[..., None]
        for art in self.paper.artwork:
            _print(rgb, art.rgb, pitch, (art.width_mm, art.height_mm), (art.x_mm, art.y_mm))
        return rgb

    def flat_rgb(self, *, pitch_mm: float = 0.0) -> NDArray[np.uint8]:
        """Return a picture of the sheet as a scanner would see it, sRGB-encoded.

        Returns
        -------
        (M, N, 3) ndarray of uint8
        """
        light = np.clip(self.linear_rgb(backing=(0.8, 0.8, 0.8), pitch_mm=pitch_mm), 0, 1)
        return np.asarray(np.rint(optics.linear_to_srgb(light) * 255), np.uint8)


def _print(
    rgb: FloatMap,
    art: NDArray[np.uint8],
    pitch: float,
    size_mm: tuple[float, float],
    middle_mm: tuple[float, float],
) -> None:
    """Lay artwork over the sheet: ink on the surface takes its share of the light."""
    rows, cols = rgb.shape[:2]
    sx, sy = size_mm[0] / art.shape[1] / pitch, size_mm[1] / art.shape[0] / pitch
    ink = optics.srgb_to_linear(np.arange(256) / 255.0)[art]
    if max(sx, sy) < 1:  # shrinking: average first, thin lines must not drop out
        ink = np.asarray(
            cv2.resize(
                ink,
                (max(1, round(art.shape[1] * sx)), max(1, round(art.shape[0] * sy))),
                interpolation=cv2.INTER_AREA,
            )
        )
        sx = size_mm[0] / ink.shape[1] / pitch
        sy = size_mm[1] / ink.shape[0] / pitch
    x0 = (cols - 1) / 2 + middle_mm[0] / pitch - (ink.shape[1] - 1) / 2 * sx
    y0 = (rows - 1) / 2 + middle_mm[1] / pitch - (ink.shape[0] - 1) / 2 * sy
    move = np.array([[sx, 0, x0], [0, sy, y0]])
    over = cv2.warpAffine(
        ink, move, (cols, rows), flags=cv2.INTER_LINEAR, borderValue=(1.0, 1.0, 1.0)
    )
    rgb *= over


def draw_card(
    nozzle: SyntheticNozzle,
    shot: SprayShot | None,
    paper: Paper | None = None,
    fluid: Fluid | None = None,
    *,
    seed: Seed,
    foot_mm: tuple[float, float] = (0.0, 0.0),
    soak_s: float = 30.0,
    cell_mm: float = 0.25,
) -> CardImage:
    """Spray a card.

    Parameters
    ----------
    nozzle : SyntheticNozzle
        What sprays.
    shot : SprayShot or None
        What is pumped; None leaves the card blank.
    paper, fluid : Paper, Fluid
        Default office paper (A4) and straw-coloured fluid.
    seed : int or numpy.random.Generator
        Where all randomness comes from; the same number gives the same card.
    foot_mm : (float, float)
        Nozzle centre on the card.
    soak_s : float
        Time from spraying to photograph.
    cell_mm : float
        Resolution of the card.

    Returns
    -------
    CardImage

    Raises
    ------
    InputError
        The seed is no number, the centre lies off the sheet, a plume that should flow misses the
        sheet altogether, or a value is out of range.
    """
    rng = as_rng(seed)
    paper, fluid = paper or Paper(), fluid or Fluid()
    check_range("cell_mm", cell_mm, 0.05, 2, unit="mm")
    check_range("soak_s", soak_s, 0, 3600, unit="s")
    grid = Grid(width_mm=paper.width_mm, height_mm=paper.height_mm, cell_mm=cell_mm)
    foot = np.array(foot_mm, float)
    if foot.shape != (2,) or not grid.holds(foot[:1], foot[1:])[0]:
        raise InputError(f"foot_mm {foot_mm}: expected a point on the sheet, mm from its middle")

    sources: list[tuple[int, FloatMap]] = []
    marks: list[tuple[str, tuple[float, float], float]] = []
    if shot is not None:
        sources = _holes(grid, nozzle, shot, foot, rng)
        for kind, where, volume, direction in _extras(grid, nozzle, shot, foot, rng):
            marks.append((kind, where, direction))
            sources.append((-len(marks), volume))

    total = np.zeros(grid.shape, np.float32)
    for _, volume in sources:
        total += volume
    labels = _owners(sources, grid)
    capacity = _capacity(paper, grid, rng)
    suction = _suction(paper, grid, rng)
    total = soaking.overflow(total, capacity, cell_mm)
    total = soaking.wick(
        total,
        capacity,
        cell_mm,
        seconds=soak_s,
        wick_mm_per_rt_s=paper.wick_mm_per_rt_s,
        immobile_frac=paper.immobile_frac,
        suction=suction,
    )
    wetness = total / capacity
    truth = record_truth(
        grid,
        nozzle,
        shot,
        (float(foot[0]), float(foot[1])),
        wetness,
        total,
        labels,
        marks,
        {k: float(v.sum(dtype=np.float64)) for k, v in sources},
    )
    return CardImage(
        wetness=wetness,
        volume_mm3=total,
        labels=labels,
        grain=_grain(paper, grid, rng),
        cell_mm=cell_mm,
        paper=paper,
        fluid=fluid,
        truth=truth,
    )


# -- spraying ---------------------------------------------------------------------------------


def _holes(
    grid: Grid,
    nozzle: SyntheticNozzle,
    shot: SprayShot,
    foot: NDArray[np.float64],
    rng: np.random.Generator,
) -> list[tuple[int, FloatMap]]:
    out = []
    for k, plume in enumerate(spray.plumes_of(nozzle, shot, (foot[0], foot[1])), 1):
        if plume.volume_mm3 <= 0:
            continue
        volume = deposits.deposit_plume(grid, plume, shot, foot, rng)
        if not float(volume.sum(dtype=np.float64)) > 0.01 * plume.volume_mm3:
            raise InputError(
                f"the plume of hole {k} misses the card: lower the tip, shrink the axis angle "
                "or take a larger sheet"
            )
        out.append((k, volume))
    return out


def _extras(
    grid: Grid,
    nozzle: SyntheticNozzle,
    shot: SprayShot,
    foot: NDArray[np.float64],
    rng: np.random.Generator,
) -> list[tuple[str, tuple[float, float], FloatMap, float]]:
    """Lay down everything that comes from no hole: kind, where, volume per cell, direction."""
    out: list[tuple[str, tuple[float, float], FloatMap, float]] = []
    here = (float(foot[0]), float(foot[1]))
    share = spray.central_share(nozzle)
    if nozzle.central is not None and shot.volume_mm3 > 0:
        volume = deposits.deposit_central(
            grid, nozzle.central, shot, foot, share * shot.volume_mm3, rng
        )
        out.append(("central", here, volume, math.nan))
    for stray in shot.strays:
        plume = spray.stray_plume(stray, nozzle, shot, here)
        volume = deposits.deposit_plume(grid, plume, shot, foot, rng)
        hit = spray.impact_mm(plume.start, plume.axis)
        where = (float(hit[0]), float(hit[1]))
        out.append(("stray", where, volume, direction_about(here, *where)))
    if shot.drip_mm3 > 0:
        # Fluid that hangs on the tip falls in drops of some mm3, each a little off the foot.
        count = max(1, round(shot.drip_mm3 / 3.0))
        at = foot + rng.normal(0.0, 0.7, (count, 2))
        spots = np.concatenate([at, foot + rng.normal(0.0, 4.0, (4 * count, 2))])
        sizes = np.concatenate([np.full(count, 0.96), np.full(4 * count, 0.01)])
        volume = deposits.deposit_drops(grid, spots, sizes * shot.drip_mm3 / count)
        out.append(("drip", here, volume, math.nan))
    for _ in range(shot.splashes):
        x = rng.uniform(-0.45, 0.45) * grid.width_mm
        y = rng.uniform(-0.45, 0.45) * grid.height_mm
        size = float(0.05 * np.exp(0.9 * rng.standard_normal()))
        volume = deposits.deposit_drops(grid, np.array([[x, y]]), np.array([size]))
        out.append(("splash", (x, y), volume, math.nan))
    return out


def _owners(sources: list[tuple[int, FloatMap]], grid: Grid) -> Labels:
    """Say whose fluid each cell holds most, with room for what will run and creep outward."""
    best = np.zeros(grid.shape, np.float32)
    labels = np.zeros(grid.shape, np.int32)
    for name, volume in sources:
        # Fluid spreads by some mm before the photograph; a broad faint copy of every deposit
        # claims the cells it can reach.
        near = cv2.GaussianBlur(volume, (0, 0), 1.0 / grid.cell_mm)
        small = cv2.resize(
            volume, (grid.shape[1] // 8 + 1, grid.shape[0] // 8 + 1), interpolation=cv2.INTER_AREA
        )
        broad = cv2.GaussianBlur(small, (0, 0), 4.0 / (8 * grid.cell_mm))
        broad = cv2.resize(broad, grid.shape[::-1], interpolation=cv2.INTER_LINEAR)
        claim = np.asarray(near + 0.01 * broad, np.float32)
        mine = claim > best
        labels[mine] = name
        np.maximum(best, claim, out=best)
    return labels


# -- paper ------------------------------------------------------------------------------------


def _capacity(paper: Paper, grid: Grid, rng: np.random.Generator) -> FloatMap:
    per_cell = paper.capacity_mm3_per_mm2 * grid.cell_mm**2
    if paper.grain_frac == 0:
        return np.full(grid.shape, per_cell, np.float32)
    field = cloud_field(grid.shape, (0.5 / grid.cell_mm, 2.0 / grid.cell_mm), rng)
    # A third of the stated spread is in capacity, the rest in permeability: pore volume varies
    # far less than what flows through it, which goes with the square of pore size.
    out = np.exp(np.float32(paper.grain_frac / 3) * field)
    return np.asarray(out * np.float32(per_cell / out.mean()), np.float32)


def _suction(paper: Paper, grid: Grid, rng: np.random.Generator) -> FloatMap | None:
    if paper.grain_frac == 0:
        return None
    field = cloud_field(grid.shape, (0.6 / grid.cell_mm, 1.5 / grid.cell_mm), rng)
    out = np.exp(np.float32(paper.grain_frac) * np.clip(field, -2.5, 2.5))
    return np.asarray(out / np.float32(out.mean()), np.float32)


def _grain(paper: Paper, grid: Grid, rng: np.random.Generator) -> FloatMap:
    """Return the brightness of the bare surface: fine fibres and coarse formation."""
    # The stated texture counts per 0.25 mm; white noise of smaller cells is larger.
    fine = noise_field(grid.shape, 0.0, rng) * np.float32(
        paper.texture_frac * min(2.0, 0.25 / grid.cell_mm)
    )
    coarse = cloud_field(grid.shape, (1.0 / grid.cell_mm, 4.0 / grid.cell_mm), rng)
    return np.asarray(np.exp(fine + coarse * np.float32(paper.cloud_frac)), np.float32)
