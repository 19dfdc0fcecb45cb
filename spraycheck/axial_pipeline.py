"""The stages for a central spray in their order: one photo in, one assessment out."""

from __future__ import annotations

import functools
import math
from collections.abc import Callable
from dataclasses import dataclass, fields
from typing import Final

import cv2
import numpy as np

from spraycheck.card.containers import RectifiedCard
from spraycheck.card.find import find_card
from spraycheck.card.reference import divide_by_reference
from spraycheck.card.spec import CardSpec
from spraycheck.constants import RESULTS_VERSION, WET_THRESHOLD_FRAC
from spraycheck.errors import InputError
from spraycheck.judge.axial.assessment import assess_central
from spraycheck.judge.axial.containers import Aim, CentralAssessment, CentralPatch
from spraycheck.judge.axial.measurement import measure_central
from spraycheck.judge.axial.nozzle import CentralNozzle
from spraycheck.judge.limits import CentralLimits
from spraycheck.judge.quality import BEYOND_FACTOR
from spraycheck.judge.quality.gate import NOISE_LIMIT
from spraycheck.judge.standoff import Standoff
from spraycheck.photo.containers import Photo
from spraycheck.pipeline import describe_stage
from spraycheck.spray.containers import WetnessMap
from spraycheck.spray.wetness import map_wetness

CENTRE: Final = "centre"
"""Aim at the middle of the sheet."""

PRINTED_U_MM, MIDDLE_U_MM, GIVEN_U_MM = 0.2, 0.2, 0.5
"""Standard uncertainty of an aim's place on the sheet, beside that of the sheet in the photo: the
printed one (a marker's usual residual and the paper's stretch, chosen), the sheet's middle (a sheet
cut out of true; that it is longer or shorter than its name says does not move its middle, chosen),
a cross measured with a rule (chosen)."""


_map_wetness: Final = functools.partial(map_wetness, too_dark=math.inf)
# A single patch beside some faint shadow is much darker than most patches, and yet the spray.


@dataclass(frozen=True, kw_only=True)
class CentralPipeline:
    """The stages as fields; swap one with ``functools.partial`` or a function of your own.

    Parameters
    ----------
    rectify, wetness, measure, assess : callable
        Functions of the shapes of the house's own; see their docstrings.
    """

    rectify: Callable[..., RectifiedCard] = find_card
    wetness: Callable[..., WetnessMap] = _map_wetness
    measure: Callable[..., CentralPatch] = measure_central
    assess: Callable[..., CentralAssessment] = assess_central

    def __call__(
        self,
        photo: Photo,
        spec: CardSpec | None = None,
        *,
        nozzle: CentralNozzle,
        limits: CentralLimits | None = None,
        aim: str | tuple[float, float] | None = None,
        dry: Photo | None = None,
        standoff: Standoff | None = None,
    ) -> CentralAssessment:
        """Measure and judge one photo.

        Parameters
        ----------
        photo : Photo
            Of the sprayed card.
        spec : CardSpec, optional
            What is known of the card.
        nozzle : CentralNozzle
            What the nozzle should do.
        limits : CentralLimits, optional
            What is tolerated.
        aim : (float, float) or str, optional
            Where the axis was set over: ``(x, y)`` in mm right of and below the sheet's middle as
            it lies in the photo, or ``centre``. A printed target card has its own; a plain sheet
            has none unless it is given here.
        dry : Photo, optional
            Of the same card before spraying.
        standoff : Standoff, optional
            Height of the tip over the card; adds the spray angle.

        Raises
        ------
        InputError
            An aim off the sheet, or in mm on a sheet whose size is not known.
        MeasurementError
            A stage cannot answer from this photo.
        """
        card = self.rectify(photo, spec or CardSpec())
        at = aim_on(card, aim)
        if dry is not None:
            clean = self.rectify(dry, spec or CardSpec(), cell_mm=card.cell_mm)
            card = divide_by_reference(card, clean)
        wet = self.wetness(card)
        patch = self.measure(wet, at)
        if wet.noise > NOISE_LIMIT:  # beyond it only what is plain is proof, as for holes
            patch = patch.less_certain(BEYOND_FACTOR)
        return self.assess(
            patch,
            nozzle,
            limits or CentralLimits(),
            photo=photo,
            card=card,
            wetness=wet,
            aim=at,
            standoff=standoff,
            provenance={
                **self.describe(),
                "dry_sha256": "" if dry is None else dry.sha256,
                "standoff_mm": None if standoff is None else standoff.height_mm,
                "aim": at.source,
            },
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
        As of `CentralPipeline`; what is given goes before a printed card's own.

    Raises
    ------
    InputError
        An aim off the sheet, or in mm on a sheet whose size is not known.
    """
    if aim is None:
        if card.printed is None:
            return Aim()
        return Aim(x_mm=0.0, y_mm=0.0, u_mm=PRINTED_U_MM, source="printed")
    if isinstance(aim, str):
        if aim != CENTRE:
            raise InputError(f"aim {aim!r}: expected {CENTRE!r} or two numbers in mm")
        if card.printed is not None:
            return Aim(x_mm=0.0, y_mm=0.0, u_mm=PRINTED_U_MM, source="printed")
        return Aim(x_mm=0.0, y_mm=0.0, u_mm=MIDDLE_U_MM, source="centre")
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
