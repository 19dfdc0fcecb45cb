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
    from spraycheck.app.measuring import measure_central_photo, measure_photo
    from spraycheck.app.nozzles.files import read_layout, read_nozzle
    from spraycheck.app.nozzles.limits import read_limits
    from spraycheck.app.photos import photo_from_array, read_photo
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
    from spraycheck.pattern.assessment import assess_layout
    from spraycheck.pattern.card import CardSpec
    from spraycheck.pattern.central import CentralAssessment, CentralNozzle, CentralPipeline
    from spraycheck.pattern.centre import locate_centre
    from spraycheck.pattern.combination import combine_shots, compare_cards
    from spraycheck.pattern.containers import Photo
    from spraycheck.pattern.layout import Assessment, Layout
    from spraycheck.pattern.limits import CentralLimits, Limits
    from spraycheck.pattern.measurement import measure_plumes
    from spraycheck.pattern.pipeline import Pipeline
    from spraycheck.pattern.printed import find_card
    from spraycheck.pattern.quality import SprayTime
    from spraycheck.pattern.rectification import rectify_card
    from spraycheck.pattern.segmentation import segment_plumes
    from spraycheck.pattern.standoff import Standoff
    from spraycheck.pattern.wetness import map_wetness

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
    "app.measuring": ("measure_central_photo", "measure_photo"),
    "app.nozzles.files": ("read_layout", "read_nozzle"),
    "app.nozzles.limits": ("read_limits",),
    "app.photos": ("photo_from_array", "read_photo"),
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
    "pattern.assessment": ("assess_layout",),
    "pattern.card": ("CardSpec",),
    "pattern.central": ("CentralAssessment", "CentralNozzle", "CentralPipeline"),
    "pattern.centre": ("locate_centre",),
    "pattern.combination": ("combine_shots", "compare_cards"),
    "pattern.containers": ("Photo",),
    "pattern.layout": ("Assessment", "Layout"),
    "pattern.limits": ("CentralLimits", "Limits"),
    "pattern.measurement": ("measure_plumes",),
    "pattern.pipeline": ("Pipeline",),
    "pattern.printed": ("find_card",),
    "pattern.quality": ("SprayTime",),
    "pattern.rectification": ("rectify_card",),
    "pattern.segmentation": ("segment_plumes",),
    "pattern.standoff": ("Standoff",),
    "pattern.wetness": ("map_wetness",),
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
