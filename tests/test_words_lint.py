"""No sentences in the rooms that measure and judge; and every error's code has its words."""

from __future__ import annotations

import ast
import pickle
import re
from pathlib import Path

import pytest
from lint_words import DECLARATIONS, LEFT, offences, sentences

import spraycheck
from spraycheck.errors import (
    CardNotFoundError,
    InputError,
    MeasurementError,
    SprayNotFoundError,
)
from spraycheck.report.words.errors import ERRORS, explain_error
from spraycheck.report.words.numbers import fields_of

PACKAGE = Path(spraycheck.__file__).parent


def said(text: str) -> list[str]:
    return [words for _, words in sentences(ast.parse(text))]


def test_no_sentence_stands_where_nothing_is_told() -> None:
    assert offences(PACKAGE) == []
    for where in (*DECLARATIONS, *LEFT):
        assert (PACKAGE / where).exists(), where


def test_a_sentence_is_found_wherever_it_hides() -> None:
    assert said("reason = 'the light may hide it'") == ["the light may hide it"]
    assert said("reason = f'hole {n} sprays far off'")
    assert said("raise MeasurementError('no spray found here', stage='wetness', hint='look again')")
    assert said("def f(text='its plume runs over the edge'): pass")


def test_what_may_stay_is_left_alone() -> None:
    assert not said('"""A docstring of several words."""')
    assert not said("UNIT = 'mm'\n'''Words below a constant say what it is.'''")
    assert not said("raise InputError('found this much, expected some more', 'try that')")
    assert not said("class Way(StrEnum):\n    SAME = 'no sure change'")
    assert not said("map(method='filtered with a small window')")
    assert not said("code = 'printed-card-unread'")


# -- errors ------------------------------------------------------------------------------------


@pytest.mark.parametrize("code", ERRORS)
def test_every_error_says_what_was_found_and_what_to_try(code: str) -> None:
    found, hint = ERRORS[code]
    assert re.match(r"[a-z{0-9]", found)
    assert hint
    assert not found.endswith(".")
    opened = re.search(r"fresh card", hint)
    if opened and "photograph" not in hint:
        assert "pressure released" in hint, code


def test_an_error_carries_code_and_fields_and_reads_as_words() -> None:
    error = SprayNotFoundError("no-spray", stage="wetness", darker_percent=4.2, noise_percent=2.13)
    assert error.code == "no-spray"
    assert error.fields == {"darker_percent": 4.2, "noise_percent": 2.13}
    assert "only 4 % darker" in str(error)
    assert "noise at 2.1 %" in str(error)
    assert error.hint.startswith("check that this is the sprayed side")
    told = explain_error(error)
    assert (told.code, told.stage, told.of_photo) == ("no-spray", "wetness", True)


def test_an_error_survives_the_way_from_a_worker() -> None:
    for error in (
        CardNotFoundError("several-cards", stage="rectification", count=2, cards=("7 a", "")),
        MeasurementError("own words", stage="centre", hint="again"),
    ):
        again = pickle.loads(pickle.dumps(error))
        assert type(again) is type(error)
        assert (str(again), again.hint, again.stage) == (str(error), error.hint, error.stage)
        assert (again.code, again.fields) == (error.code, error.fields)


def test_several_names_are_numbered() -> None:
    error = CardNotFoundError("several-cards", stage="rectification", count=2, cards=("7 a", ""))
    assert "from the left: 1 (7 a), 2 (no name read); expected one" in str(error)


def test_ready_words_and_unknown_codes_are_told_as_they_are() -> None:
    ready = MeasurementError("found this", stage="centre", hint="try that")
    assert (str(ready), ready.hint, ready.code) == ("found this", "try that", "")
    assert str(MeasurementError("of-my-own", stage="centre")) == "of-my-own"
    assert explain_error(InputError("found", "try")).code == ""
    assert explain_error(KeyError()).stage == "internal"


def test_every_code_that_is_raised_has_words_and_gets_its_fields() -> None:
    raised = []
    for path in PACKAGE.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if not isinstance(node, ast.Call) or not _measurement_error(node):
                continue
            given = {k.arg for k in node.keywords}
            if "hint" in given:
                continue
            for code in _codes(node.args[0]):
                assert code in ERRORS, (path.name, code)
                wanted = fields_of(" ".join(ERRORS[code]))
                assert None in given or wanted <= given, (path.name, code, wanted)
                raised.append(code)
    assert len(raised) >= 2


def _measurement_error(node: ast.Call) -> bool:
    name = getattr(node.func, "id", "")
    return name.endswith(("NotFoundError", "QualityError")) or name == "MeasurementError"


def _codes(node: ast.expr) -> list[str]:
    if isinstance(node, ast.IfExp):
        return [*_codes(node.body), *_codes(node.orelse)]
    return [node.value] if isinstance(node, ast.Constant) else []
