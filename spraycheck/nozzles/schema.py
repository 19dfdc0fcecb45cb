"""What nozzle and limits files may hold, key by key: types, ranges, and what is expected in words.

Slow to import, and so imported only when a file is read. What keys mean together is looked at in
``read``.
"""

from __future__ import annotations

import functools
import math
from collections.abc import Mapping
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, create_model

from spraycheck.judge.layout import MAX_HOLES, MIN_HOLES
from spraycheck.judge.limits import limit_fields
from spraycheck.judge.nozzle import FILLS, LEAST_ANGLE_DEG, MOST_ANGLE_DEG
from spraycheck.nozzles.model import KINDS, can_be_off, span_of
from spraycheck.nozzles.toml_file import Advice

_KINDS = '"holes", "pintle" or "single-hole"'
_SOURCE = "who says so, as text in quotes"
_PER_CENT = {"share": "4 % is 0.04", "ratio": "75 % is 0.75", "probability": "5 % is 0.05"}


_HALF = Advice("give half of the angle between opposite holes, not the whole cone angle", 90, 180)
_IN_MM = Advice("give the diameter in mm, for example 0.24", 5)
_UNKNOWN_ANGLE = Advice("correct full_angle_deg, or take it out when it is not known")


class Section(BaseModel):
    """A section of a file: nothing but its own keys, nothing converted, no infinite numbers."""

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True, allow_inf_nan=False)


class HoleEntry(Section):
    """One ``[[hole]]`` section; NaN where a key is not given."""

    azimuth_deg: float = Field(
        ge=-360,
        le=360,
        description="degrees clockwise as the streaks lie on the card, from -360 to 360",
    )
    axis_angle_deg: Annotated[float, _HALF] = Field(
        math.nan,
        gt=0,
        lt=90,
        description="degrees between the hole and the nozzle axis, above 0 and below 90",
    )
    diameter_mm: Annotated[float, _IN_MM] = Field(
        math.nan,
        gt=0.02,
        lt=5,
        description="the hole's diameter, above 0.02 and below 5 mm",
    )
    row: int = Field(
        1, ge=1, le=MAX_HOLES, description=f"a whole number from 1, at most {MAX_HOLES}"
    )


class PressureEntry(Section):
    """A pressure that was noted; its range depends on the unit."""

    value: float = Field(description="a pressure as a plain number")
    unit: Literal["psi", "bar"] = Field(description='"psi" or "bar"')
    source: str = Field("", description=_SOURCE)


class LimitEntry(Section):
    """The section of one limit: value, unit and source, or off."""

    value: float = math.nan
    unit: str = ""
    source: str = Field("", description=_SOURCE)
    off: bool = Field(False, description="true, or nothing")


class LimitsEntry(Section):
    """Limits in a nozzle file; a section for each limit is added."""

    name: str = Field("", description="what this set of limits is called, as text in quotes")


class LimitsFile(LimitsEntry):
    """A limits file; a section for each limit is added."""

    kind: Literal[tuple(KINDS)] = Field("holes", description=_KINDS)  # type: ignore[valid-type]


class NozzleFile(Section):
    """A nozzle file; which limits it may hold depends on its kind."""

    name: str = Field("", description="what the nozzle is called, as text in quotes")
    kind: Literal[tuple(KINDS)] = Field("holes", description=_KINDS)  # type: ignore[valid-type]
    holes: int = Field(
        0,
        ge=MIN_HOLES,
        le=MAX_HOLES,
        description=f"the number of equal, evenly spread holes, {MIN_HOLES} to {MAX_HOLES}",
    )
    hole: list[HoleEntry] = Field([], description="one [[hole]] section for each hole")
    seen_from: Literal["injector", "tip"] = Field("injector", description='"injector" or "tip"')
    counts_from: str = Field(
        "",
        description="the feature of nozzle or holder that 0 degrees stands for, as text in quotes",
    )
    fill: Literal[FILLS] = Field(  # type: ignore[valid-type]
        "either", description='"hollow", "filled" or "either"'
    )
    full_angle_deg: Annotated[float, _UNKNOWN_ANGLE] = Field(
        math.nan,
        ge=LEAST_ANGLE_DEG,
        le=MOST_ANGLE_DEG,
        description=f"the full angle of the spray, {LEAST_ANGLE_DEG:g} to {MOST_ANGLE_DEG:g} "
        "degrees",
    )
    opening_pressure: PressureEntry | None = Field(
        None, description="a section with value and unit"
    )
    seat_hold_pressure: PressureEntry | None = Field(
        None, description="a section with value and unit"
    )
    remarks: str = Field("", description="anything worth knowing, as text in quotes")
    limits: LimitsEntry | None = None


@functools.cache
def nozzle_model(kind: str) -> type[NozzleFile]:
    """Return the model of a nozzle file, with the limits of a kind of nozzle."""
    about = "a section for each limit, for example [limits.direction_deg]"
    section = create_model("Limits", __base__=LimitsEntry, **_limit_sections(kind))
    fields: dict[str, Any] = {"limits": (section | None, Field(None, description=about))}
    return create_model("Nozzle", __base__=NozzleFile, **fields)


@functools.cache
def limits_model(kind: str) -> type[LimitsFile]:
    """Return the model of a limits file for a kind of nozzle."""
    return create_model("Limits", __base__=LimitsFile, **_limit_sections(kind))


def _limit_sections(kind: str) -> dict[str, Any]:
    """Return a section for each limit of a kind of nozzle, made from its declaration."""
    sections: dict[str, Any] = {}
    for one in limit_fields(KINDS[kind]):
        about = f"a section with value, unit and source, for the {one.metadata['about']}"
        sections[one.name] = (_limit_model(one.metadata) | None, Field(None, description=about))
    return sections


def _limit_model(limit: Mapping[str, Any]) -> type[LimitEntry]:
    advice = [Advice("correct value" + (", or write off = true" if can_be_off(limit) else ""))]
    if limit["unit"] in _PER_CENT:
        plain = f"write it as a plain number: {_PER_CENT[limit['unit']]}"
        advice.insert(0, Advice(plain, 1, 100))
    value = Field(math.nan, ge=limit["least"], le=limit["most"], description=span_of(limit))
    fields: dict[str, Any] = {
        "value": (Annotated[float, *advice], value),
        "unit": (str, Field("", description=f'"{limit["unit"]}"')),
    }
    return create_model("Limit", __base__=LimitEntry, **fields)
