"""Pintle and single-hole nozzles drawn at random, sound or with one fault."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from spraycheck.simulate.nozzle import CentralSpray, SyntheticNozzle
from spraycheck.simulate.paper import Paper
from spraycheck.simulate.shot import SprayShot, StrayJet

CENTRAL_FAULTS = ("none", "lopsided", "streaky", "not-hollow", "side-spray", "off-centre")
"""Kinds of fault a central spray can have; ``not-hollow`` makes the nozzle one that should be."""


def central_spray(
    paper: Paper, fault: str, hard: float, rng: np.random.Generator
) -> tuple[SyntheticNozzle, SprayShot, tuple[float, float]]:
    """Draw up a central spray: nozzle, shot, and the foot of the tip on the card.

    Parameters
    ----------
    paper : Paper
        What is sprayed on.
    fault : str
        One of `CENTRAL_FAULTS`.
    hard : float
        0 (a clear fault) to 1 (a slight one).
    rng : numpy.random.Generator
        Where the randomness comes from.

    Notes
    -----
    A hollow needs room on paper that soaks: hollow sprays are drawn from higher up, wider, and with
    less fluid, as a careful technician would do it (chosen). A sound nozzle gets up to 0.08 of
    lopsidedness and leans by up to a twentieth of its cone; the card lies under the tip within half
    a millimetre (chosen).
    """
    hollow = fault == "not-hollow" or rng.uniform() < 0.5
    half_cone = float(rng.uniform(7, 16) if hollow else rng.uniform(4, 14))
    height = float(rng.uniform(55, 95) if hollow else rng.uniform(40, 90))
    # A patch that can be judged by eye, too: no smaller than a coin ...
    height = max(height, (10.0 if hollow else 8.0) / math.tan(math.radians(half_cone)))
    # ... and it stays on the sheet, with room for a spray thrown to the side.
    widest = 0.28 * min(paper.width_mm, paper.height_mm)
    height = min(height, widest / math.tan(math.radians(half_cone)))
    clear = 1 - hard
    central = CentralSpray(
        kind="hollow" if hollow else "solid",
        half_cone_deg=half_cone,
        wall_deg=float(rng.uniform(0.2, 0.35)) * half_cone if hollow else 1.5,
        lopsided_frac=float(rng.uniform(0.0, 0.08)),
        lopsided_deg=float(rng.uniform(0, 360)),
        lean_deg=float(rng.uniform(0, 0.05)) * half_cone,
        lean_to_deg=float(rng.uniform(0, 360)),
    )
    radius = height * math.tan(math.radians(half_cone))
    area = math.pi * max(radius, 4.0) ** 2
    fullness = float(rng.uniform(0.4, 0.75) if hollow else rng.uniform(0.6, 1.3))
    shot = SprayShot(
        volume_mm3=area * paper.capacity_mm3_per_mm2 * fullness,
        height_mm=height,
        mist_frac=float(rng.uniform(0.05, 0.15)),
        coarse_frac=float(rng.uniform(0.0, 0.06)),
        mottle_frac=float(rng.uniform(0.03, 0.15)),
    )
    if fault == "lopsided":
        # In a filled spray a heavy side is mostly the patch's shift to that side, and paper that is
        # full hides even that: it takes more of the fault, and less fluid, to show.
        low = 0.5 + 0.2 * clear if hollow else 0.85
        frac = float(rng.uniform(low, 0.7 + 0.3 * clear if hollow else 1.0))
        central = replace(central, lopsided_frac=frac)
        if not hollow:
            shot = replace(shot, volume_mm3=shot.volume_mm3 * 0.6)
    elif fault == "streaky":
        count = int(rng.integers(3, 8))
        first = float(rng.uniform(0, 360))
        central = replace(
            central,
            streaks_deg=tuple(
                float(first + 360 * k / count + rng.normal(0, 60 / count)) for k in range(count)
            ),
            streak_frac=float(rng.uniform(0.5 + 0.15 * clear, 0.7 + 0.1 * clear)),
            streak_width_deg=float(rng.uniform(8, 14)),
        )
    elif fault == "not-hollow":
        central = replace(central, fill_frac=float(rng.uniform(0.7 + 0.1 * clear, 1.0)))
    elif fault == "side-spray":
        # Well outside the patch: a jet inside it is a streak.
        aside = math.degrees(math.atan(float(rng.uniform(2.0, 3.0)) * radius / height))
        jet = StrayJet(
            direction_deg=float(rng.uniform(0, 360)),
            axis_angle_deg=min(aside, 60.0),
            share=float(rng.uniform(0.15 + 0.1 * clear, 0.25 + 0.2 * clear)),
        )
        shot = replace(shot, strays=(jet,))
    elif fault == "off-centre":
        lean = float(rng.uniform(0.8 + 0.4 * clear, 1.2 + 0.8 * clear)) * half_cone
        central = replace(central, lean_deg=min(lean, 20.0))
    foot = (float(rng.normal(0, 0.5)), float(rng.normal(0, 0.5)))
    return SyntheticNozzle(azimuth_deg=(), central=central), shot, foot
