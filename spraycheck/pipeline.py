"""The stages in their order: one photo in, one result out, whatever kind of nozzle it is."""

from __future__ import annotations

import functools
import inspect
import math
from collections.abc import Callable
from dataclasses import dataclass, fields, is_dataclass
from typing import Any, Final

import cv2
import numpy as np

from spraycheck.card.containers import RectifiedCard
from spraycheck.card.printed import find_card
from spraycheck.card.reference import subtract_clean_card
from spraycheck.card.spec import CardSpec
from spraycheck.constants import RESULTS_VERSION, WET_THRESHOLD_FRAC
from spraycheck.errors import CardNotFoundError, InputError
from spraycheck.judge.case import Case
from spraycheck.judge.judge import add_angles, check_spray, decide_case
from spraycheck.judge.layout import HOLES, Layout
from spraycheck.judge.limits import LimitSet
from spraycheck.judge.nozzle import AxialNozzle
from spraycheck.judge.quality.metrics import measure_quality
from spraycheck.judge.quality.wicking import SprayTime, seconds_since, wicking_mm, widen_for_wicking
from spraycheck.judge.result import PhotoQuality, Result
from spraycheck.judge.standoff import Standoff
from spraycheck.photo.containers import Photo
from spraycheck.spray.axial.containers import Aim, AxialPatch
from spraycheck.spray.containers import PlumeCatalogue, PlumeSegmentation, WetnessMap
from spraycheck.spray.measure import measure_plumes
from spraycheck.spray.measurement import Measurement, Plumes
from spraycheck.spray.plumes import segment_plumes
from spraycheck.spray.settings import WetnessSettings
from spraycheck.spray.wetness import map_wetness

CENTRE: Final = "centre"
"""Aim at the middle of the sheet."""

PRINTED_U_MM, MIDDLE_U_MM, GIVEN_U_MM = 0.2, 0.2, 0.5
"""Standard uncertainty of an aim's place on the sheet, beside that of the sheet in the photo: the
printed one (a marker's usual residual and the paper's stretch, chosen), the sheet's middle (a sheet
cut out of true; that it is longer or shorter than its name says does not move its middle, chosen),
a cross measured with a rule (chosen)."""


AXIAL_WETNESS: Final = functools.partial(map_wetness, settings=WetnessSettings(dark_objects=False))
"""A single patch beside some faint shadow is much darker than most patches, and yet the spray."""


def _measure_axial(wet: WetnessMap, aim: Aim) -> AxialPatch:
    """Measure an axial spray; imported when one is measured."""
    from spraycheck.spray.axial.measure import measure_axial

    return measure_axial(wet, aim)


