from __future__ import annotations

import dataclasses
import json
import math
from typing import Any

import jsonschema
import numpy as np
import pytest
from judging import with_parts
from report_factory import CENTRE_MM, make_result, printed_facts

from spraycheck import flags
from spraycheck.errors import LayoutError, MeasurementError, PhotoError, SprayNotFoundError
from spraycheck.photo.containers import Photo
from spraycheck.report.document import dumps, error_document, plain, result_document
from spraycheck.report.document.schema import schema_text
from spraycheck.report.model import build_report
from spraycheck.spray.containers import Mark

# The keys readers rely on, written down here a second time on purpose.
KEYS = {
    "": "schema photo card centre plumes rotation_u_deg holes strays marks verdict findings "
    "provenance",
    "photo": "file sha256 width_px height_px taken_at",
    "card": "found_by mm_per_px size_mm flags",
    "centre": "x_px y_px x_mm y_mm u_px u_mm found_by",
    "plumes": "id direction_deg direction_u_deg width_deg reach_mm area_mm2 area_frac area_u_frac "
    "centroid_px flags",
    "holes": "hole expected_deg plume state deviation_deg spacing_deg area_frac area_ratio",
    "marks": "kind centroid_px area_frac",
    "findings": "code hole text",
}

VALIDATOR = jsonschema.Draft202012Validator(json.loads(schema_text()))


def document(**options: Any) -> dict[str, Any]:
    made = result_document(make_result(**options))
    again: dict[str, Any] = json.loads(dumps(made))
    return again


CASES: dict[str, dict[str, Any]] = {
    "all kinds": {"states": ("clear", "blocked", "weak", "off-line", "heavy", "unsure")},
    "pass": {"states": ("clear",) * 6},
    "recheck": {"states": ("clear", "unsure", "clear")},
    "no scale": {"scale_known": False},
    "no sheet": {"scale_known": False, "found": False},
    "stray": {"stray_deg": 100.0},
    "merged": {"merge_first_two": True, "states": ("unsure", "unsure", "clear", "clear")},
    "nothing": {"states": ("blocked",) * 4},
    "marks": {"marks": (Mark(kind="drip", x_mm=6.5, y_mm=-9.0, area_mm2=12.0),)},
    "reduced": {"decode_scale": 4},
}


@pytest.mark.parametrize("case", CASES)
def test_every_document_fits_the_published_schema(case: str) -> None:
    VALIDATOR.validate(document(**CASES[case]))


@pytest.mark.parametrize("case", CASES)
def test_every_promised_key_is_there(case: str) -> None:
    doc = document(**CASES[case])
    assert set(KEYS[""].split()) <= doc.keys()
    for part, keys in KEYS.items():
        rows = doc[part] if part else doc
        for row in rows if isinstance(rows, list) else [rows]:
            assert set(keys.split()) <= row.keys(), part


def test_the_schema_is_valid_and_tells_units() -> None:
    schema = json.loads(schema_text())
    jsonschema.Draft202012Validator.check_schema(schema)
    assert schema["$schema"] == "https://json-schema.org/draft/2020-12/schema"
    unit = {"_px": "pixel", "_mm": "mm", "_mm2": "mm2", "_deg": "degrees"}
    seen = 0

    def walk(node: dict[str, Any], name: str = "") -> None:
        nonlocal seen
        for key, child in node.get("properties", {}).items():
            assert child.get("description") or "const" in child or "$ref" in child, key
            walk(child, key)
        if isinstance(node.get("items"), dict):
            walk(node["items"], name)
        for suffix, word in unit.items():
            if name.endswith(suffix) and "description" in node:
                assert word in json.dumps(node), name
                seen += 1

    for part in schema["$defs"].values():
        walk(part)
    assert seen > 20


