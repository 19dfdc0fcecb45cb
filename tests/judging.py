"""Measurements made by hand, put before the judge."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from spraycheck.card.containers import RectifiedCard
from spraycheck.flags import Flags
from spraycheck.judge.judge import add_angles, check_spray, decide_case
from spraycheck.judge.layout import Layout
from spraycheck.judge.limits import AxialLimits, Limits
from spraycheck.judge.matched import check_pattern
from spraycheck.judge.matching import Match
from spraycheck.judge.nozzle import AxialNozzle
from spraycheck.judge.residuals import AngularResiduals
from spraycheck.judge.result import Result
from spraycheck.judge.standoff import Standoff
from spraycheck.judge.values import PatternValues, pattern_values, plumes_of
from spraycheck.photo.containers import Photo
from spraycheck.spray.axial.containers import AxialPatch
from spraycheck.spray.containers import NozzleCentre, PlumeCatalogue, PlumeSegmentation, WetnessMap
from spraycheck.spray.measurement import Measurement, Plumes


def judge_rows(
    rows: PlumeCatalogue,
    layout: Layout,
    limits: Limits,
    *,
    photo: Photo,
    card: RectifiedCard,
    wetness: WetnessMap,
    centre: NozzleCentre,
    segmentation: PlumeSegmentation,
    lined_up: bool = False,
    exceeded: Flags = (),
    standoff: Standoff | None = None,
) -> Result:
    """Judge a catalogue of plumes against a layout."""
    found = Measurement(
        photo=photo,
        card=card,
        wetness=wetness,
        spray=Plumes(centre=centre, segmentation=segmentation, catalogue=rows),
    )
    if exceeded:
        case = check_pattern(found, layout, limits, lined_up=lined_up, exceeded=exceeded)
    else:
        case = check_spray(found, layout, limits, lined_up=lined_up)
    return decide_case(add_angles(case, standoff))


def judge_patch(
    patch: AxialPatch,
    nozzle: AxialNozzle,
    limits: AxialLimits,
    *,
    photo: Photo,
    card: RectifiedCard,
    wetness: WetnessMap,
    standoff: Standoff | None = None,
    provenance: Mapping[str, object] | None = None,
) -> Result:
    """Judge an axial patch."""
    found = Measurement(photo=photo, card=card, wetness=wetness, spray=patch)
    case = add_angles(check_spray(found, nozzle, limits), standoff)
    return decide_case(case, provenance=provenance)


def values_of(
    rows: PlumeCatalogue, centre: NozzleCentre, layout: Layout, match: Match, limits: Limits
) -> PatternValues:
    """What is held against limits of plumes whose holes are known."""
    empty = PlumeSegmentation(
        labels=np.zeros((1, 1), np.int32), core=np.zeros((1, 1), bool), count=0
    )
    plumes = Plumes(centre=centre, segmentation=empty, catalogue=rows)
    return pattern_values(plumes, layout, plumes_of(match, len(layout)), match.rotation_deg, limits)


def residuals_of(
    rows: PlumeCatalogue, centre: NozzleCentre, layout: Layout, match: Match, limits: Limits
) -> AngularResiduals:
    """Deviations beyond what the pattern shares, by hole."""
    return values_of(rows, centre, layout, match, limits).residuals


def with_parts(result: Result, **parts: object) -> Result:
    """The same result with other parts of what was measured: card, centre, catalogue, and so on."""
    spray = {
        name: parts.pop(name) for name in ("centre", "segmentation", "catalogue") if name in parts
    }
    found = replace(result.measurement, **parts)  # type: ignore[arg-type]
    if spray:
        found = replace(found, spray=replace(found.plumes, **spray))  # type: ignore[arg-type]
    return replace(result, measurement=found)
