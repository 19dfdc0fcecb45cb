"""Drawn cards for the tests of single stages: ellipses of known place, turn and area on paper.

Plain definitions, no code of the package's own: the point-in-ellipse test and light that is
multiplied. Cards are never square, never centred and never evenly lit, so that a flip, a swap or a
forgotten correction shows.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from spraycheck.card.containers import RectifiedCard

PAPER = (0.70, 0.62, 0.50)
STAIN = (0.62, 0.50, 0.33)  # transmitted share of light in saturated paper, per colour


@dataclass(frozen=True)
class Plume:
    """An ellipse on the ray at ``direction`` from the centre."""

    direction: float
    radius: float = 46.0
    length: float = 13.0  # semi-axis along the ray, mm
    width: float = 6.0  # semi-axis across, mm
    turn: float = 0.0  # of the ellipse against its ray, degrees clockwise
    wetness: float = 1.0


@dataclass(frozen=True)
class Scene:
    """What lies on the card."""

    plumes: tuple[Plume, ...]
    centre: tuple[float, float] = (4.0, -7.0)
    size: tuple[float, float] = (190.0, 230.0)
    drip: float = 0.0  # radius, mm
    blots: tuple[tuple[float, float, float], ...] = ()  # x, y, radius
    ink: bool = False
    noise: float = 0.004
    halo: float = 0.8  # softness of every edge, mm
    falloff: float = 0.35  # light lost towards one corner
    brightness: float = 1.0
    seed: int = 20
    cell: float = 0.4
    extra: dict[str, float] = field(default_factory=dict)


def even(count: int, *, start: float = 17.0, **plume: float) -> tuple[Plume, ...]:
    return tuple(Plume(direction=start + 360 * k / count, **plume) for k in range(count))


def wetness_of(scene: Scene) -> NDArray[np.float64]:
    """Wetness on the card's grid, soft edges included."""
    x, y = grid(scene)
    wet = np.zeros_like(x)
    cx, cy = scene.centre
    for p in scene.plumes:
        t = math.radians(p.direction)
        dx, dy = x - cx - p.radius * math.sin(t), y - cy + p.radius * math.cos(t)
        a = math.radians(p.direction + p.turn)
        along = dx * math.sin(a) - dy * math.cos(a)
        across = dx * math.cos(a) + dy * math.sin(a)
        q = np.hypot(along / p.length, across / p.width)
        # Distance to the edge is about (1 - q) times the smaller semi-axis.
        soft = 1 / (1 + np.exp(-(1 - q) * p.width / scene.halo * 2))
        wet = np.maximum(wet, p.wetness * soft)
    blots = [*scene.blots, *([(cx, cy, scene.drip)] if scene.drip else [])]
    for bx, by, r in blots:
        q = np.hypot(x - bx, y - by) / r
        wet = np.maximum(wet, 1 / (1 + np.exp(-(1 - q) * r / scene.halo * 2)))
    return wet


def grid(scene: Scene) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    cols, rows = (round(s / scene.cell) for s in scene.size)
    x = (np.arange(cols) - (cols - 1) / 2) * scene.cell
    y = (np.arange(rows) - (rows - 1) / 2) * scene.cell
    return np.meshgrid(x, y)  # type: ignore[return-value]


def draw(scene: Scene) -> RectifiedCard:
    """A card as stage 1 would hand it on; photo pixels are 3 per mm, shifted."""
    x, y = grid(scene)
    wet = wetness_of(scene)
    width, height = scene.size
    light = 1 - scene.falloff * ((x / width + 0.5) * (y / height + 0.5))
    root = np.sqrt(np.array(STAIN))
    # The law the literature gives for light that wanders in paper (Yule-Nielsen, n = 2).
    passed = ((1 - wet)[..., None] + wet[..., None] * root) ** 2
    rgb = np.array(PAPER) * scene.brightness * light[..., None] * passed
    if scene.ink:
        line = (np.abs(y - 30) < 0.3) | (np.abs(np.hypot(x, y) - 45) < 0.25)
        rgb = np.where(line[..., None], rgb * 0.35, rgb)
    rng = np.random.default_rng(scene.seed)
    rgb = rgb * (1 + rng.normal(0, scene.noise, rgb.shape))
    return from_above(rgb, x, y, cell=scene.cell, size=scene.size, px_per_mm=3.0, shift=(40, 25))


def from_above(
    rgb: NDArray[np.floating[Any]],
    x: NDArray[np.float64],
    y: NDArray[np.float64],
    *,
    cell: float,
    size: tuple[float, float],
    px_per_mm: float,
    shift: tuple[float, float],
) -> RectifiedCard:
    """A card of known size as stage 1 would hand it on, photographed from straight above.

    ``x`` and ``y`` are the places of the cells in mm; ``shift`` is where in the photo the sheet's
    top left corner lies.
    """
    width, height = size
    corners = np.array([[0.0, 0.0], [width, 0], [width, height], [0, height]]) * px_per_mm + shift
    return RectifiedCard(
        linear_rgb=np.clip(rgb, 0, 1).astype(np.float32),
        inside=np.ones(x.shape, bool),
        map_x_px=((x + width / 2) * px_per_mm + shift[0]).astype(np.float32),
        map_y_px=((y + height / 2) * px_per_mm + shift[1]).astype(np.float32),
        cell_mm=cell,
        x0_mm=float(x[0, 0]),
        y0_mm=float(y[0, 0]),
        size_mm=size,
        scale_known=True,
        found_by="sheet",
        corners_px=corners,
        outline_px=corners.copy(),
        geometry_u_mm=0.1,
        aspect_u_frac=0.002,
    )