def test_the_schema_refuses_what_is_wrong() -> None:
    def refused(change: dict[str, Any], part: str = "", row: int | None = None) -> bool:
        doc = document(states=("clear", "blocked", "weak", "off-line"))
        target = doc[part] if part else doc
        (target if row is None else target[row]).update(change)
        return not VALIDATOR.is_valid(doc)

    assert not refused({})
    assert not refused({"something_new": 1})
    assert refused({"verdict": "maybe"})
    assert refused({"verdict": None})
    assert refused({"x_px": None}, "centre")
    assert refused({"u_px": None}, "centre")
    assert refused({"direction_deg": 360.0}, "plumes", 0)
    assert refused({"direction_deg": None}, "plumes", 0)
    assert refused({"area_u_frac": None}, "plumes", 0)
    assert refused({"centroid_px": [1.0]}, "plumes", 0)
    assert refused({"state": "fine"}, "holes", 0)
    assert refused({"hole": 0}, "findings", 0)
    assert refused({"sha256": "abc"}, "photo")


@pytest.mark.parametrize("asked", ["a5", ""])
def test_a_sheet_asked_for_beside_the_cards_print_is_told(asked: str) -> None:
    assessment = make_result()
    facts = printed_facts(sheet_asked=asked)
    noted = (flags.SHEET_AS_PRINTED,) if asked else ()
    card = dataclasses.replace(assessment.card, printed=facts, flags=noted)
    doc = json.loads(dumps(result_document(with_parts(assessment, card=card))))
    VALIDATOR.validate(doc)
    assert doc["card"]["printed"]["sheet_asked"] == (asked or None)
    assert doc["card"]["flags"] == list(noted)
    doc["card"]["printed"]["sheet_asked"] = 5
    assert not VALIDATOR.is_valid(doc)


def test_values_are_those_of_the_assessment() -> None:
    assessment = make_result(
        states=("clear", "weak", "blocked", "off-line", "clear"), stray_deg=200.0
    )
    doc = json.loads(dumps(result_document(assessment)))
    scale = assessment.card.px_per_mm(CENTRE_MM)
    assert doc["schema"] == "spraycheck.assessment/1"
    assert doc["photo"]["width_px"] == 900
    assert doc["card"]["size_mm"] == [148, 210]
    assert doc["card"]["mm_per_px"] == pytest.approx(1 / scale, rel=1e-5)
    x_px, y_px = assessment.card.to_photo(CENTRE_MM[None])[0]
    assert doc["centre"]["x_px"] == pytest.approx(x_px, abs=0.01)
    assert doc["centre"]["y_px"] == pytest.approx(y_px, abs=0.01)
    assert (doc["centre"]["x_mm"], doc["centre"]["y_mm"]) == (6.0, -9.0)
    # Covariance [[0.36, 0.08], [0.08, 0.16]]: larger eigenvalue 0.26 + sqrt(0.1^2 + 0.08^2).
    u_mm = math.sqrt(-2 * math.log(0.05) * (0.26 + math.hypot(0.1, 0.08)))
    assert doc["centre"]["u_mm"] == pytest.approx(u_mm, abs=1e-3)
    assert doc["centre"]["u_px"] == pytest.approx(u_mm * scale, abs=0.02)
    assert [p["id"] for p in doc["plumes"]] == [1, 2, 3, 4, 5]
    assert sum(p["area_frac"] for p in doc["plumes"]) == pytest.approx(1, abs=1e-5)
    directions = [p["direction_deg"] for p in doc["plumes"]]
    assert np.allclose(directions, assessment.catalogue.direction_deg, atol=1e-4)
    stray = doc["strays"][0]
    assert doc["plumes"][stray - 1]["direction_deg"] == 200
    assert doc["plumes"][stray - 1]["holes"] == []
    by_hole = {hole["hole"]: hole for hole in doc["holes"]}
    assert by_hole[3]["state"] == "blocked"
    assert by_hole[3]["plume"] is None
    assert by_hole[3]["area_frac"] == 0
    assert by_hole[3]["deviation_deg"] is None
    assert by_hole[4]["deviation_deg"] == pytest.approx(11.0, abs=1e-3)
    assert doc["plumes"][by_hole[2]["plume"] - 1]["holes"] == [2]


