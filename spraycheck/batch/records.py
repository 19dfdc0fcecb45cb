"""One record per photo: the result document, and what is known of the photo besides."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any, Final

from spraycheck.batch.expectations import Expected
from spraycheck.batch.scoring import FORM
from spraycheck.errors import MeasurementError
from spraycheck.report.document import error_document, plain
from spraycheck.report.document.shared import limits_entry


def make_record(
    path: str,
    sha256: str,
    expected: Expected,
    *,
    result: dict[str, Any] | None,
    key: str,
    duplicate_of: str | None,
) -> dict[str, Any]:
    """Return the record of one photo as plain JSON values; see `columns.RECORDS`.

    Parameters
    ----------
    path : str
        The photo as found.
    sha256 : str
        Of its bytes; empty when unknown.
    expected : Expected
        What it should show, and what is tolerated.
    result : dict or None
        The result document; None for a photo that was not reached.
    key : str
        Under which the result stands in the journal; names its pictures too.
    duplicate_of : str or None
        The first photo with the same content and settings.
    """
    file = printable_path(path)
    outcome = "measured" if result is not None and result["verdict"] else "failed"
    if result is None:
        outcome = "not-reached"
        result = error_document("", _NOT_REACHED)
    photo = {**result["photo"], "file": file}
    known = {name: value or None for name, value in asdict(expected.labels).items()}
    record: dict[str, Any] = {
        "schema": FORM,
        "file": file,
        "sha256": sha256 or photo.get("sha256"),
        "duplicate_of": printable_path(duplicate_of) if duplicate_of else None,
        "outcome": outcome,
        "key": key or None,
        "expected_from": expected.source or None,
        "sheet": expected.settings.spec.name,
        **known,
        "result": {**result, "photo": photo},
    }
    if "limits" not in result:
        layout = expected.settings.layout
        record["layout"] = plain(asdict(layout)) if layout else None
        record["limits"] = limits_entry(expected.settings.limits)
    return record


_NOT_REACHED: Final = MeasurementError(
    "the batch ended before this photo's turn",
    stage="not-reached",
    hint="run the same command again; it goes on where it ended",
)


def printable_path(path: str) -> str:
    r"""Return a path as text that any file can hold: bytes that are no UTF-8 become ``\xe4``."""
    return path.encode("utf-8", "surrogateescape").decode("utf-8", "backslashreplace")


def date_of(record: dict[str, Any]) -> str:
    """Return when the card was sprayed: as the manifest says, else as the photo says; or empty."""
    return str(record["date"] or record["result"]["photo"].get("taken_at") or "")
