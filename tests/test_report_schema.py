"""The generated schemas refuse every document that the hand-kept ones of results version 4 refused.

``golden/schema_v4`` holds those. One document of each kind is spoilt in every place and in many
ways; what the old schema refused, the new one has to refuse, too.
"""

from __future__ import annotations

import copy
import json
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from central_cards import disc, photo_of, wet_map
from judging import judge_patch, with_parts
from report_factory import make_result, printed_facts

from spraycheck.errors import SprayNotFoundError
from spraycheck.judge.limits import AxialLimits
from spraycheck.judge.nozzle import AxialNozzle
from spraycheck.judge.result import PhotoQuality, SprayAngles
from spraycheck.judge.shots import combine_shots, compare_cards
from spraycheck.report.document import (
    comparison_document,
    dumps,
    error_document,
    refusal_document,
    result_document,
)
from spraycheck.report.document.schema import KINDS, schema_text
from spraycheck.spray.axial.containers import Aim
from spraycheck.spray.axial.measure import measure_axial
from spraycheck.spray.containers import Mark
from tests.test_combination import SOUND, WEAK, shot

OLD = Path(__file__).parent / "golden" / "schema_v4"
FILES = {"holes": "assessment", "central": "central"}
RENAMED = {"ellipse_ratio": "roundness", "form_factor": "circularity"}
"""Keys of an axial patch, and what they were called."""

LEFT_OUT = ("photos", "before", "after", "provenance")
"""Documents of their own, whose places are spoilt by themselves, and what may be anything."""

LIMITS_TAKEN = ((), ("name",), ("risk",))
"""All limits are of one form."""

SPOILT: tuple[Any, ...] = (None, -1, 400.5, "x", [], {})
GONE = object()


def holes_document() -> dict[str, Any]:
    drip = Mark(kind="drip", x_mm=6.5, y_mm=-9.0, area_mm2=12.0)
    quality = PhotoQuality(
        measured_on="sheet", edge_x_mm=0.4, edge_y_mm=0.5, mm_per_px=0.2, noise_frac=0.01,
        evenness_frac=0.9, clipped_frac=0.0, glare_frac=0.0, outside_frac=0.0, view_deg=3.0,
        plume_width_mm=9.0, dark_frac=0.0, fill_frac=0.8, elapsed_s=60.0,
    )  # fmt: skip
    angles = SprayAngles(
        height_mm=20.0, height_u_mm=0.5, spray_angle_deg=140.0, spray_angle_u_deg=3.0,
        axis_angle_deg=(70.0,), axis_angle_u_deg=(2.0,), nominal_deg=(70.0,), cone_deg=(9.0,),
        tilt_deg=1.0, tilt_u_deg=0.5, tilt_towards_deg=20.0,
    )  # fmt: skip
    result = make_result(("weak", "clear", "unsure"), marks=(drip,), quality=quality, angles=angles)
    return result_document(with_parts(result, card=_printed(result.card)))


def _printed(card: Any) -> Any:
    from dataclasses import replace

    return replace(card, printed=printed_facts(job="17", injector="3"), found_by="printed-card")


def axial_document() -> dict[str, Any]:
    wet = wet_map(disc(12, (15.0, -8.0)) + disc(5, (-30.0, 40.0)))
    result = judge_patch(
        measure_axial(wet, Aim(x_mm=5.0, y_mm=-8.0, u_mm=0.3, source="given")),
        AxialNozzle(name="pintle", kind="pintle", fill="filled"),
        AxialLimits(),
        photo=photo_of(wet),
        card=wet.card,
        wetness=wet,
    )
    return result_document(result)


def shots() -> list[Any]:
    return [shot(WEAK, seed=k) for k in (1, 2)]


