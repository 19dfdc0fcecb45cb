"""HTML pages made from files that lie beside the module which fills them."""

from __future__ import annotations

import functools
from importlib import resources
from typing import TYPE_CHECKING

from spraycheck.report.words import AID, CAUTION

if TYPE_CHECKING:
    from jinja2 import Template


@functools.cache
def page_template(package: str) -> Template:
    """Return a package's ``page.html`` on the head of ``base.html``, ready to be filled.

    Parameters
    ----------
    package : str
        Where the file lies, with dots.

    Returns
    -------
    jinja2.Template
        Values are escaped for HTML, a name that is not given raises, and a line that only steers
        the template leaves nothing behind.
    """
    from jinja2 import DictLoader, Environment, StrictUndefined  # only here: start-up stays quick

    environment = Environment(
        loader=DictLoader({"base.html": page_text("spraycheck.report", "base.html")}),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    return environment.from_string(page_text(package, "page.html"))


def page_html(package: str, **values: object) -> str:
    """Return a package's page with its ``style.css``, the caution and the aid filled in.

    Parameters
    ----------
    package : str
        Where the files lie, with dots.
    **values
        What else the page asks for.
    """
    style = page_text(package, "style.css")
    return page_template(package).render(style=style, caution=CAUTION, aid=AID, **values)


def page_text(package: str, name: str) -> str:
    """Return a file that lies in a package, such as a page's style or script.

    Parameters
    ----------
    package : str
        Where the file lies, with dots.
    name : str
        Of the file.
    """
    return resources.files(package).joinpath(name).read_text("utf-8")
