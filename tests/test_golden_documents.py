"""Today's answers against the first freeze: what ships in the repository, and what is elsewhere.

Where ``SPRAYCHECK_GOLDEN`` names a folder with the two hundred drawn cards, or
``SPRAYCHECK_PRACTICE`` one with the practice photographs, these are compared, too.
"""

from __future__ import annotations

import functools
import os
from pathlib import Path

import pytest
from golden.differences import compare
from golden.documents import SHIPPED, Golden, answer, digests, goldens

# Every third of the sample images, half of them with their size; ``golden/compare.py`` does all.
SHIPPED_GOLDENS = [*[*goldens(["samples"])][::3], *goldens(["small", "batch"])]
ELSEWHERE = {
    "practice": "SPRAYCHECK_PRACTICE",
    **dict.fromkeys(("plain", "uneven", "axial", "printed", "shots"), "SPRAYCHECK_GOLDEN"),
}


def called(golden: Golden) -> str:
    return golden.title


@functools.cache
def pictures(variable: str = "") -> dict[str, Path]:
    return digests([Path(os.environ[variable])] if variable else SHIPPED)


def held(golden: Golden, found: dict[str, Path]) -> None:
    today = answer(golden, found)
    assert today is not None, f"a picture of {golden.title} is not in the folder"
    wrong = [str(difference) for difference in compare(golden, today).differences
             if difference.fails]  # fmt: skip
    assert not wrong, "\n".join([f"{golden.title}: {golden.words}", *wrong[:20]])


@pytest.mark.parametrize("golden", SHIPPED_GOLDENS, ids=called)
def test_a_shipped_picture_gets_the_frozen_answer(golden: Golden) -> None:
    held(golden, pictures())


@pytest.mark.parametrize("group", ELSEWHERE)
def test_pictures_elsewhere_get_the_frozen_answers(group: str, subtests: pytest.Subtests) -> None:
    variable = ELSEWHERE[group]
    if not os.environ.get(variable):
        pytest.skip(f"{variable} names no folder")
    for golden in goldens([group]):
        with subtests.test(golden.title):
            held(golden, pictures(variable))
