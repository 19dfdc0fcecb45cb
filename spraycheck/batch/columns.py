"""The columns of the tables: stable names with the unit in them, and where each value comes from.

One declaration per column drives every format and the description of the tables. Columns of limits
and of hole states are made from their own declarations in ``judge``, so that none can fall out.

Read columns by their names: a name is never changed, given another meaning or taken away.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any, Final

from spraycheck.batch.records import date_of
from spraycheck.judge.limits import AxialLimits, Limits, limit_fields
from spraycheck.judge.result import HoleState

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
        ``text``, ``whole``, ``number``, or ``document`` for nested JSON values.
    meaning : str
        What it holds, for the description of the tables.
    source : str or callable
        Where its value stands in what a row is made of: keys joined by dots, or a function of it.
        The column's own name when empty.
    """

    name: str
    kind: str
    meaning: str
    source: str | Callable[[Record], Any] = ""

    def value(self, row: Record) -> Any:
        """Return the value in what a row is made of; None where there is none."""
        if callable(self.source):
            return self.source(row)
        found: Any = row
        for key in (self.source or self.name).split("."):
            found = found.get(key) if isinstance(found, dict) else None
        return found


def _limits() -> dict[str, Column]:
    """Return a column for every limit of every kind of nozzle; kinds may share a limit."""
    return {
        one.name: Column(
            f"limit_{one.name}",
            "number",
            f"limit held: {one.metadata['about']} ({one.metadata['unit']}); empty when off or not "
            "for this kind of nozzle",
            f"limits.{one.name}.value",
        )
        for kind in (AxialLimits, Limits)
        for one in limit_fields(kind)
    }


def _states() -> dict[str, Column]:
    """Return a column for every state a hole can be in: how many are."""

    def counting(state: str) -> Callable[[Record], Any]:
        return lambda row: (
            [hole["state"] for hole in row["holes"]].count(state) if "holes" in row else None
        )

    return {
        state: Column(
            f"holes_{state.replace('-', '_')}",
            "whole",
            f"holes in the state {state}",
            counting(state),
        )
        for state in HoleState
    }


def _measured(name: str, meaning: str, source: str = "") -> tuple[Column, Column]:
    """Return the columns of a measured value and of its expanded uncertainty."""
    source = source or name
    return (
        Column(name, "number", meaning, source),
        Column(f"{name}_u", "number", "its expanded uncertainty (95 %)", f"{source}_u"),
    )


def _length(key: str) -> Callable[[Record], Any]:
    return lambda row: len(row["result"][key]) if key in row["result"] else None


def _without(columns: dict[str, Column], placed: tuple[str, ...]) -> Iterable[Column]:
    return (column for name, column in columns.items() if name not in placed)


_c = Column
_STATE, _LIMIT = _states(), _limits()

# Columns that stand where the first tables had them; all the others follow at the end.
_FIRST_STATES = ("clear", "weak", "heavy", "blocked", "off-line", "unsure")
_FIRST_LIMITS = ("direction_deg", "area_low_ratio", "area_high_ratio", "stray_frac", "risk")

IDENTITY: Final = (
    _c("file", "text", "path or address of the photo, as found"),
    _c("sha256", "text", "SHA-256 of the file's bytes; empty when it could not be read"),
    _c("duplicate_of", "text", "the first photo with the same content; empty for the first"),
    _c("date", "text", "when sprayed, ISO 8601: as the manifest says, else the photo's own date",
       lambda row: date_of(row) or None),
    _c("nozzle", "text", "kind of nozzle, from the manifest or the folder's spraycheck.toml"),
    _c("injector", "text", "which injector, from the manifest or the folder's spraycheck.toml"),
    _c("part", "text", "from the manifest, for a repeatability study"),
    _c("person", "text", "from the manifest, for a repeatability study"),
    _c("repeat", "text", "from the manifest, for a repeatability study"),
)  # fmt: skip
"""Begin the tables of photos and of holes."""

RECORDS: Final = (
    _c("schema", "text", "form of the record"),
    *IDENTITY[:3],
    _c("outcome", "text", "measured, failed or not-reached"),
    _c("key", "text", "key of the result; names its pictures"),
    _c("expected_from", "text", "who named the holes: manifest, option, folder or card"),
    _c("sheet", "text", "size of the sheet as given; unknown when it was not"),
    *IDENTITY[4:6],
    _c("date", "text", "when sprayed, as the manifest says"),
    _c("person_verdict", "text", "a person's verdict, from the manifest"),
    *IDENTITY[6:],
    _c("result", "document", "the result document, as spraycheck measure --json gives it"),
    _c("layout", "document", "the expected holes, where the result does not say"),
    _c("limits", "document", "the limits, where the result does not say"),
)