def documents() -> dict[str, dict[str, Any]]:
    failure = error_document("a.jpg", SprayNotFoundError("no", stage="wetness", hint="again"))
    return {
        "holes": holes_document(),
        "holes, failed": failure,
        "central": axial_document(),
        "combination": result_document(combine_shots(shots())),
        "combination, unmatched": result_document(
            combine_shots([shot((1.0,) * 5, seed=k) for k in (1, 2)])
        ),
        "combination, refused": refusal_document("combination", ["a.jpg"], ValueError("no")),
        "comparison": comparison_document(
            compare_cards(shot(WEAK, seed=1), shot(SOUND, seed=2), turn_deg=0.0)
        ),
        "comparison, refused": refusal_document("comparison", ["a.jpg"], ValueError("no")),
    }


def shortened(node: Any) -> Any:
    """The same with lists of numbers and points cut short, which are alike all along."""
    if isinstance(node, dict):
        return {key: shortened(value) for key, value in node.items()}
    if isinstance(node, list):
        return [shortened(item) for item in (node if len(node) < 5 else node[:2])]
    return node


DOCUMENTS = {name: shortened(document) for name, document in documents().items()}


@cache
def validators(kind: str) -> tuple[Any, Any]:
    old = json.loads((OLD / f"{FILES.get(kind, kind)}.schema.json").read_text("utf-8"))
    new = json.loads(schema_text(kind))
    return jsonschema.Draft202012Validator(old), jsonschema.Draft202012Validator(new)


def as_before(document: dict[str, Any]) -> dict[str, Any]:
    """The same with the keys that a patch had."""
    if "patch" not in document or not isinstance(document["patch"], dict):
        return document
    patch = document["patch"].items()
    stem = {f"{new}{u}": f"{old}{u}" for new, old in RENAMED.items() for u in ("", "_u")}
    return {**document, "patch": {stem.get(key, key): value for key, value in patch}}


def places(node: Any, at: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    """Every place in a document; of a list only the first member's."""
    if at:
        yield at
    if at and (at[0] in LEFT_OUT or (at[0] == "limits" and at[1:2] not in LIMITS_TAKEN)):
        return
    if isinstance(node, dict):
        for key, value in node.items():
            yield from places(value, (*at, key))
    elif isinstance(node, list) and node:
        yield from places(node[0], (*at, 0))


def spoilt(document: dict[str, Any], at: tuple[Any, ...], value: Any) -> dict[str, Any]:
    made = copy.copy(document)
    node: Any = made
    for step in at[:-1]:
        node[step] = copy.copy(node[step])
        node = node[step]
    if value is GONE:
        del node[at[-1]]
    else:
        node[at[-1]] = value
    return made


@pytest.mark.parametrize("name", DOCUMENTS)
def test_every_document_fits_both(name: str) -> None:
    document = json.loads(dumps(DOCUMENTS[name]))
    old, new = validators(name.partition(",")[0])
    old.validate(as_before(document))
    new.validate(document)


@pytest.mark.parametrize("name", DOCUMENTS)
def test_what_the_hand_kept_schema_refused_is_refused(name: str) -> None:
    document = json.loads(dumps(DOCUMENTS[name]))
    if "photos" in document:
        document["photos"] = []  # spoilt by themselves
    old, new = validators(name.partition(",")[0])
    refused, let_through = 0, []
    for at in places(document):
        for value in (*SPOILT, GONE):
            made = spoilt(document, at, value)
            if old.is_valid(as_before(made)):
                continue
            refused += 1
            if new.is_valid(made):
                let_through.append((at, value))
    assert not let_through
    assert refused > 30


@pytest.mark.parametrize("kind", KINDS)
def test_every_schema_is_valid_and_every_key_is_described(kind: str) -> None:
    schema = json.loads(schema_text(kind))
    jsonschema.Draft202012Validator.check_schema(schema)
    keys = [
        (part, key, node)
        for part, form in schema["$defs"].items()
        for key, node in form.get("properties", {}).items()
    ]
    assert len(keys) > 40
    for part, key, node in keys:
        assert node["description"], (part, key)


def test_several_documents_are_an_array_and_one_alone_is_none() -> None:
    _, new = validators("holes")
    one = json.loads(dumps(DOCUMENTS["holes"]))
    assert new.is_valid([one, one])
    assert not new.is_valid([one])
