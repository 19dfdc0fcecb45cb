"""The one report model: what a reader is told of a result, as plain values, whatever the medium.

`build_report` makes it from a `Result` (of a nozzle with holes, an axial spray, or several shots),
from a comparison, or from an error. Renderers lay it out and add nothing of their own: terminal,
overlay, HTML and PDF.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from spraycheck.judge.layout import Layout
from spraycheck.judge.result import Result
from spraycheck.report.model.parts import (
    Cell,
    Column,
    Headline,
    Picture,
    ReportModel,
    Row,
    Table,
    ToldFinding,
)

if TYPE_CHECKING:
    from spraycheck.judge.shots import Comparison
    from spraycheck.photo.containers import Photo

__all__ = [
    "Cell",
    "Column",
    "Headline",
    "Picture",
    "ReportModel",
    "Row",
    "Table",
    "ToldFinding",
    "build_report",
    "build_report_of_error",
]


def build_report(result: Result | Comparison) -> ReportModel:
    """Return what a reader is told.

    Parameters
    ----------
    result : Result or Comparison
        One photo or several judged together, or two compared.
    """
    if not isinstance(result, Result):
        from spraycheck.report.model.changes import build_changes

        return build_changes(result)
    if result.shots is not None:
        from spraycheck.report.model.shots import build_shots

        return build_shots(result, result.shots)
    if isinstance(result.nozzle, Layout):
        from spraycheck.report.model.holes import build_holes

        return build_holes(result)
    from spraycheck.report.model.axial import build_axial

    return build_axial(result, result.nozzle)


def build_report_of_error(photo: Photo | str, error: Exception) -> ReportModel:
    """Return what a reader is told of a photo that could not be measured.

    Parameters
    ----------
    photo : Photo or str
        The photo, or the name of the file where it could not be read.
    error : Exception
        Why not.
    """
    from spraycheck.report.words.errors import explain_error
    from spraycheck.report.words.numbers import printable
    from spraycheck.report.words.sentences import say

    told = explain_error(error)
    return ReportModel(
        headline=Headline(
            verdict=None,
            title=say("not-measured"),
            count="",
            reasons=(told.message,),
            about=printable(photo if isinstance(photo, str) else photo.file),
        ),
        certainty=(told.hint,) if told.hint else (),
    )
