"""The catalogue as one HTML page: style and text inside, no script, no network."""

from __future__ import annotations

from collections.abc import Sequence

from spraycheck.report.catalogue import ABOUT, MAY, NEXT, NO_CAUSE, TITLE, Group
from spraycheck.report.page_template import page_template, page_text
from spraycheck.report.words import AID, CAUTION


def catalogue_html(groups: Sequence[Group], *, made_with: str) -> str:
    """Write the page.

    Parameters
    ----------
    groups : sequence of Group
        From `catalogue`.
    made_with : str
        Package version, for the record.

    Returns
    -------
    str
        One HTML document; it needs no other file.
    """
    return page_template(__package__).render(
        title=TITLE,
        about=ABOUT,
        groups=groups,
        may=MAY,
        next=NEXT,
        no_cause=NO_CAUSE,
        caution=CAUTION,
        aid=AID,
        made_with=made_with,
        style=page_text(__package__, "style.css"),
    )
