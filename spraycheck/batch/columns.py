"""The columns of the tables: stable names with the unit in them, and how each is filled.

A column is never renamed or given another meaning; new ones go to the end.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any, Final

from spraycheck.batch.records import date_of

Record = dict[str, Any]
Value = str | int | float | None


@dataclass(frozen=True)
class Column:
    """One column.

    Parameters
    ----------
    name : str
        Public for ever.
    kind : str
        ``text``, ``whole`` or ``number``.
    meaning : str
        What it holds, for the description of the tables.
    """

    name: str
    kind: str
    meaning: str


def _c(name: str, kind: str, meaning: str) -> Column:
    return Column(name, kind, meaning)


def _central(name: str, meaning: str) -> tuple[Column, Column]:
    return (
        Column(name, "number", meaning),
        Column(f"{name}_u", "number", "its expanded uncertainty (95 %)"),
    )


IDENTITY: Final = (
    _c("file", "text", "path or address of the photo, as found"),
    _c("sha256", "text", "SHA-256 of the file's bytes; empty when it could not be read"),
    _c("duplicate_of", "text", "the first photo with the same content; empty for the first"),
    _c("date", "text", "when sprayed, ISO 8601: as the manifest says, else the photo's own date"),
    _c("nozzle", "text", "kind of nozzle, from the manifest or the folder's spraycheck.toml"),
    _c("injector", "text", "which injector, from the manifest or the folder's spraycheck.toml"),
    _c("part", "text", "from the manifest, for a repeatability study"),
    _c("person", "text", "from the manifest, for a repeatability study"),
    _c("repeat", "text", "from the manifest, for a repeatability study"),
)
"""Begin both tables."""

PHOTOS: Final = (
    *IDENTITY,
    _c("outcome", "text", "measured, failed or not-reached"),
    _c("verdict", "text", "pass, fail or recheck; empty unless measured"),
    _c("person_verdict", "text", "a person's verdict, from the manifest"),
    _c("failed_stage", "text", "where the photo failed: reading, layout, manifest, rectification, "
       "wetness, centre, segmentation, measurement, assessment, worker, internal or not-reached"),
    _c("failed_message", "text", "what was found and expected"),
    _c("failed_hint", "text", "what to try"),
    _c("expected_from", "text", "who named the holes: manifest, option, folder or card"),
    _c("layout", "text", "name of the expected layout"),
    _c("sheet", "text", "size of the sheet as given; unknown when it was not"),
    _c("holes_expected", "whole", "holes the nozzle should have"),
    _c("plumes_found", "whole", "plumes on the card"),
    _c("holes_clear", "whole", "holes in the state clear"),
    _c("holes_weak", "whole", "holes in the state weak"),
    _c("holes_heavy", "whole", "holes in the state heavy"),
    _c("holes_blocked", "whole", "holes in the state blocked"),
    _c("holes_off_line", "whole", "holes in the state off-line"),
    _c("holes_unsure", "whole", "holes in the state unsure"),
    _c("strays", "whole", "plumes that belong to no hole"),
    _c("deviation_max_deg", "number", "largest deviation from where a hole should spray, without "
       "sign; degrees"),
    _c("deviation_max_u_deg", "number", "its expanded uncertainty (95 %); degrees"),
    _c("area_ratio_min", "number", "smallest wetted area over what the hole should wet; 1 is a "
       "median clear hole; 0 when a hole is blocked"),
    _c("area_ratio_min_u", "number", "its expanded uncertainty (95 %)"),
    _c("area_ratio_max", "number", "largest wetted area over what the hole should wet"),
    _c("area_ratio_max_u", "number", "its expanded uncertainty (95 %)"),
    _c("share_spread_frac", "number", "largest minus smallest share of the wetted area among the "
       "holes, over the mean share; a blocked hole counts 0"),
    _c("centre_u_px", "number", "radius that holds the nozzle centre with 95 %; photo pixels"),
    _c("centre_u_mm", "number", "the same in mm; empty when the scale is not known"),
    _c("rotation_u_deg", "number", "expanded uncertainty (95 %) of the pattern's turn; degrees"),
    _c("mm_per_px", "number", "scale at the nozzle centre; empty when not known"),
    _c("width_px", "whole", "width of the upright photo; pixels"),
    _c("height_px", "whole", "height of the upright photo; pixels"),
    _c("photo_flags", "text", "quality flags of the photo, separated by spaces"),
    _c("card_flags", "text", "quality flags of the card, separated by spaces"),
    _c("centre_flags", "text", "quality flags of the centre, separated by spaces"),
    _c("findings", "text", "codes of the findings, most important first, separated by spaces"),
    _c("limit_direction_deg", "number", "limit of the deviation; degrees"),
    _c("limit_area_low_ratio", "number", "lower limit of the area ratio"),
    _c("limit_area_high_ratio", "number", "upper limit of the area ratio"),
    _c("limit_stray_frac", "number", "limit of the share of stray spray"),
    _c("limit_risk", "number", "tolerated probability of a wrong call"),
    _c("spraycheck", "text", "version of the program that measured"),
    _c("results_version", "whole", "version of the numbers: the same version, the same numbers"),
    _c("key", "text", "key of the result; names its pictures"),
    _c("kind", "text", "kind of nozzle: holes, pintle or single-hole"),
    *_central("ellipse_ratio", "minor over major axis of the one central patch; 1 is round"),
    *_central("form_factor", "of its outline; 1 is a circle"),
    *_central("heavy_side_frac", "share of the fluid on its heavy side; 0.5 is even"),
    *_central("streak_frac", "unevenness of the fluid by angle, root mean square over the mean"),
    *_central("core_ratio", "wetness in its middle over the wettest ring's"),
    *_central("hollow_offset_ratio", "distance of the hollow's middle from the outline's, over the "
              "diameter; empty without a hollow"),
    *_central("offset_ratio", "distance of the patch from the aim, over the diameter; empty "
              "without an aim"),
    *_central("side_frac", "share of the wetted area beside the patch"),
)  # fmt: skip

HOLES: Final = (
    *IDENTITY,
    _c("hole", "whole", "expected hole, from 1"),
    _c("state", "text", "clear, weak, heavy, blocked, off-line or unsure"),
    _c("expected_deg", "number", "where it should spray, the layout turned to its best fit; degrees"
       " clockwise from 12 o'clock on the card"),
    _c("direction_deg", "number", "where it sprays; degrees clockwise; empty without a plume"),
    _c("direction_u_deg", "number", "its expanded uncertainty (95 %); degrees"),
    _c("deviation_deg", "number", "measured minus expected, clockwise positive; degrees"),
    _c("deviation_u_deg", "number", "its expanded uncertainty (95 %); degrees"),
    _c("spacing_deg", "number", "to the next plume clockwise; degrees"),
    _c("area_frac", "number", "share of the wetted area of all plumes; 0 when blocked"),
    _c("area_u_frac", "number", "its expanded uncertainty (95 %)"),
    _c("area_ratio", "number", "wetted area over what the hole should wet; 1 is a median clear "
       "hole"),
    _c("area_ratio_u", "number", "its expanded uncertainty (95 %)"),
    _c("area_mm2", "number", "wetted area; mm2; empty when the scale is not known"),
    _c("area_u_mm2", "number", "its expanded uncertainty (95 %); mm2"),
    _c("width_deg", "number", "angle under which the plume is seen from the centre; degrees"),
    _c("near_mm", "number", "distance of the plume's near end from the centre; mm"),
    _c("reach_mm", "number", "distance of its far end from the centre; mm"),
    _c("plume", "whole", "number of the plume in the result document"),
    _c("flags", "text", "quality flags of the plume, separated by spaces"),
    _c("key", "text", "key of the result; names its pictures"),
)  # fmt: skip

TABLES: Final[dict[str, tuple[Column, ...]]] = {"photos": PHOTOS, "holes": HOLES}
"""Name of the table to its columns."""

_CONTROL = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f]")


def photo_row(record: Record) -> dict[str, Value]:
    """Return the row of the table of photos; columns without a value are None."""
    result = record["result"]
    error = result.get("error") or {}
    photo = result["photo"]
    row = _identity(record) | {
        "outcome": record["outcome"],
        "verdict": result["verdict"],
        "person_verdict": record["person_verdict"],
        "failed_stage": error.get("stage"),
        "failed_message": error.get("message"),
        "failed_hint": error.get("hint"),
        "expected_from": record["expected_from"],
        "sheet": record["sheet"],
        "width_px": photo.get("width_px"),
        "height_px": photo.get("height_px"),
        "photo_flags": _words(photo.get("flags")),
        "key": record["key"],
    }
    # A nozzle with one central spray has no layout; its document names the nozzle itself.
    layout = result.get("layout") or result.get("nozzle") or record.get("layout") or {}
    row["layout"] = layout.get("name")
    row["kind"] = layout.get("kind", "holes") if layout else None
    row["holes_expected"] = len(layout.get("holes", layout.get("azimuth_deg", ()))) or None
    limits = result.get("limits", record.get("limits"))
    row |= {f"limit_{name}": one["value"] for name, one in limits.items() if name != "name"}
    provenance = result.get("provenance", {})
    row["spraycheck"] = provenance.get("spraycheck")
    row["results_version"] = provenance.get("results_version")
    if record["outcome"] == "measured":
        row |= _patch(result) if "patch" in result else _measured(result)
    return _complete(row, PHOTOS)


def hole_rows(record: Record) -> list[dict[str, Value]]:
    """Return a row per expected hole; none unless the photo was measured."""
    result = record["result"]
    if record["outcome"] != "measured" or "holes" not in result:
        return []
    plumes = {plume["id"]: plume for plume in result["plumes"]}
    rows = []
    for hole in result["holes"]:
        plume = plumes.get(hole["plume"], {})
        values = {name: plume.get(name) for name in _OF_PLUME}
        row = _identity(record) | values | hole
        row["flags"] = _words(plume.get("flags"))
        row["key"] = record["key"]
        rows.append(_complete(row, HOLES))
    return rows


_OF_PLUME = (
    *("direction_deg", "direction_u_deg", "area_u_frac", "area_mm2", "area_u_mm2"),
    *("width_deg", "near_mm", "reach_mm"),
)


def _measured(result: Record) -> dict[str, Value]:
    holes = result["holes"]
    states = [hole["state"] for hole in holes]
    row: dict[str, Value] = {
        f"holes_{state.replace('-', '_')}": states.count(state)
        for state in ("clear", "weak", "heavy", "blocked", "off-line", "misshapen", "unsure")
    }
    row |= {
        "plumes_found": len(result["plumes"]),
        "strays": len(result["strays"]),
        "centre_u_px": result["centre"]["u_px"],
        "centre_u_mm": result["centre"]["u_mm"],
        "rotation_u_deg": result["rotation_u_deg"],
        "mm_per_px": result["card"]["mm_per_px"],
        "card_flags": _words(result["card"]["flags"]),
        "centre_flags": _words(result["centre"]["flags"]),
        "findings": _words([finding["code"] for finding in result["findings"]]),
    }
    turned = max(_known(holes, "deviation_deg"), key=lambda h: abs(h["deviation_deg"]), default={})
    if turned:
        row["deviation_max_deg"] = abs(turned["deviation_deg"])
        row["deviation_max_u_deg"] = turned["deviation_u_deg"]
    by_area = sorted(_known(holes, "area_ratio"), key=lambda h: float(h["area_ratio"]))
    for name, found in (("min", by_area[:1]), ("max", by_area[-1:])):
        for hole in found:
            row[f"area_ratio_{name}"] = hole["area_ratio"]
            row[f"area_ratio_{name}_u"] = hole["area_ratio_u"]
    shares = [hole["area_frac"] for hole in holes if hole["area_frac"] is not None]
    if len(shares) == len(holes) and sum(shares) > 0:
        row["share_spread_frac"] = round((max(shares) - min(shares)) * len(shares) / sum(shares), 6)
    return row


def _patch(result: Record) -> dict[str, Value]:
    """Values of a nozzle with one central spray: those of its document have the columns' names."""
    return {
        **result["patch"],
        "mm_per_px": result["card"]["mm_per_px"],
        "card_flags": _words(result["card"]["flags"]),
        "findings": _words([finding["code"] for finding in result["findings"]]),
    }


def _known(holes: list[Record], name: str) -> list[Record]:
    return [hole for hole in holes if hole[name] is not None]


def _identity(record: Record) -> dict[str, Value]:
    return {
        "file": record["file"],
        "sha256": record["sha256"],
        "duplicate_of": record["duplicate_of"],
        "date": date_of(record) or None,
        **{name: record[name] for name in ("nozzle", "injector", "part", "person", "repeat")},
    }


def _words(values: list[str] | None) -> str | None:
    return " ".join(values) if values else None


def _complete(row: dict[str, Value], columns: tuple[Column, ...]) -> dict[str, Value]:
    complete: dict[str, Value] = {}
    for column in columns:
        value = row.get(column.name)
        if column.kind == "number" and value is not None:
            value = float(value)
        elif isinstance(value, str):
            value = _CONTROL.sub("?", value)
        complete[column.name] = value
    return complete
