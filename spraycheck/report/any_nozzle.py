"""Either kind of nozzle shown: its document, overlay and terminal report.

Light to import: everything heavy is imported when it is needed.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from spraycheck.judge.axial import CentralAssessment
    from spraycheck.judge.layout import Assessment
    from spraycheck.report.overlay import Composition


def document_of(assessment: Assessment | CentralAssessment) -> dict[str, Any]:
    """Return the result document of either kind of nozzle."""
    from spraycheck.judge.layout import Assessment
    from spraycheck.report.document import assessment_document

    if isinstance(assessment, Assessment):
        return assessment_document(assessment)
    from spraycheck.report.central_document import central_document

    return central_document(assessment)


def overlay_of(
    assessment: Assessment | CentralAssessment, *, max_side_px: int = 1600
) -> Composition:
    """Draw the overlay of either kind of nozzle; parameters and result as of `compose_overlay`."""
    from spraycheck.judge.layout import Assessment
    from spraycheck.report.central_overlay import compose_central_overlay
    from spraycheck.report.overlay import compose_overlay

    if isinstance(assessment, Assessment):
        return compose_overlay(assessment, max_side_px=max_side_px)
    return compose_central_overlay(assessment, max_side_px=max_side_px)


def report_of(
    assessment: Assessment | CentralAssessment, *, colour: bool, width: int, ascii_only: bool
) -> str:
    """Write the terminal report of either kind of nozzle."""
    from spraycheck.judge.layout import Assessment
    from spraycheck.report.terminal import terminal_report

    if isinstance(assessment, Assessment):
        return terminal_report(assessment, colour=colour, width=width, ascii_only=ascii_only)
    from spraycheck.report.central_terminal import central_report

    return central_report(assessment, colour=colour, width=width, ascii_only=ascii_only)
