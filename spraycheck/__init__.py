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
    from spraycheck.card.printed import find_card
    from spraycheck.card.sheet import rectify_card
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
    from spraycheck.judge.judge import check_spray, decide_case
    from spraycheck.judge.layout import Layout
    from spraycheck.judge.limits import AxialLimits, Limits
    from spraycheck.judge.nozzle import AxialNozzle
    from spraycheck.judge.quality.wicking import SprayTime
    from spraycheck.judge.result import Result
    from spraycheck.judge.shots import combine_shots, compare_cards
    from spraycheck.judge.standoff import Standoff
    from spraycheck.measuring import measure_photo
    from spraycheck.nozzles.read import read_layout, read_limits, read_nozzle
    from spraycheck.photo import photo_from_array, read_photo
    from spraycheck.photo.containers import Photo
    from spraycheck.pipeline import Pipeline
    from spraycheck.spray.measure import measure_plumes
    from spraycheck.spray.plumes import locate_centre, segment_plumes
    from spraycheck.spray.settings import MeasureSettings, PlumeSettings, WetnessSettings
    from spraycheck.spray.wetness import map_wetness

__all__ = [
    "ArchiveError",
    "AxialLimits",
    "AxialNozzle",
    "CardNotFoundError",
    "CardSpec",
    "CentreNotFoundError",
    "InputError",
    "Layout",
    "LayoutError",
    "Limits",
    "MeasureSettings",
    "MeasurementError",
    "Photo",
    "PhotoError",
    "PhotoQualityError",
    "Pipeline",
    "PlumeSettings",
    "Result",
    "SprayCheckError",
    "SprayNotFoundError",
    "SprayTime",
    "Standoff",
    "WetnessSettings",
    "__version__",
    "check_spray",
    "combine_shots",
    "compare_cards",
    "decide_case",
    "find_card",
    "locate_centre",
    "map_wetness",
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
    "measuring": ("measure_photo",),
    "nozzles.read": ("read_layout", "read_limits", "read_nozzle"),
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
    "judge.judge": ("check_spray", "decide_case"),
    "card.spec": ("CardSpec",),
    "judge.nozzle": ("AxialNozzle",),
    "judge.shots": ("combine_shots", "compare_cards"),
    "photo.containers": ("Photo",),
    "judge.layout": ("Layout",),
    "judge.result": ("Result",),
    "judge.limits": ("AxialLimits", "Limits"),
    "spray.measure": ("measure_plumes",),
    "pipeline": ("Pipeline",),
    "card.printed": ("find_card",),
    "judge.quality.wicking": ("SprayTime",),
    "card.sheet": ("rectify_card",),
    "spray.plumes": ("locate_centre", "segment_plumes"),
    "spray.settings": ("MeasureSettings", "PlumeSettings", "WetnessSettings"),
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
