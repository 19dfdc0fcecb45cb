"""The atlas as one HTML file: pictures, style and text inside, no script, no network."""

from __future__ import annotations

from spraycheck.report.atlas import (
    ABOUT,
    AGREEMENT,
    COLUMNS,
    HOW_TO_READ,
    KIND_IN_WORDS,
    TITLE,
    Atlas,
)
from spraycheck.report.contact_sheet import data_address
from spraycheck.report.page_template import page_template, page_text
from spraycheck.report.words import AID, CAUTION

_MARK = {"agrees": "✓", "undecided": "?", "differs": "≠"}


def atlas_html(atlas: Atlas) -> str:
    """Write the atlas.

    Parameters
    ----------
    atlas : Atlas
        The pages.

    Returns
    -------
    str
        One HTML document; it needs no other file.
    """
    return page_template(__package__).render(
        title=TITLE,
        about=ABOUT,
        how=HOW_TO_READ,
        columns=COLUMNS,
        atlas=atlas,
        kinds=KIND_IN_WORDS,
        marks=_MARK,
        agreement=AGREEMENT,
        address=data_address,
        caution=CAUTION,
        aid=AID,
        style=page_text(__package__, "style.css"),
    )
