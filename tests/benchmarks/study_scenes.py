"""The cards of the verdict and coverage studies: which nozzle, which fault; shared, not run alone.

Half of the cards are healthy. Of the others a quarter each has one weak hole (flow uniform from 0.1
to 0.9), one off-line hole (2 to 20 degrees, either way), one blocked hole, or two of these in two
holes. Families take turns, so that any stretch of numbers holds all of them.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from spraycheck.judge.layout import Layout
from spraycheck.simulate import SyntheticNozzle, SyntheticPhoto, random_scene

FAMILIES = ("bench", "workshop", "hard", "layout")
FAULTS = ("weak", "off-line", "blocked", "two")
SEED = 20_261_125
"""Fixed before the first run; card ``number`` depends on it and on ``number`` alone."""


@dataclass(frozen=True, kw_only=True)
class Case:
    """One card of the study: the photo, its truth, and what the nozzle was meant to be."""

    number: int
    family: str
    fault: str
    photo: SyntheticPhoto
    nozzle: SyntheticNozzle

    @property
    def layout(self) -> Layout:
        """What the tool is told: a hole count, or the layout file of an uneven nozzle."""
        if self.family != "layout":
            return Layout.evenly_spread(len(self.nozzle))
        n = self.nozzle
        diameter = n.diameter_mm if isinstance(n.diameter_mm, tuple) else (n.diameter_mm,) * len(n)
        return Layout(
            name=f"drawn nozzle {self.number}",
            azimuth_deg=tuple(a % 360.0 % 360.0 for a in n.azimuth_deg),
            axis_angle_deg=n.axis_angles,
            diameter_mm=diameter,
        )

    @property
    def sheet(self) -> str | None:
        """The sheet's size where a user would name it."""
        if self.family not in ("bench", "layout"):
            return None
        return "{:g}x{:g}".format(*self.photo.sheet_mm)


def make_case(number: int, *, seed: int = SEED, megapixels: float = 1.5) -> Case:
    """Draw and photograph card ``number``."""
    rng = np.random.default_rng([seed, number])
    family = FAMILIES[number % len(FAMILIES)]
    # Every second card of each family is healthy; the faults take turns among the others.
    turn = number // len(FAMILIES)
    fault = "none" if turn % 2 == 0 else FAULTS[turn // 2 % len(FAULTS)]
    scene = random_scene(
        int(rng.integers(2**31)), family=family, fault="none", megapixels=megapixels
    )
    nozzle = scene.nozzle
    kinds = {"none": (), "two": tuple(rng.permutation(FAULTS[:3])[:2])}.get(fault, (fault,))
    for kind, place in zip(kinds, rng.permutation(len(nozzle)), strict=False):
        nozzle = _with_fault(nozzle, str(kind), int(place) + 1, rng)
    scene = replace(scene, nozzle=nozzle)
    return Case(number=number, family=family, fault=fault, photo=scene.photograph(), nozzle=nozzle)


def _with_fault(
    nozzle: SyntheticNozzle, kind: str, hole: int, rng: np.random.Generator
) -> SyntheticNozzle:
    if kind == "blocked":
        return nozzle.with_flow(hole, 0.0)
    if kind == "weak":
        return nozzle.with_flow(hole, float(rng.uniform(0.1, 0.9)))
    return nozzle.with_deflection(hole, float(rng.uniform(2, 20) * rng.choice([-1, 1])))
