"""The atlas as one HTML file: pictures, style and text inside, no script, no network."""

from __future__ import annotations

from spraycheck.judge.findings import AID, CAUTION
from spraycheck.report.contact_sheet import data_address
from spraycheck.report.page_template import page_template, page_text
from spraycheck.train.atlas import (
    ABOUT,
    AGREEMENT,
    COLUMNS,
    HOW_TO_READ,
    KIND_IN_WORDS,
    SIGNS,
    TITLE,
    Atlas,
    row_texts,
)


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
        row_texts=row_texts,
        atlas=atlas,
        kinds=KIND_IN_WORDS,
        signs=SIGNS,
        agreement=AGREEMENT,
        address=data_address,
        caution=CAUTION,
        aid=AID,
        style=page_text(__package__, "style.css"),
    )
