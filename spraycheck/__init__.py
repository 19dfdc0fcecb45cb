"""Spraycheck: a phone photo of a sprayed target card to hole-by-hole numbers and a verdict.

>>> from spraycheck import measure_photo
>>> measure_photo("card.jpg", holes=4).verdict  # doctest: +SKIP
'pass'

The verdict is an aid: the maker's manual, local rules and licensed practice decide.

Names are imported when first used, so that ``import spraycheck`` and the command line start fast.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING

__version__ = "0.1.0"

if TYPE_CHECKING:
    from spraycheck.axial_pipeline import CentralPipeline
    from spraycheck.card.find import find_card, rectify_card
    from spraycheck.card.spec import CardSpec
    from spraycheck.errors import (
        ArchiveError,
        CardNotFoundError,
        CentreNotFoundError,
        InputError,
        LayoutError,
        MeasurementError,
        PhotoError,
        PhotoQualityError,
        SprayCheckError,
        SprayNotFoundError,
    )
    from spraycheck.judge.assessment import assess_layout
    from spraycheck.judge.axial import CentralAssessment, CentralNozzle
    from spraycheck.judge.layout import Assessment, Layout
    from spraycheck.judge.limits import CentralLimits, Limits
    from spraycheck.judge.quality import SprayTime
    from spraycheck.judge.shots import combine_shots, compare_cards
    from spraycheck.judge.standoff import Standoff
    from spraycheck.measuring import measure_central_photo, measure_photo
    from spraycheck.nozzles.files import read_layout, read_nozzle
    from spraycheck.nozzles.limits import read_limits
    from spraycheck.photo import photo_from_array, read_photo
    from spraycheck.photo.containers import Photo
    from spraycheck.pipeline import Pipeline
    from spraycheck.spray.centre import locate_centre
    from spraycheck.spray.measure import measure_plumes
    from spraycheck.spray.segmentation import segment_plumes
    from spraycheck.spray.wetness import map_wetness

__all__ = [
    "ArchiveError",
    "Assessment",
    "CardNotFoundError",
    "CardSpec",
    "CentralAssessment",
    "CentralLimits",
    "CentralNozzle",
    "CentralPipeline",
    "CentreNotFoundError",
    "InputError",
    "Layout",
    "LayoutError",
    "Limits",
    "MeasurementError",
    "Photo",
    "PhotoError",
    "PhotoQualityError",
    "Pipeline",
    "SprayCheckError",
    "SprayNotFoundError",
    "SprayTime",
    "Standoff",
    "__version__",
    "assess_layout",
    "combine_shots",
    "compare_cards",
    "find_card",
    "locate_centre",
    "map_wetness",
    "measure_central_photo",
    "measure_photo",
    "measure_plumes",
    "photo_from_array",
    "read_layout",
    "read_limits",
    "read_nozzle",
    "read_photo",
    "rectify_card",
    "segment_plumes",
]

_HOME = {
    "measuring": ("measure_central_photo", "measure_photo"),
    "nozzles.files": ("read_layout", "read_nozzle"),
    "nozzles.limits": ("read_limits",),
    "photo": ("photo_from_array", "read_photo"),
    "errors": (
        "ArchiveError",
        "CardNotFoundError",
        "CentreNotFoundError",
        "InputError",
        "LayoutError",
        "MeasurementError",
        "PhotoError",
        "PhotoQualityError",
        "SprayCheckError",
        "SprayNotFoundError",
    ),
    "judge.assessment": ("assess_layout",),
    "card.spec": ("CardSpec",),
    "axial_pipeline": ("CentralPipeline",),
    "judge.axial": ("CentralAssessment", "CentralNozzle"),
    "spray.centre": ("locate_centre",),
    "judge.shots": ("combine_shots", "compare_cards"),
    "photo.containers": ("Photo",),
    "judge.layout": ("Assessment", "Layout"),
    "judge.limits": ("CentralLimits", "Limits"),
    "spray.measure": ("measure_plumes",),
    "pipeline": ("Pipeline",),
    "card.find": ("find_card", "rectify_card"),
    "judge.quality": ("SprayTime",),
    "spray.segmentation": ("segment_plumes",),
    "judge.standoff": ("Standoff",),
    "spray.wetness": ("map_wetness",),
}
_MODULE_OF = {name: module for module, names in _HOME.items() for name in names}


def __getattr__(name: str) -> object:
    """Import a public name when it is first asked for (PEP 562)."""
    if name not in _MODULE_OF:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    value = getattr(importlib.import_module(f"{__name__}.{_MODULE_OF[name]}"), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return sorted(set(globals()) | set(__all__))
