"""``spraycheck repeatability``: repeated readings in, how far they can be trusted out."""

from __future__ import annotations

import argparse
import math
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from spraycheck.cli import exits
from spraycheck.errors import InputError

if TYPE_CHECKING:
    from spraycheck.batch.study_table import Judgement, Readings, StudyTable
    from spraycheck.cli.main import Commands
    from spraycheck.report.agreement import Agreement
    from spraycheck.report.gauge import ValueStudy

_DESCRIPTION = """\
Tells how repeatable readings are: gauge repeatability and reproducibility by range
and by analysis of variance for every column of numbers, and agreement beyond chance
(kappa) for verdicts of people and tool.
"""

_EPILOG = """\
TABLE is a CSV file with a line per reading:

  part,person,repeat,deviation_deg,area_ratio,verdict,tool_verdict
  card 1,Ana,1,0.4,0.98,pass,pass
  card 1,Ana,2,0.6,0.97,pass,pass

part, person and repeat are needed; every part must be read by every person equally
often. A column hole makes each hole a part of its own. verdict is the person's,
tool_verdict the tool's, true_verdict a known truth. Ten parts, three people and three
repeats are usual; let people not see what they read before.

The tables photos.csv and holes.csv of "spraycheck batch" fit as they are, when its
manifest has the columns part, person and repeat.

examples:
  spraycheck repeatability study.csv --plots study
  spraycheck repeatability results/holes.csv --columns deviation_deg,area_ratio
  spraycheck repeatability study.csv --tolerance reach_mm=8
"""