def test_axis_in_the_photo_runs_outwards_through_the_centroid() -> None:
    assessment = make_result(states=("clear",) * 4)
    doc = result_document(assessment)
    centre = np.array([doc["centre"]["x_px"], doc["centre"]["y_px"]])
    scale = assessment.card.px_per_mm(CENTRE_MM)
    for plume in doc["plumes"]:
        near, far = np.array(plume["axis_px"])
        assert np.allclose((near + far) / 2, plume["centroid_px"], atol=0.5)
        assert math.dist(near, centre) == pytest.approx(22 * scale, rel=0.02)
        assert math.dist(far, centre) == pytest.approx(52 * scale, rel=0.02)
        # The card lies turned clockwise by 7 degrees in the photo.
        seen = math.degrees(math.atan2(*(far - near) * [1, -1])) - 7.0
        assert (seen - plume["axis_deg"] + 180) % 360 == pytest.approx(180, abs=0.1)


def test_without_a_scale_nothing_is_given_in_mm() -> None:
    marks = (Mark(kind="drop", x_mm=1.0, y_mm=2.0, area_mm2=3.0),)
    doc = document(scale_known=False, marks=marks)
    found = []

    def walk(node: Any, name: str) -> None:
        if isinstance(node, dict):
            for key, child in node.items():
                walk(child, key)
        elif isinstance(node, list) and name not in ("findings",):
            for child in node:
                walk(child, name)
        if name.endswith(("_mm", "_mm2", "mm_per_px")) and name != "diameter_mm":
            found.append(name)
            assert node is None, name

    walk({key: doc[key] for key in ("card", "centre", "plumes", "marks", "holes")}, "")
    assert {"mm_per_px", "size_mm", "x_mm", "u_mm", "reach_mm", "area_mm2"} <= set(found)
    for plume in doc["plumes"]:
        assert plume["direction_deg"] >= 0
        assert plume["area_frac"] > 0
    assert doc["marks"][0]["area_frac"] == pytest.approx(
        3.0 / make_result(scale_known=False).catalogue.area_mm2.sum(), abs=1e-6
    )
    # Negative control: the same card with its scale has them.
    assert document(marks=marks)["marks"][0]["area_mm2"] == 3


def test_a_merged_plume_names_all_its_holes() -> None:
    doc = document(**CASES["merged"])
    merged = [p for p in doc["plumes"] if "merged" in p["flags"]]
    assert [p["holes"] for p in merged] == [[1, 2]]
    assert [h["plume"] for h in doc["holes"][:2]] == [merged[0]["id"]] * 2


@pytest.mark.parametrize("direction", [359.999999, -1e-20, 360.0, 719.99999999])
def test_directions_never_round_to_360(direction: float) -> None:
    assessment = make_result()
    turned = assessment.catalogue.direction_deg.copy()
    turned[0] = direction
    hole = dataclasses.replace(assessment.holes[0], expected_deg=direction)
    changed = with_parts(
        dataclasses.replace(assessment, holes=(hole, *assessment.holes[1:])),
        catalogue=dataclasses.replace(assessment.catalogue, direction_deg=turned, axis_deg=turned),
    )
    doc = result_document(changed)
    assert doc["plumes"][0]["direction_deg"] == 0
    assert doc["plumes"][0]["axis_deg"] == 0
    assert doc["holes"][0]["expected_deg"] == 0


@pytest.mark.parametrize("name", ["direction_deg", "direction_u_deg", "area_frac", "area_u_frac"])
def test_what_is_never_null_is_never_null(name: str) -> None:
    assessment = make_result()
    values = getattr(assessment.catalogue, name).copy()
    values[1] = math.nan
    broken = with_parts(
        assessment, catalogue=dataclasses.replace(assessment.catalogue, **{name: values})
    )
    with pytest.raises(MeasurementError, match=f"plume 2: {name} could not be measured"):
        result_document(broken)


def test_a_centre_without_uncertainty_is_refused() -> None:
    assessment = make_result()
    blind = dataclasses.replace(assessment.centre, x_mm=math.nan)
    with pytest.raises(MeasurementError, match="centre: x_px"):
        result_document(with_parts(assessment, centre=blind))


def test_not_measurable_values_become_null() -> None:
    assessment = make_result()
    n = len(assessment.catalogue)
    catalogue = dataclasses.replace(
        assessment.catalogue,
        raggedness=np.full(n, np.nan),
        axis_deg=np.full(n, np.nan),
        width_deg=np.full(n, np.inf),
        rotation_u_deg=math.nan,
    )
    doc = result_document(with_parts(assessment, catalogue=catalogue))
    VALIDATOR.validate(json.loads(dumps(doc)))
    assert doc["rotation_u_deg"] is None
    for plume in doc["plumes"]:
        assert plume["raggedness"] is plume["axis_deg"] is plume["axis_px"] is None
        assert plume["width_deg"] is None


