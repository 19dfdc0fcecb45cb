"""``spraycheck repeatability``: published studies through the command, and an invented workshop."""

from __future__ import annotations

import csv
import json
import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image

from spraycheck.batch.study_table import read_study
from spraycheck.cli.main import main
from spraycheck.errors import InputError
from spraycheck.report.agreement import agreements, in_words
from spraycheck.report.gauge import conclusion, study_value
from spraycheck.stats.repeatability import cohen_kappa

DATA = Path(__file__).parent / "truth/data"
PEOPLE = ("Ana", "Ben", "Cem")


def as_json(capsys: pytest.CaptureFixture[str], *arguments: str) -> dict[str, Any]:
    assert main(["repeatability", *arguments, "--json"]) == 0
    document: dict[str, Any] = json.loads(capsys.readouterr().out)
    return document


@pytest.fixture
def workshop(tmp_path: Path) -> Path:
    """An invented study: ten cards, three people, three repeats; Cem turns his cards.

    Repeats scatter by 0.5 degrees; Cem reads 2 degrees more than the others.
    """
    rng = np.random.default_rng(5)
    rows = ["part,person,repeat,direction_deg,deviation_deg,verdict,tool_verdict,true_verdict"]
    for card in range(10):
        true = rng.normal(0, 3.0)
        truth = "fail" if abs(true) > 3 else "pass"
        for person in PEOPLE:
            for repeat in range(1, 4):
                value = true + rng.normal(0, 0.5) + 2.0 * (person == "Cem")
                tool = "fail" if abs(value) > 3 else "pass"
                said = truth if person != "Ben" or repeat < 3 else "pass"
                turned = (value + 0.2) % 360  # about 12 o'clock, so that directions wrap
                rows.append(
                    f"card {card},{person},{repeat},{turned:.3f},{value:.3f},{said},{tool},{truth}"
                )
    path = tmp_path / "study.csv"
    path.write_text("\n".join(rows) + "\n")
    return path


# -- published studies, as the tests of the engine give their sources


def test_the_published_studies(capsys: pytest.CaptureFixture[str]) -> None:
    (aiag,) = as_json(capsys, str(DATA / "gauge_aiag.csv"))["values"]
    assert (aiag["parts"], aiag["people"], aiag["repeats"]) == (10, 3, 3)
    assert aiag["range"]["gauge_percent"] == pytest.approx(26.68, abs=5e-3)
    assert aiag["anova"]["gauge_percent"] == pytest.approx(27.9, abs=0.05)
    assert aiag["beyond"] == [{"part": "4", "person": "B"}]
    (flown,) = as_json(capsys, str(DATA / "gauge_helicopter.csv"), "--columns", "time1")["values"]
    # Printed as a share of the variance.
    assert flown["anova"]["gauge_percent"] ** 2 / 100 == pytest.approx(25.38, abs=5e-3)


def test_the_text_says_so(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["repeatability", str(DATA / "gauge_aiag.csv")]) == 0
    text = capsys.readouterr().out
    assert "27.9 % by ANOVA, 26.7 % by range" in text
    assert "Usable with care" in text
    assert "4 by B" in text


# -- the invented workshop


def test_workshop(workshop: Path, capsys: pytest.CaptureFixture[str]) -> None:
    found = as_json(capsys, str(workshop))
    by_name = {value["name"]: value for value in found["values"]}
    assert set(by_name) == {"direction_deg", "deviation_deg"}
    turned = by_name["deviation_deg"]["anova"]
    # 0.5 degrees were put in; 60 degrees of freedom leave 18 % (chi-square, 95 %).
    assert turned["repeatability"] == pytest.approx(0.5, rel=0.2)
    # One of three people 2 degrees off: a standard deviation of 2 / sqrt(3) = 1.15.
    assert turned["reproducibility"] == pytest.approx(1.15, rel=0.15)
    assert by_name["deviation_deg"]["tolerance"] == 10.0
    share = 100 * 6 * turned["gauge"] / 10
    assert by_name["deviation_deg"]["tolerance_percent"] == pytest.approx(share)
    words = " ".join(by_name["deviation_deg"]["conclusion"])
    assert "Not fit to judge single readings" in words
    assert "between people" in words
    # Directions round 12 o'clock scatter as the deviations do: nothing was torn apart at 360.
    for part in ("repeatability", "reproducibility", "parts"):
        assert by_name["direction_deg"]["anova"][part] == pytest.approx(turned[part], abs=2e-3)


def test_workshop_verdicts(workshop: Path, capsys: pytest.CaptureFixture[str]) -> None:
    found = {entry["who"]: entry for entry in as_json(capsys, str(workshop))["verdicts"]}
    assert found["Ana again"]["kappa"] == pytest.approx(1.0)
    assert found["Ana and the truth"]["same"] == found["Ana and the truth"]["compared"] == 30
    assert found["Ben again"]["kappa"] < 1.0  # says pass to everything the third time
    assert found["Ben and the truth"]["kappa"] < 1.0
    assert {"Ana and Ben", "Ana and Cem", "Ben and Cem", "all people"} <= set(found)
    # Against a second counting of the same table.
    with open(workshop, newline="") as file:
        rows = [row for row in csv.DictReader(file) if row["person"] == "Cem"]
    wanted = cohen_kappa([r["verdict"] for r in rows], [r["tool_verdict"] for r in rows])
    assert found["Cem and the tool"]["kappa"] == pytest.approx(wanted.kappa)
    assert main(["repeatability", str(workshop)]) == 0
    text = capsys.readouterr().out
    assert "Furthest from the truth: the tool" in text  # it does not know of Cem's 2 degrees
    assert "Least alike of all pairs of people: Ana and Ben" in text