PHOTOS: Final = (
    *IDENTITY,
    _c("outcome", "text", "measured, failed or not-reached"),
    _c("verdict", "text", "pass, fail or recheck; empty unless measured", "result.verdict"),
    _c("person_verdict", "text", "a person's verdict, from the manifest"),
    _c("failed_stage", "text", "where the photo failed: reading, layout, manifest, rectification, "
       "wetness, centre, segmentation, measurement, assessment, worker, internal or not-reached",
       "result.error.stage"),
    _c("failed_message", "text", "what was found and expected", "result.error.message"),
    _c("failed_hint", "text", "what to try", "result.error.hint"),
    _c("expected_from", "text", "who named the holes: manifest, option, folder or card"),
    _c("layout", "text", "name of the expected layout", "nozzle_told.name"),
    _c("sheet", "text", "size of the sheet as given; unknown when it was not"),
    _c("holes_expected", "whole", "holes the nozzle should have", "nozzle_told.holes"),
    _c("plumes_found", "whole", "plumes on the card", _length("plumes")),
    *(_STATE[state] for state in _FIRST_STATES),
    _c("strays", "whole", "plumes that belong to no hole", _length("strays")),
    _c("deviation_max_deg", "number", "largest deviation from where a hole should spray, without "
       "sign; degrees", lambda row: _furthest(row, "deviation_deg")),
    _c("deviation_max_u_deg", "number", "its expanded uncertainty (95 %); degrees",
       lambda row: _furthest(row, "deviation_u_deg")),
    *_measured("area_ratio_min", "smallest wetted area over what the hole should wet; 1 is a "
               "median clear hole; 0 when a hole is blocked", "smallest.area_ratio"),
    *_measured("area_ratio_max", "largest wetted area over what the hole should wet",
               "largest.area_ratio"),
    _c("share_spread_frac", "number", "largest minus smallest share of the wetted area among the "
       "holes, over the mean share; a blocked hole counts 0", lambda row: _share_spread(row)),
    _c("centre_u_px", "number", "radius that holds the nozzle centre with 95 %; photo pixels",
       "result.centre.u_px"),
    _c("centre_u_mm", "number", "the same in mm, of a central spray the patch's middle; empty when "
       "the scale is not known", "centre_told.u_mm"),
    _c("rotation_u_deg", "number", "expanded uncertainty (95 %) of the pattern's turn; degrees",
       "result.rotation_u_deg"),
    _c("mm_per_px", "number", "scale at the nozzle centre; empty when not known",
       "result.card.mm_per_px"),
    _c("width_px", "whole", "width of the upright photo; pixels", "result.photo.width_px"),
    _c("height_px", "whole", "height of the upright photo; pixels", "result.photo.height_px"),
    _c("photo_flags", "text", "quality flags of the photo, separated by spaces",
       "result.photo.flags"),
    _c("card_flags", "text", "quality flags of the card, separated by spaces",
       "result.card.flags"),
    _c("centre_flags", "text", "quality flags of the centre, separated by spaces",
       "result.centre.flags"),
    _c("findings", "text", "codes of the findings, most important first, separated by spaces",
       lambda row: [finding["code"] for finding in row["result"].get("findings", ())]),
    *(_LIMIT[name] for name in _FIRST_LIMITS),
    _c("spraycheck", "text", "version of the program that measured",
       "result.provenance.spraycheck"),
    _c("results_version", "whole", "version of the numbers: the same version, the same numbers",
       "result.provenance.results_version"),
    _c("key", "text", "key of the result; names its pictures"),
    _c("kind", "text", "kind of nozzle: holes, pintle or single-hole", "nozzle_told.kind"),
    *_measured("ellipse_ratio", "minor over major axis of the one central patch; 1 is round",
               "result.patch.ellipse_ratio"),
    *_measured("form_factor", "of its outline; 1 is a circle", "result.patch.form_factor"),
    *_measured("heavy_side_frac", "share of the fluid on its heavy side; 0.5 is even",
               "result.patch.heavy_side_frac"),
    *_measured("streak_frac", "unevenness of the fluid by angle, root mean square over the mean",
               "result.patch.streak_frac"),
    *_measured("core_ratio", "wetness in its middle over the wettest ring's",
               "result.patch.core_ratio"),
    *_measured("hollow_offset_ratio", "distance of the hollow's middle from the outline's, over "
               "the diameter; empty without a hollow", "result.patch.hollow_offset_ratio"),
    *_measured("offset_ratio", "distance of the patch from the aim, over the diameter; empty "
               "without an aim", "result.patch.offset_ratio"),
    *_measured("side_frac", "share of the wetted area beside the patch", "result.patch.side_frac"),
    *_without(_STATE, _FIRST_STATES),
    *_without(_LIMIT, _FIRST_LIMITS),
)  # fmt: skip

