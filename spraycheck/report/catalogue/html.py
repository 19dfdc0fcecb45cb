"""The catalogue as one HTML page: style and text inside, no script, no network."""

from __future__ import annotations

import functools
from collections.abc import Sequence
from importlib import resources
from typing import TYPE_CHECKING

from spraycheck.pattern.findings import AID, CAUTION
from spraycheck.report.catalogue import ABOUT, MAY, NEXT, NO_CAUSE, TITLE, Group

if TYPE_CHECKING:
    from jinja2 import Template


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
    return _template().render(
        title=TITLE,
        about=ABOUT,
        groups=groups,
        may=MAY,
        next=NEXT,
        no_cause=NO_CAUSE,
        caution=CAUTION,
        aid=AID,
        made_with=made_with,
        style=_text("style.css"),
    )


@functools.cache
def _template() -> Template:
    from jinja2 import Environment, StrictUndefined

    environment = Environment(
        autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True
    )
    return environment.from_string(_text("page.html"))


def _text(name: str) -> str:
    return resources.files(__package__).joinpath(name).read_text("utf-8")
