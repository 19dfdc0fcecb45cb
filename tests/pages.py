"""HTML pages as a browser takes them apart, and what holds for every page that is written."""

from __future__ import annotations

import re
from html.parser import HTMLParser
from typing import Final

_FETCHES: Final = ("link", "iframe", "object", "embed", "base")
_ADDRESSES: Final = ("src", "href", "action", "srcset")


class Page(HTMLParser):
    """Every element of a page with its attributes, the texts, and what stands in scripts."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.elements: list[tuple[str, dict[str, str]]] = []
        self.texts: list[str] = []
        self.scripts: dict[str, str] = {}
        self._inside: str | None = None
        self.feed(html)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        named = {name: value or "" for name, value in attrs}
        self.elements.append((tag, named))
        self._inside = named.get("id", "") if tag == "script" else None

    def handle_endtag(self, tag: str) -> None:
        self._inside = None

    def handle_data(self, data: str) -> None:
        if self._inside is None:
            self.texts.append(data)
        else:
            self.scripts[self._inside] = self.scripts.get(self._inside, "") + data

    def count(self, tag: str) -> int:
        """How many elements there are of a kind."""
        return sum(name == tag for name, _ in self.elements)

    def values(self, *names: str) -> list[str]:
        """What attributes of these names hold."""
        return [attrs[name] for _, attrs in self.elements for name in names if attrs.get(name)]


def check_needs_no_network(html: str) -> Page:
    """Check that a page fetches nothing and runs nothing from an attribute; return it read."""
    page = Page(html)
    for tag, attrs in page.elements:
        assert tag not in _FETCHES
        assert not [name for name in attrs if name.startswith("on")], attrs
    for address in page.values(*_ADDRESSES):
        assert address.startswith(("data:", "#")), address[:80]
    # The name of a drawing's own language is the one address that nothing is fetched from.
    assert not re.search(r"https?:(?!//www\.w3\.org/2000/svg)|@import", html)
    assert not re.search(r"[\"'`(]//\w", html)
    assert not re.search(r"url\((?!['\"]?(?:data:|#))", html)
    policies = [a["content"] for t, a in page.elements if a.get("http-equiv")]
    assert len(policies) == 1
    assert policies[0].startswith("default-src 'none'")
    return page