def test_plots(workshop: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["repeatability", str(workshop), "--plots", str(tmp_path / "p")]) == 0
    capsys.readouterr()
    assert sorted(p.name for p in (tmp_path / "p").iterdir()) == [
        "deviation_deg.png", "direction_deg.png",
    ]  # fmt: skip
    with Image.open(tmp_path / "p/deviation_deg.png") as image:
        assert image.size > (900, 700)
        assert len(image.convert("RGB").getcolors(1 << 20) or []) > 20


def test_columns_and_tolerances(workshop: Path, capsys: pytest.CaptureFixture[str]) -> None:
    wide = as_json(capsys, str(workshop), "--columns", "deviation_deg", "--tolerance",
                   "deviation_deg=100")  # fmt: skip
    (value,) = wide["values"]
    assert value["tolerance"] == 100.0
    assert value["conclusion"][0].startswith("Good: ")
    for bad in ("deviation_deg", "deviation_deg=0", "=4", "deviation_deg=wide"):
        assert main(["repeatability", str(workshop), "--tolerance", bad]) == 2
        assert "NAME=WIDTH" in capsys.readouterr().err
    assert main(["repeatability", str(workshop), "--tolerance", "reach_mm=4"]) == 2
    assert "which is not studied" in capsys.readouterr().err


def test_holes_of_a_batch(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    rng = np.random.default_rng(1)
    rows = ["file,part,person,repeat,hole,deviation_deg,area_ratio,state"]
    for card in ("c1", "c2"):
        for hole in (1, 2, 3):
            base = rng.normal(0, 2)
            for person in PEOPLE[:2]:
                for repeat in (1, 2):
                    x = base + rng.normal(0, 0.3)
                    ratio = "" if (card, hole) == ("c2", 3) else f"{1 + x / 50:.4f}"
                    rows.append(f"f,{card},{person},{repeat},{hole},{x:.3f},{ratio},clear")
    path = tmp_path / "holes.csv"
    path.write_text("\n".join(rows))
    found = {v["name"]: v for v in as_json(capsys, str(path))["values"]}
    assert found["deviation_deg"]["parts"] == 6
    assert found["area_ratio"]["parts"] == 5  # the blocked hole has none
    assert main(["repeatability", str(path)]) == 0
    assert "left out as incomplete: c2 hole 3" in capsys.readouterr().err


def test_photos_of_a_batch_name_verdicts_differently(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "photos.csv"
    path.write_text(
        "part,person,repeat,verdict,person_verdict\n"
        "a,Ana,1,pass,pass\nb,Ana,1,fail,fail\nc,Ana,1,pass,fail\nd,Ana,1,fail,\n"
    )
    (entry,) = as_json(capsys, str(path))["verdicts"]
    assert (entry["who"], entry["compared"], entry["same"]) == ("Ana and the tool", 3, 2)


# -- bad input


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "holds no readings"),
        ("part,person,value\na,b,1\n", "no column repeat"),
        ("part,person,repeat,x\na,b,1,2\na,b,1,3\n", "line 3: .* stands on line 2 already"),
        ("part,person,repeat,x\n,b,1,2\n", "line 2: part, person or repeat is empty"),
        ("part,person,repeat,x\na,b,1,2\nb,b,1,2\n", "nothing to study"),
        ("part,person,repeat,x\na,b,1,wet\n", "nothing to study"),
        ('part,person,repeat,x\n"a,b,1\n', "expected CSV"),
    ],
)
def test_table_mistakes(tmp_path: Path, text: str, message: str) -> None:
    path = tmp_path / "t.csv"
    path.write_text(text)
    with pytest.raises(InputError, match=message):
        read_study(str(path))


def test_unknown_column_and_missing_file(tmp_path: Path, workshop: Path) -> None:
    with pytest.raises(InputError, match="no column 'colour'"):
        read_study(str(workshop), ["colour"])
    with pytest.raises(InputError, match="cannot be read"):
        read_study(str(tmp_path / "none.csv"))


def test_copied_readings_are_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    rows = ["part,person,repeat,x"]
    rows += [f"{p},{w},{r},{p}" for p in (1, 2, 3) for w in "ab" for r in (1, 2)]
    path = tmp_path / "t.csv"
    path.write_text("\n".join(rows))
    assert main(["repeatability", str(path)]) == 3
    told = capsys.readouterr()
    assert told.out == ""
    assert "were the readings copied?" in told.err


def test_words() -> None:
    assert in_words(cohen_kappa(["p"], ["p"])).startswith("only one verdict")
    assert in_words(cohen_kappa(list("ppff"), list("ppff"))) == "almost full"
    assert in_words(cohen_kappa(list("pf"), list("fp"))) == "none beyond chance"
    (pair,) = agreements({"A": {("1", "1"): "p", ("2", "1"): "f"}, "B": {("2", "1"): "f"}})
    assert (pair.items, pair.same) == (1, 1)
    assert math.isnan(pair.kappa.kappa)


def test_conclusions_without_a_tolerance() -> None:
    rng = np.random.default_rng(2)
    parts = rng.normal(0, 10, (10, 1, 1))
    values = parts + rng.normal(0, 0.3, (10, 3, 3))
    names = [str(k) for k in range(10)]
    good = conclusion(study_value("x", values, parts=names, people=PEOPLE))
    assert good[0].startswith("Good")
    assert "between these parts" in good[0]
    assert any("one person's own scatter" in line for line in good)
    with pytest.raises(InputError, match="expected a width above 0"):
        study_value("x", values, parts=names, people=PEOPLE, tolerance=-1.0)