def test_findings_about_the_whole_card_name_no_hole() -> None:
    doc = document(scale_known=False)
    holes = {f["code"]: f["hole"] for f in doc["findings"]}
    assert holes["no-scale"] is None
    assert holes["hole-blocked"] == 2


@pytest.mark.parametrize(
    ("error", "stage", "message", "hint"),
    [
        (
            SprayNotFoundError("found no spray, expected a pattern", stage="centre", hint="again"),
            "centre",
            "found no spray, expected a pattern",
            "again",
        ),
        (
            PhotoError("is empty, expected a photo", "copy it"),
            "reading",
            "is empty, expected a photo",
            "copy it",
        ),
        (LayoutError("alone"), "reading", "alone", ""),
        (
            ZeroDivisionError("division by zero"),
            "internal",
            "division by zero",
            "please report this together with the photo",
        ),
        (KeyError(), "internal", "KeyError", "please report this together with the photo"),
    ],
)
def test_the_document_of_a_failure(error: Exception, stage: str, message: str, hint: str) -> None:
    unread = json.loads(dumps(error_document("x/card.jpg", error)))
    VALIDATOR.validate(unread)
    assert unread["verdict"] is None
    assert unread["error"] == {"stage": stage, "message": message, "hint": hint, "code": None}
    assert unread["photo"]["file"] == "x/card.jpg"
    assert unread["photo"]["sha256"] is None
    photo = make_result().photo
    read = error_document(photo, error)
    VALIDATOR.validate(read)
    assert read["photo"]["sha256"] == "0" * 64
    assert read["photo"]["width_px"] == 900


def test_several_results_are_an_array() -> None:
    one = result_document(make_result())
    other = error_document("b.jpg", PhotoError("is empty"))
    both = json.loads(dumps([one, other]))
    VALIDATOR.validate(both)
    assert [d["verdict"] for d in both] == ["fail", None]
    assert not VALIDATOR.is_valid([one, {"schema": "spraycheck.assessment/1"}])


def test_text_is_plain_ascii_whatever_the_file_is_called() -> None:
    odd = "größer \udcff\n\x1b[31m.jpg"
    text = dumps(result_document(make_result(file=odd)))
    assert text.isascii()
    assert json.loads(text)["photo"]["file"] == odd


def test_dumps_refuses_what_json_does_not_know() -> None:
    with pytest.raises(ValueError, match="not JSON compliant"):
        dumps({"x": math.nan})


def test_an_array_has_no_file_name() -> None:
    photo = Photo(rgb=np.zeros((300, 200, 3), np.uint8), width_px=200, height_px=300)
    entry = error_document(photo, PhotoError("x"))["photo"]
    assert entry["file"] is None
    assert entry["taken_at"] is None
    assert entry["focal_35mm"] is None


def test_plain_values() -> None:
    value = {
        "a": np.float64(1.5),
        2: (1, math.inf, None, True),
        "c": np.array([[1.0, np.nan]]),
        "d": {"e": np.int32(3)},
        "f": frozenset({"x"}),
        "g": print,
    }
    made = plain(value)
    assert made["a"] == 1.5
    assert made["2"] == [1, None, None, True]
    assert made["c"] == [[1.0, None]]
    assert made["d"] == {"e": 3}
    assert made["f"] == ["x"]
    assert made["g"].startswith("<built-in")
    json.dumps(made, allow_nan=False)


@pytest.mark.parametrize("kind", ["drip", "drop", "splash", "fingerprint", "stain", "thing"])
def test_whatever_lies_on_the_card_is_written_and_told(kind: str) -> None:
    spots = tuple(Mark(kind=kind, x_mm=1.0, y_mm=2.0, area_mm2=3.0) for _ in range(2))
    result = make_result(marks=spots)
    doc = json.loads(dumps(result_document(result)))
    VALIDATOR.validate(doc)
    assert [spot["kind"] for spot in doc["marks"]] == [kind] * 2
    assert any(f"2 {kind}" in line for line in build_report(result).certainty)
