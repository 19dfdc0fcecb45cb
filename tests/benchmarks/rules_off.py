"""What the rules that can be switched off are worth: verdicts on drawn cards with each on and off.

    python tests/benchmarks/rules_off.py [--cards 1500] [--first 0] [--seed 20270117] [--jobs 2]
                                         [--rows rows.jsonl]

A rule goes only where no card shows a loss without it. Printed per rule: on how many cards it
spoke at all, and every card whose verdict changes without it, with the card's truth as in
`verdict_study`. ``--rows`` keeps one line per card, so that a run that was stopped goes on. Three
seconds a card and core.
"""

from __future__ import annotations

import argparse
import json
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from study_scenes import make_case
from verdict_study import _truth_of

from spraycheck import SprayCheckError, WetnessSettings, map_wetness, measure_photo
from spraycheck.judge.case import Rules
from spraycheck.judge.judge import check_spray, decide_case
from spraycheck.judge.result import Result
from spraycheck.pipeline import Pipeline

SEED = 20_270_117
"""Not the verdict study's own: no constant was chosen on these cards."""

RULES = {
    "fading light": Rules(fading_light=False),
    "exchanged holes": Rules(exchanged_holes=False),
    "centre shift": Rules(centre_shift=False),
    "all three": Rules(fading_light=False, exchanged_holes=False, centre_shift=False),
}

DARK = "dark objects"

Row = dict[str, Any]


def main() -> None:
    """Measure what is missing, print what changes."""
    options = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    options.add_argument("--cards", type=int, default=1500)
    options.add_argument("--first", type=int, default=0)
    options.add_argument("--seed", type=int, default=SEED)
    options.add_argument("--jobs", type=int, default=2)
    options.add_argument("--rows", type=Path)
    args = options.parse_args()
    wanted = range(args.first, args.first + args.cards)
    lines = args.rows.read_text().splitlines() if args.rows and args.rows.exists() else []
    rows = {row["number"]: row for row in map(json.loads, lines) if row["number"] in wanted}
    missing = [n for n in wanted if n not in rows]
    with ProcessPoolExecutor(args.jobs) as pool:
        for row in pool.map(partial(measure_card, seed=args.seed), missing, chunksize=4):
            rows[row["number"]] = row
            if args.rows:
                with args.rows.open("a") as file:
                    file.write(json.dumps(row) + "\n")
    _print(list(rows.values()))


def measure_card(number: int, *, seed: int) -> Row:
    """Draw and measure one card, and judge it with each rule off."""
    cv2.setNumThreads(1)
    case = make_case(number, seed=seed)
    coded = cv2.imencode(".jpg", case.photo.rgb[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, 92])[1]
    rgb = np.ascontiguousarray(cv2.imdecode(coded, cv2.IMREAD_COLOR)[..., ::-1])
    told: list[tuple[tuple[Any, ...], dict[str, Any]]] = []

    def kept(*given: Any, **named: Any) -> Any:
        told.append((given, named))
        return check_spray(*given, **named)

    row: Row = {"number": number, "fault": case.fault, "truth": _truth_of(case)["truth"]}
    on = partial(measure_photo, rgb, layout=case.layout, sheet=case.sheet)
    row["on"] = _said(lambda: on(pipeline=Pipeline(check=kept)))
    no_dark = partial(map_wetness, settings=WetnessSettings(dark_objects=False))
    row[DARK] = _said(lambda: on(pipeline=Pipeline(wetness=no_dark)))
    for name, rules in RULES.items():
        row[name] = row["on"]
        if told:
            given, named = told[0]
            without = check_spray(*given, **(named | {"rules": rules}))
            row[name] = _said(partial(decide_case, without, quality=named.get("quality")))
    return row


def _said(measure: Any) -> list[str]:
    """Return the verdict and the states of the holes."""
    try:
        result: Result = measure()
    except SprayCheckError as error:
        return ["recheck", type(error).__name__]
    return [str(result.verdict), *(str(hole.state) for hole in result.holes)]


def _print(rows: list[Row]) -> None:
    truths = ("good", "near", "faulty")
    print(
        f"{len(rows)} cards: "
        + ", ".join(f"{sum(r['truth'] == t for r in rows)} {t}" for t in truths)
    )
    for name in (*RULES, DARK):
        spoke = [r for r in rows if r[name] != r["on"]]
        turned = [r for r in spoke if r[name][0] != r["on"][0]]
        print(f"\nwithout {name}: holes change on {len(spoke)} cards, verdicts on {len(turned)}")
        for r in turned:
            print(f"  card {r['number']}, {r['fault']}, {r['truth']}: {r['on'][0]} -> {r[name][0]}")


if __name__ == "__main__":
    main()