@dataclass(frozen=True, kw_only=True)
class Pipeline:
    """The stages as fields; swap one with ``functools.partial`` or a function of your own.

    Examples
    --------
    >>> from functools import partial
    >>> from spraycheck import PlumeSettings, Pipeline, segment_plumes
    >>> careful = Pipeline(
    ...     segment=partial(segment_plumes, settings=PlumeSettings(min_area_mm2=8.0))
    ... )

    Parameters
    ----------
    rectify : callable
        Finds the card in a photo.
    divide : callable
        Divides the card by the same one before spraying, where there is a photo of it.
    wetness, axial_wetness : callable
        Map how wet it is, for a nozzle with holes and for an axial spray.
    segment, measure : callable
        Find centre and plumes, and measure them.
    wicking : callable
        Makes areas less certain on a card photographed late.
    measure_axial : callable
        Measures an axial spray.
    quality : callable
        Measures how far a photo of a nozzle with holes can be trusted.
    check, angles, decide : callable
        Hold what was measured against limits, add what the tip's height gives, set the verdict.
    """

    rectify: Callable[..., RectifiedCard] = find_card
    divide: Callable[..., RectifiedCard] = subtract_clean_card
    wetness: Callable[..., WetnessMap] = map_wetness
    axial_wetness: Callable[..., WetnessMap] = AXIAL_WETNESS
    segment: Callable[..., PlumeSegmentation] = segment_plumes
    measure: Callable[..., PlumeCatalogue] = measure_plumes
    wicking: Callable[..., PlumeCatalogue] = widen_for_wicking
    measure_axial: Callable[..., AxialPatch] = _measure_axial
    quality: Callable[..., PhotoQuality] = measure_quality
    check: Callable[..., Case] = check_spray
    angles: Callable[..., Case] = add_angles
    decide: Callable[..., Result] = decide_case

    def __call__(
        self,
        photo: Photo,
        spec: CardSpec | None = None,
        *,
        nozzle: Layout | AxialNozzle,
        limits: LimitSet | None = None,
        aim: str | tuple[float, float] | None = None,
        dry: Photo | None = None,
        standoff: Standoff | None = None,
        sprayed: SprayTime | None = None,
        lined_up: str = "",
    ) -> Result:
        """Measure and judge one photo.

        Parameters
        ----------
        photo : Photo
            Of the sprayed card.
        spec : CardSpec, optional
            What is known of the card.
        nozzle : Layout or AxialNozzle
            What the nozzle should do.
        limits : Limits or AxialLimits, optional
            What is tolerated.
        aim : (float, float) or str, optional
            Where the axis of an axial spray was set over: ``(x, y)`` in mm right of and below the
            sheet's middle as it lies in the photo, or ``centre``. A printed target card has its
            own; a plain sheet has none unless it is given here.
        dry : Photo, optional
            Of the same card before spraying; stains and print on it then do not count.
        standoff : Standoff, optional
            Height of the tip over the card; adds the angles of the holes, or the spray angle.
        sprayed : SprayTime, optional
            When the card was sprayed; areas on a card photographed late are less certain.
        lined_up : str, optional
            The feature that 12 o'clock on the card was lined up with, as the layout's
            ``counts_from``; the turn of the whole pattern is then held against its limit.

        Raises
        ------
        InputError
            The photo was taken before the card was sprayed; a feature to line up with that the
            layout does not count from; an aim off the sheet, or in mm on a sheet whose size is not
            known.
        MeasurementError
            A stage cannot answer from this photo; the error names the stage and what to try.
        """
        holes = nozzle.kind == HOLES
        nozzle.check_lined_up(lined_up)
        elapsed = None if sprayed is None else seconds_since(sprayed, photo.taken_at)
        spec = spec or CardSpec()
        card = as_sprayed = self.rectify(photo, spec)
        at = Aim() if holes else aim_on(card, aim)
        reference = None
        if dry is not None:
            reference = self._reference(dry, spec, card)
            card = self.divide(card, reference)
        quality = None
        if holes:
            found = self._plumes(photo, card, elapsed)
            quality = self.quality(
                found,
                sprayed=None if reference is None else as_sprayed,
                reference=reference,
                elapsed_s=elapsed,
            )
        else:
            wet = self.axial_wetness(card)
            patch = self.measure_axial(wet, at)
            found = Measurement(photo=photo, card=card, wetness=wet, spray=patch)
        case = self.check(found, nozzle, limits, quality=quality, lined_up=bool(lined_up))
        return self.decide(
            self.angles(case, standoff),
            quality=quality,
            undated=elapsed is not None and math.isnan(elapsed),
            provenance={
                **self.describe(),
                "dry_sha256": "" if dry is None else dry.sha256,
                "standoff_mm": None if standoff is None else standoff.height_mm,
                "sprayed_at": None if sprayed is None else sprayed.text,
                "lined_up_with": lined_up or None,
                **({} if holes else {"aim": at.source}),
            },
        )

    def _reference(self, dry: Photo, spec: CardSpec, card: RectifiedCard) -> RectifiedCard:
        """Find the dry card on the grid of the sprayed one."""
        try:
            return self.rectify(dry, spec, cell_mm=card.cell_mm)
        except CardNotFoundError as error:
            told = f"in the dry photo, {error}"
            raise CardNotFoundError(told, stage=error.stage, hint=error.hint) from None

    def _plumes(self, photo: Photo, card: RectifiedCard, elapsed_s: float | None) -> Measurement:
        """Measure the spray of a nozzle with holes."""
        wet = self.wetness(card, photo=photo)
        segmentation = self.segment(wet)
        catalogue = self.measure(wet, segmentation, segmentation.centre)
        if elapsed_s is not None:
            catalogue = self.wicking(catalogue, wicking_mm(elapsed_s))
        return Measurement(
            photo=photo,
            card=card,
            wetness=wet,
            spray=Plumes(
                centre=segmentation.centre, segmentation=segmentation, catalogue=catalogue
            ),
        )

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


def aim_on(card: RectifiedCard, aim: str | tuple[float, float] | None) -> Aim:
    """Return where the nozzle's axis was set over.

    Parameters
    ----------
    card : RectifiedCard
        From stage 1.
    aim : (float, float) or str or None
        As of `Pipeline`; what is given goes before a printed card's own.

    Raises
    ------
    InputError
        An aim off the sheet, or in mm on a sheet whose size is not known.
    """
    if isinstance(aim, str) and aim != CENTRE:
        raise InputError(f"aim {aim!r}: expected {CENTRE!r} or two numbers in mm")
    if aim is None or isinstance(aim, str):
        if card.printed is not None:
            return Aim(x_mm=0.0, y_mm=0.0, u_mm=PRINTED_U_MM, source="printed")
        return Aim() if aim is None else Aim(x_mm=0.0, y_mm=0.0, u_mm=MIDDLE_U_MM, source="centre")
    x, y = aim
    if not card.scale_known:
        raise InputError(
            f"the aim is given in mm ({x:g}, {y:g}), but the size of the sheet is not known",
            "name the sheet's size, for example --sheet a4, or aim at its middle: --aim centre",
        )
    width, height = card.size_mm
    if not (abs(x) <= width / 2 and abs(y) <= height / 2):
        raise InputError(
            f"the aim ({x:g}, {y:g}) lies off the sheet of {width:g} x {height:g} mm, expected mm "
            "right of and below its middle",
            "measure from the middle of the sheet as it lies in the photo; left and up are "
            "negative",
        )
    return Aim(x_mm=float(x), y_mm=float(y), u_mm=GIVEN_U_MM, source="given")


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
    return {
        "function": f"{stage.__module__}.{getattr(stage, '__qualname__', repr(stage))}",
        "parameters": _plain(parameters),
    }


def _plain(value: Any) -> Any:
    """Return a parameter as JSON has it, settings with all their fields.

    JSON has no tuples; None is a parameter left to the stage. Anything else is named by repr, so
    that a changed parameter never goes unseen.
    """
    if is_dataclass(value) and not isinstance(value, type):
        return {one.name: _plain(getattr(value, one.name)) for one in fields(value)}
    if isinstance(value, dict):
        return {name: _plain(one) for name, one in value.items()}
    if isinstance(value, tuple):
        return [_plain(one) for one in value]
    return value if value is None or isinstance(value, (int, float, str, bool)) else repr(value)
