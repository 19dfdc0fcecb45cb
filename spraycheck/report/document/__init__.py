"""Result documents: one photo, several, or a failure, as plain JSON values.

`forms` is the published form of each; its schemas are made from it (`schema.schema_text`).
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from spraycheck.judge.layout import Layout
from spraycheck.judge.result import Result
from spraycheck.photo.containers import Photo
from spraycheck.report.document.entries import as_document, plain
from spraycheck.report.words.errors import explain_error

if TYPE_CHECKING:
    from spraycheck.judge.shots import Comparison

__all__ = [
    "comparison_document",
    "dumps",
    "error_document",
    "plain",
    "refusal_document",
    "result_document",
]


def result_document(result: Result) -> dict[str, Any]:
    """Return the document of a photo, or of several judged together.

    Parameters
    ----------
    result : Result
        Of any kind of nozzle.

    Returns
    -------
    dict
        Plain values only, ready for `dumps`. Values in mm are None unless the scale is known.

    Raises
    ------
    MeasurementError
        A value that is never null in the document could not be measured.
    """
    known = result.card.scale_known
    if result.shots is not None:
        from spraycheck.report.document.shots import shots_form

        return shots_form(result, result.shots)
    if isinstance(result.nozzle, Layout):
        from spraycheck.report.document.holes import holes_form

        return as_document(holes_form(result, result.nozzle), scale_known=known)
    from spraycheck.report.document.axial import axial_form

    return as_document(axial_form(result, result.nozzle), scale_known=known)


def comparison_document(comparison: Comparison) -> dict[str, Any]:
    """Return the document of two photos compared, ready for `dumps`."""
    from spraycheck.report.document.shots import comparison_form

    return comparison_form(comparison)


def error_document(photo: Photo | str, error: Exception) -> dict[str, Any]:
    """Return the document of a photo that could not be measured.

    Parameters
    ----------
    photo : Photo or str
        The photo, or the name of the file where it could not be read.
    error : Exception
        Why not. The stage is ``reading`` for a photo that cannot be read, ``internal`` for a
        mistake in the program.

    Returns
    -------
    dict
        Verdict None and the error, ready for `dumps`.
    """
    from spraycheck.report.document.entries import ErrorEntry, UnreadPhotoEntry, entry_of
    from spraycheck.report.document.forms import FailureDocument

    told = explain_error(error)
    unread = {"sha256": None, "width_px": None, "height_px": None, "taken_at": None}
    shown = {"file": photo, **unread} if isinstance(photo, str) else {}
    form = FailureDocument(
        schema="spraycheck.assessment/1",
        photo=entry_of(UnreadPhotoEntry, photo, **shown),
        verdict=None,
        error=entry_of(ErrorEntry, told),
    )
    return as_document(form)


def refusal_document(kind: str, files: Sequence[str], error: Exception) -> dict[str, Any]:
    """Return the document of photos that could not be taken together.

    Parameters
    ----------
    kind : str
        ``combination`` or ``comparison``.
    files : sequence of str
        The photos, as given.
    error : Exception
        Why not.
    """
    from spraycheck.report.document.entries import entry_of
    from spraycheck.report.document.forms import REFUSED, TogetherErrorEntry

    told = explain_error(error)
    stage = told.stage if told.of_photo else "combination"
    why = entry_of(TogetherErrorEntry, told, stage=stage)
    form, schema = REFUSED[kind]
    return as_document(form(schema=schema, verdict=None, files=tuple(files), error=why))


def dumps(document: Mapping[str, Any] | Sequence[Mapping[str, Any]]) -> str:
    """Return a document, or several as an array, as JSON text.

    The text is ASCII, so that no terminal, pipe or odd file name can spoil it, and holds neither
    NaN nor infinity, which JSON does not know.
    """
    return json.dumps(document, indent=1, allow_nan=False)