def add_parser(commands: Commands) -> None:
    """Add the command to the command line."""
    parser = commands.add_parser(
        "repeatability",
        help="prove how repeatable readings and verdicts are",
        description=_DESCRIPTION,
        epilog=_EPILOG,
        usage="spraycheck repeatability TABLE [--columns NAMES] [--tolerance NAME=WIDTH]... "
        "[--plots DIR] [--json]",
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    parser.add_argument("table", metavar="TABLE", help="CSV file with a line per reading")
    parser.add_argument(
        "--columns", metavar="NAMES", default="", help="columns to study, separated by commas"
    )
    parser.add_argument(
        "--tolerance",
        metavar="NAME=WIDTH",
        action="append",
        default=[],
        help="width between the limits a column is held to; known for direction_deg, deviation_deg "
        "and area_ratio",
    )
    parser.add_argument("--plots", metavar="DIR", help="folder for a plot (PNG) of each column")
    parser.add_argument("--json", action="store_true", help="print one JSON document instead")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Study the table and print what it says."""
    from spraycheck.batch.study_table import read_study
    from spraycheck.cli.terminal import complain, describe
    from spraycheck.report.agreement import agreement_text
    from spraycheck.report.gauge import study_value, value_text

    widths = _tolerances(args.tolerance)
    columns = [name.strip().lower() for name in args.columns.split(",") if name.strip()]
    table = read_study(args.table, columns)
    for name in args.tolerance and widths.keys() - _known().keys():
        if name not in {readings.name for readings in table.readings}:
            raise InputError(
                f"--tolerance names {name!r}, which is not studied",
                f"studied are {', '.join(r.name for r in table.readings) or 'no columns'}",
            )
    for note in table.notes:
        complain(note)
    studies: list[tuple[ValueStudy, Readings]] = []
    for readings in table.readings:
        try:
            study = study_value(
                readings.name,
                readings.values,
                parts=readings.parts,
                people=readings.people,
                tolerance=widths.get(readings.name, math.nan),
            )
        except InputError as error:
            complain(f"{readings.name}: not studied: {describe(error)}")
            continue
        studies.append((study, readings))
    agreed = _agreements(table)
    if not studies and not agreed:
        return exits.RECHECK
    if args.json:
        _print_json([study for study, _ in studies], agreed)
    else:
        texts = [value_text(study) for study, _ in studies]
        texts += [agreement_text(agreed)] if agreed else []
        print("\n".join(texts), end="")
    if args.plots is not None:
        _write_plots(args.plots, studies)
    return exits.PASS


def _known() -> dict[str, float]:
    from spraycheck.judge.limits import Limits

    limits = Limits()
    turn = 2 * limits.direction_deg
    return {
        "direction_deg": turn,
        "deviation_deg": turn,
        "area_ratio": limits.area_high_ratio - limits.area_low_ratio,
    }


def _tolerances(given: Sequence[str]) -> dict[str, float]:
    widths = _known()
    for text in given:
        name, mark, width = text.partition("=")
        try:
            value = float(width)
        except ValueError:
            value = math.nan
        if not (mark and name and math.isfinite(value) and value > 0):
            raise InputError(
                f"--tolerance {text!r} not understood, expected NAME=WIDTH with a width above 0",
                "for example --tolerance reach_mm=8",
            )
        widths[name.strip().lower()] = value
    return widths


def _agreements(table: StudyTable) -> list[Agreement]:
    from spraycheck.report.agreement import agreements

    people: dict[str, dict[tuple[str, str], str]] = {}
    tool: dict[str, dict[tuple[str, str], str]] = {}
    truth: dict[str, str] = {}
    for j in table.judgements:
        if j.verdict:
            people.setdefault(j.person, {})[j.part, j.repeat] = j.verdict
        if j.tool:
            tool.setdefault(j.person, {})[j.part, j.repeat] = j.tool
        if j.truth:
            _check_truth(j, truth)
            truth[j.part] = j.truth
    return agreements(people, tool=tool, truth=truth)


def _check_truth(judged: Judgement, truth: dict[str, str]) -> None:
    if truth.get(judged.part, judged.truth) != judged.truth:
        raise InputError(
            f"part {judged.part!r} has true_verdict {truth[judged.part]!r} and {judged.truth!r}",
            "give every part one truth",
        )


def _print_json(studies: list[ValueStudy], agreed: list[Agreement]) -> None:
    import json

    from spraycheck.report.document import plain
    from spraycheck.report.gauge import conclusion

    document: dict[str, Any] = {
        "schema": "spraycheck.stats.repeatability/1",
        "values": [],
        "verdicts": [],
    }
    for study in studies:
        parts, people, repeats = study.shape
        entry: dict[str, Any] = {
            "name": study.name, "parts": parts, "people": people, "repeats": repeats,
        }  # fmt: skip
        for method, found in (("anova", study.by_anova), ("range", study.by_range)):
            entry[method] = {
                "method": found.method,
                "repeatability": found.repeatability,
                "reproducibility": found.reproducibility,
                "gauge": found.gauge,
                "parts": found.parts,
                "total": found.total,
                "gauge_percent": found.gauge_percent,
                "categories": found.categories,
            }
        entry["tolerance"] = study.tolerance
        entry["tolerance_percent"] = study.tolerance_percent
        entry["beyond"] = [{"part": part, "person": person} for part, person in study.beyond]
        entry["conclusion"] = conclusion(study)
        document["values"].append(entry)
    for a in agreed:
        document["verdicts"].append(
            {
                "who": a.who,
                "kind": a.kind,
                "compared": a.items,
                "same": a.same,
                "kappa": a.kappa.kappa,
                "kappa_u": a.kappa.u,
            }
        )
    print(json.dumps(plain(document), indent=1, allow_nan=False))


def _write_plots(folder: str, studies: list[tuple[ValueStudy, Readings]]) -> None:
    from spraycheck.photo.files import shown
    from spraycheck.report.gauge_plots import study_plot

    try:
        Path(folder).mkdir(parents=True, exist_ok=True)
        for study, readings in studies:
            png = study_plot(study, readings.values, parts=readings.parts, people=readings.people)
            name = "".join(c if c.isalnum() or c in "-_" else "-" for c in study.name)
            (Path(folder) / f"{name}.png").write_bytes(png)
    except OSError as error:
        raise InputError(
            f"plots cannot be written to {shown(folder)} ({error.strerror})", "choose another place"
        ) from None
