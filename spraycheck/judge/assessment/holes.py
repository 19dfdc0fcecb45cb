"""State of every expected hole, with its probability and its finding."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from spraycheck import flags as flag
from spraycheck.constants import COVERAGE_FACTOR_95
from spraycheck.judge.assessment.area_ratios import Ratios
from spraycheck.judge.assessment.checks import Check, hold, together
from spraycheck.judge.assessment.illumination import FADES, fades_towards
from spraycheck.judge.assessment.residuals import Leaning
from spraycheck.judge.findings import describe
from spraycheck.judge.layout import Finding, Hole
from spraycheck.judge.limits import Limits
from spraycheck.spray.seen import Seen
from spraycheck.stats.circular import wrap_180

ANOTHER_SHOT = "Spray a second card and give both photos together with --combine."
ANOTHER_PHOTO = "Photograph this card once more, square-on from above in even light."
DRY_PHOTO = (
    "Photograph this card again in even light; next time photograph it before spraying too "
    "and give that photo with --dry."
)
PRINTED_CARD = "Photograph this card once more, square-on; next time spray a printed target card."
WHOLE_CARD = "Photograph the whole card, or spray a fresh one with the nozzle over its middle."
"""What settles a doubt at the least cost; each is chosen by what makes up most of it."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Held:
    """Everything about the plumes that is held against limits."""

    leaning: Leaning
    area: Ratios
    width: Ratios
    reach: Ratios

    def checks(self, plume: int, limits: Limits) -> dict[str, Check]:
        """Hold one plume's values against their limits, by the limit's name."""
        turn = float(self.leaning.lean_deg[plume]), float(self.leaning.sigma_deg[plume])
        found = {"direction_deg": hold("direction_deg", *turn, limits)}
        for what in ("area", "width", "reach"):
            ratios: Ratios = getattr(self, what)
            value, sigma = float(ratios.ratio[plume]), float(ratios.sigma[plume])
            for side in ("low", "high"):
                name = f"{what}_{side}_ratio"
                found[name] = hold(name, value, sigma, limits)
        return found


@dataclass(frozen=True, kw_only=True)
class Judged:
    """A hole's state with all that led to it."""

    state: str
    reason: str = ""
    settle: str = ""
    check: Check | None = None
    probability: float = math.nan


def judge(seen: Seen, held: Held, plume: int, limits: Limits, risk: float) -> Judged:
    """Judge a hole by its plume.

    Parameters
    ----------
    seen, held
        What was found, and what is held against limits.
    plume : int
        Row of the catalogue.
    limits : Limits
        The settings.
    risk : float
        What a single value may take of the whole nozzle's risk.
    """
    flags = seen.catalogue.flags[plume]
    if flag.MERGED in flags:
        return Judged(state="unsure", reason="its plume runs into another one", settle=ANOTHER_SHOT)
    checks = held.checks(plume, limits)
    edge = flag.AT_SHEET_EDGE in flags
    everything = together(
        [
            checks["direction_deg"].probability,
            *(
                max(
                    0.0,
                    checks[f"{w}_low_ratio"].probability
                    + checks[f"{w}_high_ratio"].probability
                    - 1.0,
                )
                for w in ("area", "width", "reach")
            ),
        ]
    )
    faults = (
        ("off-line", "direction_deg"),
        ("weak", "area_low_ratio"),
        ("heavy", "area_high_ratio"),
        ("misshapen", "width_low_ratio"),
        ("misshapen", "width_high_ratio"),
        ("misshapen", "reach_low_ratio"),
        ("misshapen", "reach_high_ratio"),
    )
    for state, name in faults:
        # What runs over the edge has lost a part there, or has a shadow or an object joined to it,
        # which draws its direction, too.
        if checks[name].probability > risk or edge:
            continue
        here = float(seen.catalogue.direction_deg[plume])
        of_holes = np.isfinite(held.area.log)
        if state == "weak" and fades_towards(seen.catalogue, here, of_holes, plume):
            return Judged(
                state="unsure",
                reason=FADES,
                settle=DRY_PHOTO,
                check=checks[name],
                probability=everything,
            )
        return Judged(state=state, check=checks[name], probability=everything)
    doubtful = min(checks.values(), key=lambda c: c.probability)
    if edge and doubtful.probability < 1 - limits.risk:
        return Judged(
            state="unsure",
            reason="its plume runs over the edge of the card or photo",
            settle=WHOLE_CARD,
            check=doubtful,
            probability=everything,
        )
    if doubtful.probability < 1 - limits.risk:
        return unsure(seen, held, plume, doubtful, everything)
    return Judged(state="clear", check=doubtful, probability=everything)