HOLES: Final = (
    *IDENTITY,
    _c("hole", "whole", "expected hole, from 1"),
    _c("state", "text", f"{', '.join([*HoleState][:-1])} or {[*HoleState][-1]}"),
    _c("expected_deg", "number", "where it should spray, the layout turned to its best fit; degrees"
       " clockwise from 12 o'clock on the card"),
    _c("direction_deg", "number", "where it sprays; degrees clockwise; empty without a plume"),
    _c("direction_u_deg", "number", "its expanded uncertainty (95 %); degrees"),
    _c("deviation_deg", "number", "measured minus expected, clockwise positive; degrees"),
    _c("deviation_u_deg", "number", "its expanded uncertainty (95 %); degrees"),
    _c("spacing_deg", "number", "to the next plume clockwise; degrees"),
    _c("area_frac", "number", "share of the wetted area of all plumes; 0 when blocked"),
    _c("area_u_frac", "number", "its expanded uncertainty (95 %)"),
    *_measured("area_ratio", "wetted area over what the hole should wet; 1 is a median clear hole"),
    _c("area_mm2", "number", "wetted area; mm2; empty when the scale is not known"),
    _c("area_u_mm2", "number", "its expanded uncertainty (95 %); mm2"),
    _c("width_deg", "number", "angle under which the plume is seen from the centre; degrees"),
    _c("near_mm", "number", "distance of the plume's near end from the centre; mm"),
    _c("reach_mm", "number", "distance of its far end from the centre; mm"),
    _c("plume", "whole", "number of the plume in the result document"),
    _c("flags", "text", "quality flags of the plume, separated by spaces"),
    _c("key", "text", "key of the result; names its pictures"),
)  # fmt: skip

TABLES: Final[dict[str, tuple[Column, ...]]] = {
    "records": RECORDS,
    "photos": PHOTOS,
    "holes": HOLES,
}
"""Name of the table to its columns."""

_CONTROL = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f]")


def photo_row(record: Record) -> dict[str, Value]:
    """Return the row of the table of photos; columns without a value are None."""
    return _row(PHOTOS, _told(record))


def hole_rows(record: Record) -> list[dict[str, Value]]:
    """Return a row per expected hole; none unless holes were measured."""
    result = record["result"]
    plumes = {plume["id"]: plume for plume in result.get("plumes", ())}
    rows = []
    for hole in result.get("holes", ()):
        plume = plumes.get(hole["plume"], {})
        rows.append(_row(HOLES, {**record, **plume, **hole, "flags": plume.get("flags")}))
    return rows


def _told(record: Record) -> Record:
    """Return a record with what several columns of its photo need."""
    result = record["result"]
    # A nozzle with one central spray has no layout; its document names the nozzle itself.
    nozzle = result.get("layout") or result.get("nozzle") or record.get("layout") or {}
    told = {
        **record,
        "limits": result.get("limits", record.get("limits")),
        "centre_told": result.get("centre") or {"u_mm": result.get("patch", {}).get("centre_u_mm")},
        "nozzle_told": {
            "name": nozzle.get("name"),
            "kind": nozzle.get("kind", "holes") if nozzle else None,
            "holes": len(nozzle.get("holes", nozzle.get("azimuth_deg", ()))) or None,
        },
    }
    if "holes" in result:
        told["holes"] = result["holes"]
        by_area = sorted(_known(told, "area_ratio"), key=lambda hole: float(hole["area_ratio"]))
        if by_area:
            told["smallest"], told["largest"] = by_area[0], by_area[-1]
    return told


def _known(told: Record, name: str) -> list[Record]:
    return [hole for hole in told.get("holes", ()) if hole[name] is not None]


def _furthest(told: Record, name: str) -> float | None:
    """Return a value of the hole that is furthest off line, without sign."""
    turned = _known(told, "deviation_deg")
    if not turned:
        return None
    furthest = max(turned, key=lambda hole: abs(float(hole["deviation_deg"])))
    return None if furthest[name] is None else abs(float(furthest[name]))


def _share_spread(told: Record) -> float | None:
    shares = [hole["area_frac"] for hole in _known(told, "area_frac")]
    if len(shares) != len(told.get("holes", ())) or sum(shares) <= 0:
        return None
    return float(round((max(shares) - min(shares)) * len(shares) / sum(shares), 6))


def _row(columns: tuple[Column, ...], told: Record) -> dict[str, Value]:
    row: dict[str, Value] = {}
    for column in columns:
        value = column.value(told)
        if isinstance(value, list | tuple):
            value = " ".join(value) or None
        if column.kind == "number" and value is not None:
            value = float(value)
        elif isinstance(value, str):
            value = _CONTROL.sub("?", value)
        row[column.name] = value
    return row
