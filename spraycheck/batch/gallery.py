"""From a record to what the contact sheet and the plots show of it."""

from __future__ import annotations

import math
from collections import Counter
from pathlib import Path
from typing import Any, Final

from spraycheck.batch.columns import Value
from spraycheck.batch.files import Pictures, link_to
from spraycheck.batch.records import date_of
from spraycheck.report.contact_sheet import Card, data_address
from spraycheck.report.trends import PlottedCard
from spraycheck.report.words.findings import KINDS

_WEIGHT: Final = {
    "blocked": 4.0,
    "off-line": 3.0,
    "weak": 2.0,
    "heavy": 2.0,
    "misshapen": 2.0,
    "unsure": 0.5,
}
"""What a hole adds to a card's severity. An order to look in, chosen so that a blocked hole comes
before any one other fault; nothing is judged by it."""


_NOTES: Final = ("no-scale", "central-no-aim", "central-fill-unknown")
"""Findings that say what is not judged, and decide nothing."""


def severity_of(record: dict[str, Any]) -> float:
    """Return how bad a measured card looks; only to sort by."""
    if record["outcome"] != "measured":
        return 0.0
    result = record["result"]
    if "patch" in result:
        states = [one["state"] for one in result["judged"]]
        return _WEIGHT["off-line"] * states.count("broken") + _WEIGHT["unsure"] * states.count(
            "unsure"
        )
    total = 2.0 * len(result["strays"])
    for hole in result["holes"]:
        total += _WEIGHT.get(hole["state"], 0.0)
        # Among equals the larger deviation or shortfall first; never as much as another fault.
        total += min(0.1, abs(hole["deviation_deg"] or 0.0) / 1000)
        total += min(0.1, abs(1.0 - (hole["area_ratio"] or 0.0)) / 20)
    return total


def reason_of(record: dict[str, Any]) -> str:
    """Say in a few words what decided."""
    result = record["result"]
    if record["outcome"] != "measured":
        return str(result["error"]["message"])
    holes = [hole for hole in result.get("holes", ()) if hole["state"] != "clear"]
    whole = [
        KINDS[f["code"]].title.lower() if f["code"] in KINDS else f["code"].replace("-", " ")
        for f in result["findings"]
        if f["hole"] is None and f["code"] not in _NOTES
    ]
    if len(holes) > 3:
        counts = Counter(hole["state"] for hole in holes)
        said = [", ".join(f"{n} {state}" for state, n in counts.items())]
    else:
        said = [_hole(hole) for hole in holes]
    if not said and not whole and "patch" in result:
        return "all limits kept"
    if not said and not whole:
        return f"all {len(result['holes'])} holes clear"
    return "; ".join(said + whole)


def card_of(
    record: dict[str, Any],
    path: str,
    *,
    pictures: Pictures,
    embed: bool,
    plain: bytes = b"",
) -> Card:
    """Return the card of a record.

    Parameters
    ----------
    record : dict
        As `records.make_record` gives it.
    path : str
        The photo as found.
    pictures : Pictures
        Where they lie.
    embed : bool
        Put the small picture into the page.
    plain : bytes
        The photo without drawing, to be shown beside it.
    """
    result, key = record["result"], record["key"]
    small = large = ""
    if key:
        place = pictures.small(key)
        if embed:
            small = data_address(pictures.read(place))
        elif pictures.has(place):
            small = place
        if pictures.has(pictures.large(key)):
            large = pictures.large(key)
    notes = [f["text"] for f in result.get("findings", ())]
    if result.get("error"):
        notes.append(f"What to try: {result['error']['hint']}")
    verdict = result["verdict"] or record["outcome"]
    return Card(
        file=record["file"],
        verdict=verdict,
        reason=reason_of(record),
        states=tuple(hole["state"] for hole in result.get("holes", ())),
        severity=severity_of(record),
        small=small,
        large=large,
        plain=data_address(plain),
        photo=link_to(path, pictures.folder),
        nozzle=record["nozzle"] or "",
        injector=record["injector"] or "",
        date=date_of(record),
        person_verdict=record["person_verdict"] or "",
        duplicate_of=record["duplicate_of"] or "",
        notes=tuple(notes),
    )


def shot_of(row: dict[str, Value]) -> PlottedCard:
    """Return what is plotted of a row of the table of photos."""

    def number(name: str) -> float:
        value = row[name]
        return float(value) if value is not None else math.nan

    return PlottedCard(
        verdict=str(row["verdict"]),
        date=str(row["date"] or ""),
        nozzle=str(row["nozzle"] or ""),
        injector=str(row["injector"] or ""),
        share_spread_frac=number("share_spread_frac"),
        area_ratio_min=number("area_ratio_min"),
        area_ratio_min_u=number("area_ratio_min_u"),
        deviation_max_deg=number("deviation_max_deg"),
        deviation_max_u_deg=number("deviation_max_u_deg"),
        area_low_ratio=number("limit_area_low_ratio"),
        direction_deg=number("limit_direction_deg"),
    )


def title_of(places: list[str]) -> str:
    """Return the title of the sheet: the names of the folders."""
    names = [Path(place).name or place for place in places]
    text = ", ".join(names[:3]) + (f" and {len(names) - 3} more" if len(names) > 3 else "")
    return f"Spray cards: {text}" if text else "Spray cards"


def _hole(hole: dict[str, Any]) -> str:
    if hole["state"] in ("weak", "heavy") and hole["area_ratio"] is not None:
        return f"hole {hole['hole']} {hole['state']} ({hole['area_ratio']:.0%})"
    if hole["state"] == "off-line" and hole["deviation_deg"] is not None:
        return f"hole {hole['hole']} off-line ({abs(hole['deviation_deg']):.0f}°)"
    return f"hole {hole['hole']} {hole['state']}"
