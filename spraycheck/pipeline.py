"""The stages in their order: one photo in, one assessment out."""

from __future__ import annotations

import functools
import inspect
from collections.abc import Callable
from dataclasses import dataclass, fields
from typing import Any

import cv2
import numpy as np

from spraycheck.card.containers import RectifiedCard
from spraycheck.card.find import find_card
from spraycheck.card.reference import divide_by_reference
from spraycheck.card.spec import CardSpec
from spraycheck.constants import RESULTS_VERSION, WET_THRESHOLD_FRAC
from spraycheck.errors import CardNotFoundError
from spraycheck.judge.assessment import assess_layout
from spraycheck.judge.layout import Assessment, Layout
from spraycheck.judge.limits import Limits
from spraycheck.judge.quality import (
    SprayTime,
    add_quality,
    crept_mm,
    less_certain,
    limits_passed,
    look_at_photo,
    seconds_since,
    widen_for_creep,
)
from spraycheck.judge.standoff import Standoff, add_spray_angles
from spraycheck.photo.containers import Photo
from spraycheck.spray.centre import locate_centre
from spraycheck.spray.containers import NozzleCentre, PlumeCatalogue, PlumeSegmentation, WetnessMap
from spraycheck.spray.measure import measure_plumes
from spraycheck.spray.occluders import leave_out_things
from spraycheck.spray.seen import Seen
from spraycheck.spray.segmentation import segment_plumes
from spraycheck.spray.wetness import map_wetness


@dataclass(frozen=True, kw_only=True)
class Pipeline:
    """The stages as fields; swap one with ``functools.partial`` or a function of your own.

    Examples
    --------
    >>> from functools import partial
    >>> from spraycheck import Pipeline, segment_plumes
    >>> careful = Pipeline(segment=partial(segment_plumes, min_area_mm2=8.0))

    Parameters
    ----------
    rectify, wetness, centre, segment, measure, assess : callable
        Functions of the shapes of the house's own; see their docstrings.
    """

    rectify: Callable[..., RectifiedCard] = find_card
    wetness: Callable[..., WetnessMap] = map_wetness
    centre: Callable[..., NozzleCentre] = locate_centre
    segment: Callable[..., PlumeSegmentation] = segment_plumes
    measure: Callable[..., PlumeCatalogue] = measure_plumes
    assess: Callable[..., Assessment] = assess_layout

    def __call__(
        self,
        photo: Photo,
        spec: CardSpec | None = None,
        *,
        layout: Layout,
        limits: Limits | None = None,
        dry: Photo | None = None,
        standoff: Standoff | None = None,
        sprayed: SprayTime | None = None,
        lined_up: str = "",
    ) -> Assessment:
        """Measure and judge one photo.

        Parameters
        ----------
        photo : Photo
            Of the sprayed card.
        spec : CardSpec, optional
            What is known of the card.
        layout : Layout
            The holes the nozzle should have.
        limits : Limits, optional
            What is tolerated.
        dry : Photo, optional
            Of the same card before spraying; stains and print on it then do not count.
        standoff : Standoff, optional
            Height of the tip over the card; adds the angles of the holes.
        sprayed : SprayTime, optional
            When the card was sprayed; areas on a card photographed late are less certain.
        lined_up : str, optional
            The feature that 12 o'clock on the card was lined up with, as the layout's
            ``counts_from``; the turn of the whole pattern is then held against its limit.

        Raises
        ------
        InputError
            The photo was taken before the card was sprayed; a feature to line up with that the
            layout does not count from.
        MeasurementError
            A stage cannot answer from this photo; the error names the stage and what to try.
        """
        layout.check_lined_up(lined_up)
        elapsed = None if sprayed is None else seconds_since(sprayed, photo.taken_at)
        card = self.rectify(photo, spec or CardSpec())
        seen = clean = None
        if dry is not None:
            try:
                seen, clean = card, self.rectify(dry, spec or CardSpec(), cell_mm=card.cell_mm)
            except CardNotFoundError as error:
                told = f"in the dry photo, {error}"
                raise CardNotFoundError(told, stage=error.stage, hint=error.hint) from None
            card = divide_by_reference(seen, clean)
        wet = self.wetness(card)
        centre = self.centre(wet)
        segmentation, wet = leave_out_things(self.segment(wet, centre), wet, photo)
        catalogue = self.measure(wet, segmentation, centre)
        if elapsed is not None:
            catalogue = widen_for_creep(catalogue, crept_mm(elapsed))
        found = Seen(
            photo=photo,
            card=card,
            wetness=wet,
            centre=centre,
            segmentation=segmentation,
            catalogue=catalogue,
        )
        looked = look_at_photo(found, seen=seen, clean=clean)
        beyond = limits_passed(found, looked)
        if beyond:
            centre, catalogue = less_certain(centre, catalogue)
        assessment = self.assess(
            catalogue,
            layout,
            limits or Limits(),
            photo=photo,
            card=card,
            wetness=wet,
            centre=centre,
            segmentation=segmentation,
            # A stage of the caller's own need not know of what is seldom given.
            **({"lined_up": True} if lined_up else {}),
            **({"beyond": beyond} if beyond else {}),
            provenance={
                **self.describe(),
                "dry_sha256": "" if dry is None else dry.sha256,
                "standoff_mm": None if standoff is None else standoff.height_mm,
                "sprayed_at": None if sprayed is None else sprayed.text,
                "lined_up_with": lined_up or None,
            },
        )
        if standoff is not None:
            assessment = add_spray_angles(assessment, standoff)
        return add_quality(assessment, elapsed_s=elapsed, looked=looked)

    def describe(self) -> dict[str, object]:
        """Return versions and every stage with all its parameters, for provenance."""
        from spraycheck import __version__

        return {
            "spraycheck": __version__,
            "results_version": RESULTS_VERSION,
            "numpy": np.__version__,
            "opencv": cv2.__version__,
            "wet_threshold_frac": WET_THRESHOLD_FRAC,
            "stages": {one.name: describe_stage(getattr(self, one.name)) for one in fields(self)},
        }


def describe_stage(stage: Callable[..., Any]) -> dict[str, object]:
    """Return the name of a stage's function and all its keyword parameters, defaults included."""
    given: dict[str, Any] = {}
    while isinstance(stage, functools.partial):
        given = {**stage.keywords, **given}
        stage = stage.func
    parameters = {
        name: given.get(name, parameter.default)
        for name, parameter in inspect.signature(stage).parameters.items()
        if parameter.kind is inspect.Parameter.KEYWORD_ONLY
        and (name in given or parameter.default is not inspect.Parameter.empty)
    }
    # JSON has no tuples; None is a parameter left to the stage. Anything else is named by repr, so
    # that a changed parameter never goes unseen.
    plain = {
        k: v
        if v is None or isinstance(v, (int, float, str, bool))
        else list(v)
        if isinstance(v, tuple)
        else repr(v)
        for k, v in parameters.items()
    }
    return {
        "function": f"{stage.__module__}.{getattr(stage, '__qualname__', repr(stage))}",
        "parameters": plain,
    }
