"""The case of one photo of a nozzle with holes: its plumes allotted to the holes of a layout."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from spraycheck.arrays import Float, Mask
from spraycheck.flags import Flags
from spraycheck.judge.case import Case, Rules
from spraycheck.judge.checks import (
    Effect,
    check_plume,
    has,
    shared_risk,
)
from spraycheck.judge.holes import (
    HOLE_LIMITS,
    NOISY,
    better_photo_settles,
    hole_checks,
    hole_groups,
    merged_holes,
    missing_plume,
    plume_doubts,
    radial_factor_beside,
    row_of,
    spacing_after,
)
from spraycheck.judge.illumination import fades_towards
from spraycheck.judge.layout import Layout
from spraycheck.judge.limits import Limits
from spraycheck.judge.matching import Match, layout_misfit, match_plumes
from spraycheck.judge.pattern import FOLLOWS, card_checks, pattern_checks, pattern_notes
from spraycheck.judge.result import (
    Doubt,
    Finding,
    Hole,
    Kind,
    LimitCheck,
)
from spraycheck.judge.values import PatternValues, pattern_values, plumes_of
from spraycheck.spray.measurement import Measurement


def check_pattern(
    found: Measurement,
    layout: Layout,
    limits: Limits,
    *,
    lined_up: bool = False,
    exceeded: Flags = (),
    rules: Rules | None = None,
) -> Case:
    """Hold one photo of a nozzle with holes against its limits.

    Parameters
    ----------
    found : Measurement
        What was measured.
    layout, limits
        What is expected and tolerated.
    lined_up : bool
        12 o'clock on the card was lined up with the feature the layout counts from, so the turn of
        the whole pattern is judged too.
    exceeded : tuple of str
        Flags of the limits of photo quality that were passed: where wet paper may look dry, a
        missing plume is no proof.
    rules : Rules, optional
        Decision rules that are on; all of them when not given.
    """
    rules = rules or Rules()
    here = _Matched.of(found, layout, limits, lined_up, rules)
    strays = () if here.misfit else here.strays
    whole = pattern_checks(here.values, layout, limits)
    whole += card_checks(found, here.values.turn_deg, layout, limits, lined_up, strays)
    sharing = 2 * len(layout) + len(whole)
    by_hole = {
        hole: here.checks(number, hole, exceeded, rules)
        for number, hole in enumerate(here.order, start=1)
    }
    if rules.fading_light and here.fades(by_hole, shared_risk(limits, sharing)):
        by_hole = {hole: _without_proof(checks) for hole, checks in by_hole.items()}
        whole = [check for check in whole if check.limit != "area_spread_ratio"]
    if here.misfit:
        why = (Doubt.LAYOUT_MISFIT,)
        whole = [replace(check, probability=math.nan, doubts=why) for check in whole]
    return Case(
        measurement=found,
        nozzle=layout,
        limits=limits,
        checks=tuple(check for checks in (*by_hole.values(), whole) for check in checks),
        groups=() if here.misfit else hole_groups(here.values, limits),
        grouped=frozenset(HOLE_LIMITS),
        follows=FOLLOWS,
        sharing=sharing,
        rows=tuple(
            here.row(number, hole, by_hole[hole]) for number, hole in enumerate(here.order, start=1)
        ),
        strays=tuple(k + 1 for k in strays),
        notes=(*here.misfit, *here.merged_notes(), *pattern_notes(found, layout, limits)),
    )


@dataclass(frozen=True, kw_only=True, eq=False)
class _Matched:
    """One photo with its plumes allotted to the holes of a layout.

    Parameters
    ----------
    found, layout, limits
        As of `check_pattern`.
    match : Match
        The allotment.
    values : PatternValues
        What is held against limits.
    merged : dict of int to int
        Hole to plume, where plumes run together.
    misfit : tuple of Finding
        Why no hole can be judged; empty where they can.
    """

    found: Measurement
    layout: Layout
    limits: Limits
    match: Match
    values: PatternValues
    merged: dict[int, int]
    misfit: tuple[Finding, ...]

    @classmethod
    def of(
        cls, found: Measurement, layout: Layout, limits: Limits, lined_up: bool, rules: Rules
    ) -> _Matched:
        rows = found.plumes.catalogue
        match = match_plumes(rows, layout, lined_up=lined_up, centre_shift=rules.centre_shift)
        plume, turn = plumes_of(match, len(layout)), match.rotation_deg
        exchange = rules.exchanged_holes
        values = pattern_values(found.plumes, layout, plume, turn, limits, exchange=exchange)
        expected = (np.array(layout.azimuth_deg) + turn) % 360.0
        return cls(
            found=found,
            layout=layout,
            limits=limits,
            match=match,
            values=values,
            merged=merged_holes(rows, expected, plume),
            misfit=tuple(layout_misfit(rows, layout, match)),
        )

    @property
    def expected_deg(self) -> Float:
        """Where each hole should spray, ``(n,)``."""
        return np.asarray((np.array(self.layout.azimuth_deg) + self.values.turn_deg) % 360.0)

    @property
    def order(self) -> list[int]:
        """The holes as they are numbered; those of an even layout from 12 o'clock on this card."""
        even = self.layout.even
        return (
            [int(k) for k in np.argsort(self.expected_deg)] if even else [*range(len(self.values))]
        )

    @property
    def strays(self) -> tuple[int, ...]:
        """Rows of plumes that belong to no hole."""
        inside = set(self.merged.values())
        return tuple(p for p, h in enumerate(self.match.hole_of) if h < 0 and p not in inside)

    @property
    def of_holes(self) -> Mask:
        """Plumes that belong to a hole, ``(K,)``."""
        return np.array([hole >= 0 for hole in self.match.hole_of], bool)

    def checks(self, number: int, hole: int, exceeded: Flags, rules: Rules) -> list[LimitCheck]:
        """Checks of one hole, or the one that says why there are none."""
        found, plume = self.found, int(self.values.plume[hole])
        if self.misfit:
            return [check_plume(number, int(plume >= 0), (Doubt.LAYOUT_MISFIT,))]
        if hole in self.merged:
            return [check_plume(number, 1, (Doubt.RUN_TOGETHER,))]
        if plume < 0:
            missing = missing_plume(
                number,
                found,
                float(self.expected_deg[hole]),
                radial_factor_beside(self.layout, self.values.plume, hole),
                exceeded=exceeded,
                of_holes=self.of_holes if rules.fading_light else None,
            )
            return [missing]
        doubts = plume_doubts(found.plumes.catalogue.flags[plume])
        if has(doubts, Effect.WITHHELD):
            return [check_plume(number, 1, doubts)]
        return hole_checks(
            number,
            hole,
            self.values,
            self.limits,
            doubts,
            better_photo=better_photo_settles(found),
            noisy=found.wetness.noise > NOISY,
        )

    def fades(self, by_hole: dict[int, list[LimitCheck]], risk: float) -> bool:
        """Whether light that fades may explain a missing plume, or a small area that is proved."""
        rows = self.found.plumes.catalogue
        for hole, checks in by_hole.items():
            if checks[0].doubts[:1] == (Doubt.FADING_LIGHT,):
                return True
            small = any(c.limit == "area_low_ratio" and c.probability <= risk for c in checks)
            row = int(self.values.plume[hole])
            if small and fades_towards(rows, float(rows.direction_deg[row]), self.of_holes, row):
                return True
        return False

    def row(self, number: int, hole: int, checks: Sequence[LimitCheck]) -> Hole:
        """The row of a hole, without its state."""
        rows = self.found.plumes.catalogue
        plume = self.merged.get(hole, int(self.values.plume[hole]))
        return row_of(
            number,
            hole,
            float(self.expected_deg[hole]),
            plume,
            self.values,
            rows.area_frac,
            spacing_after(rows, plume),
            checks,
        )

    def merged_notes(self) -> list[Finding]:
        """Tell which holes' plumes run together."""
        number = {hole: at for at, hole in enumerate(self.order, start=1)}
        notes = []
        for plume in sorted(set(self.merged.values())):
            names = sorted(number[hole] for hole, row in self.merged.items() if row == plume)
            fields = {"holes": " and ".join(str(name) for name in names)}
            notes.append(Finding(kind=Kind.PLUMES_MERGED, fields=fields))
        return notes


def _without_proof(checks: Sequence[LimitCheck]) -> list[LimitCheck]:
    """Take the proof from a small area under light that fades."""
    return [
        replace(check, doubts=(Doubt.FADING_LIGHT, *check.doubts))
        if check.limit == "area_low_ratio"
        else check
        for check in checks
    ]