def unsure(seen: Seen, held: Held, plume: int, check: Check, probability: float) -> Judged:
    """A hole too close to a limit to tell, with what would settle it."""
    what = {
        "direction": "direction",
        "area": "wetted area",
        "width": "plume's width",
        "reach": "reach",
    }[check.limit.partition("_")[0]]
    return Judged(
        state="unsure",
        reason=f"its {what} lies too close to the limit for this photo",
        settle=_settle(seen, held, plume, check),
        check=check,
        probability=probability,
    )


def _settle(seen: Seen, held: Held, plume: int, check: Check) -> str:
    """Say what would narrow the doubt at the least cost, by its largest part."""
    if check.limit == "direction_deg":
        own, whole = float(held.leaning.own_deg[plume]), float(held.leaning.sigma_deg[plume])
        covariance = seen.centre.covariance_mm2
        sheet = seen.card.geometry_u_mm**2 / max(float(np.trace(covariance)) / 2, 1e-12)
        if own < 0.7 * whole and sheet > 0.5:
            return ANOTHER_PHOTO if seen.card.printed else PRINTED_CARD
        return ANOTHER_SHOT
    if check.limit.startswith("area"):
        photo = float(held.area.own[plume]) > 0.7 * float(held.area.sigma[plume])
        return DRY_PHOTO if photo and seen.wetness.noise > 0.03 else ANOTHER_SHOT
    return ANOTHER_SHOT


def row(
    number: int, expected_deg: float, plume: int, judged: Judged, seen: Seen, held: Held
) -> Hole:
    """Make the row of a hole; ``plume`` is -1 for none."""
    catalogue = seen.catalogue
    if plume < 0:
        nan = math.nan
        blocked = judged.state == "blocked"
        return Hole(
            hole=number,
            expected_deg=expected_deg,
            plume=None,
            state=judged.state,
            deviation_deg=nan,
            spacing_deg=nan,
            area_frac=0.0,
            area_ratio=0.0 if blocked else nan,
            deviation_u_deg=nan,
            area_ratio_u=nan,
            probability=0.0 if blocked else nan,
            reason=judged.reason,
        )
    ratio = float(held.area.ratio[plume])
    return Hole(
        hole=number,
        expected_deg=expected_deg,
        plume=plume + 1,
        state=judged.state,
        deviation_deg=wrap_180(float(catalogue.direction_deg[plume]) - expected_deg),
        spacing_deg=_spacing(seen, plume),
        area_frac=float(catalogue.area_frac[plume]),
        area_ratio=ratio,
        deviation_u_deg=float(catalogue.direction_u_deg[plume]),
        area_ratio_u=COVERAGE_FACTOR_95 * ratio * float(held.area.sigma[plume]),
        probability=judged.probability,
        reason=judged.reason,
    )


def _spacing(seen: Seen, plume: int) -> float:
    """To the next plume clockwise; the catalogue is sorted clockwise."""
    direction = seen.catalogue.direction_deg
    if len(direction) < 2:
        return 360.0
    return float((direction[(plume + 1) % len(direction)] - direction[plume]) % 360.0)


def finding(hole: Hole, judged: Judged, limits: Limits) -> list[Finding]:
    """Tell what is wrong with a hole; nothing for a clear one."""
    if hole.state == "clear":
        return []
    if hole.state == "blocked":
        return [describe("hole-blocked", hole.hole, expected_deg=hole.expected_deg)]
    evidence = judged.check.evidence(limits) if judged.check else None
    if hole.state == "unsure" or evidence is None:
        settle = judged.settle or ANOTHER_SHOT
        return [
            describe(
                "hole-unsure", hole.hole, evidence=evidence, reason=judged.reason, settle=settle
            )
        ]
    fields: dict[str, float] = {"u": evidence.u, "limit": evidence.allowed}
    if hole.state == "off-line":
        return [
            describe(
                "hole-off-line",
                hole.hole,
                evidence=evidence,
                deviation_deg=evidence.value,
                u_deg=evidence.u,
                limit_deg=evidence.allowed,
            )
        ]
    if hole.state == "misshapen":
        kind = {
            "width_low_ratio": "hole-solid-stream",
            "width_high_ratio": "hole-bushy",
            "reach_low_ratio": "hole-short",
            "reach_high_ratio": "hole-long",
        }[evidence.limit]
        return [describe(kind, hole.hole, evidence=evidence, ratio=evidence.value, **fields)]
    return [
        describe(
            f"hole-{hole.state}", hole.hole, evidence=evidence, area_ratio=evidence.value, **fields
        )
    ]
