"""The JSON Schemas of the documents, made from their forms and the catalogue's words."""

from __future__ import annotations

import json
from typing import Any, Final

import msgspec

from spraycheck.errors import InputError
from spraycheck.report.document import forms
from spraycheck.report.words.keys import PREAMBLE, TITLES, meaning_of

DRAFT: Final = "https://json-schema.org/draft/2020-12/schema"

KINDS: Final = {
    "holes": (forms.HolesDocument, forms.FailureDocument),
    "central": (forms.AxialDocument,),
    "combination": (forms.CombinationDocument, forms.RefusedCombinationDocument),
    "comparison": (forms.ComparisonDocument, forms.RefusedComparisonDocument),
}
"""Kind of document to its forms, when it could be made and when not."""

SEVERAL: Final = ("holes",)
"""Kinds of which ``--json`` prints an array for several photos."""


def schema_text(kind: str = "holes") -> str:
    """Return the JSON Schema (2020-12) of a kind of document.

    Raises
    ------
    InputError
        There is no such kind.
    """
    if kind not in KINDS:
        raise InputError(f"schema {kind!r}: expected one of {', '.join(KINDS)}")
    return json.dumps(_schema(kind), indent=1, ensure_ascii=False) + "\n"


def _schema(kind: str) -> dict[str, Any]:
    published, parts = msgspec.json.schema_components(KINDS[kind], ref_template="#/$defs/{name}")
    for name, part in parts.items():
        for key, node in part.get("properties", {}).items():
            node["description"] = meaning_of(name, key)
            node.pop("default", None)
    name = KINDS[kind][0].__struct_fields__[0]
    version = parts[KINDS[kind][0].__name__]["properties"][name]["enum"][0]
    about = {
        "$schema": DRAFT,
        "$id": f"urn:{version.replace('.', ':').replace('/', ':')}",
        "title": TITLES[kind],
        "description": PREAMBLE,
    }
    one: dict[str, Any] = {"anyOf": list(published)}
    if kind not in SEVERAL:
        return {**about, **one, "$defs": parts}
    many = {"type": "array", "items": {"$ref": "#/$defs/OneDocument"}, "minItems": 2}
    return {
        **about,
        "anyOf": [{"$ref": "#/$defs/OneDocument"}, many],
        "$defs": {"OneDocument": one, **parts},
    }
