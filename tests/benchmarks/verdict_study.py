"""Verdicts and stated uncertainties on drawn cards of mixed difficulty, against what was drawn.

    python tests/benchmarks/verdict_study.py [--cards 1500] [--jobs 2] [--rows rows.jsonl]
                                             [--json study.json]

Prints: confusion of verdicts per family and fault; verdicts against severity; the severity that is
found with 95 % probability; how often the 95 % intervals of direction, share and centre hold the
truth. ``--rows`` keeps one line per card, so that a run that was stopped goes on; ``--json`` writes
the figures for a notebook. Two seconds a card and core. The seed was fixed before the first run.

A card's truth is *faulty* when a hole is blocked, off line or outside the limits of area by more
than a margin, *good* when every hole is inside by more than the margin, and *near* otherwise. The
margin stands for the guard band: `MARGIN_DEG` and `MARGIN_RATIO`, about what a good photo leaves
open; it does not depend on what the tool says.
"""

from __future__ import annotations

import argparse
import json
import math
from collections import Counter, defaultdict
from collections.abc import Iterable
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from scipy.interpolate import LinearNDInterpolator
from scipy.optimize import linear_sum_assignment
from study_scenes import FAMILIES, SEED, Case, make_case

from spraycheck import measure_photo
from spraycheck.errors import SprayCheckError
from spraycheck.judge.limits import Limits
from spraycheck.judge.result import Result
from spraycheck.stats.circular import wrap_180
from spraycheck.stats.detection import Trials, fit_detection, level_interval

MARGIN_DEG, MARGIN_RATIO = 1.0, 0.08
"""Chosen: twice the standard uncertainty that is usual on a workshop photo."""

SIMILAR = 0.15  # log areas this close are of healthy holes; the scale is their median

Row = dict[str, Any]


def main() -> None:
    """Measure what is missing, print the tables."""
    options = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    options.add_argument("--cards", type=int, default=1500)
    options.add_argument("--first", type=int, default=0)
    options.add_argument("--jobs", type=int, default=2)
    options.add_argument("--rows", type=Path)
    options.add_argument("--json", type=Path)
    options.add_argument("--list", action="store_true", help="name the cards judged wrongly")
    args = options.parse_args()
    wanted = range(args.first, args.first + args.cards)
    rows = _kept(args.rows, wanted)
    missing = [n for n in wanted if n not in rows]
    for row in _measured(missing, args.jobs):
        rows[row["number"]] = row
        if args.rows:
            with args.rows.open("a") as file:
                file.write(json.dumps(row) + "\n")
    found = figures(list(rows.values()))
    _print(found)
    if args.list:
        _list(rows.values())
    if args.json:
        args.json.write_text(json.dumps(found, indent=1) + "\n")


def _kept(path: Path | None, wanted: range) -> dict[int, Row]:
    if path is None or not path.exists():
        return {}
    rows = map(json.loads, path.read_text().splitlines())
    return {row["number"]: row for row in rows if row["number"] in wanted}


def _measured(numbers: list[int], jobs: int) -> Iterable[Row]:
    with ProcessPoolExecutor(jobs) as pool:
        yield from pool.map(measure_card, numbers, chunksize=4)


# --- one card ------------------------------------------------------------------------------------


def measure_card(number: int) -> Row:
    """Draw, measure and compare one card."""
    cv2.setNumThreads(1)
    case = make_case(number)
    # Through a file's compression, as a phone would write it.
    coded = cv2.imencode(".jpg", case.photo.rgb[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, 92])[1]
    rgb = np.ascontiguousarray(cv2.imdecode(coded, cv2.IMREAD_COLOR)[..., ::-1])
    try:
        assessment = measure_photo(rgb, layout=case.layout, sheet=case.sheet)
    except SprayCheckError as error:
        told: Row = {"verdict": "recheck", "error": str(error), "codes": ["not-measured"]}
    else:
        told = {
            "verdict": assessment.verdict,
            "codes": sorted({f.code for f in assessment.findings}),
            "noise": assessment.wetness.noise,
            **compare(case, assessment),
        }
    return {
        "number": number,
        "family": case.family,
        "fault": case.fault,
        **_truth_of(case),
        **told,
    }


def _truth_of(case: Case) -> Row:
    """What each hole truly does against its limits, and the class of the whole card."""
    limits = Limits()
    holes = case.photo.truth.holes
    flowing = np.array([h.flow_frac > 0 for h in holes])
    turn = np.array([h.deviation_deg for h in holes])
    turn = turn - np.median(turn[flowing])
    log = np.log(np.maximum([h.area_mm2 for h in holes], 1e-9)) - np.log(
        case.layout.expected_area()
    )
    near = np.abs(log[flowing, None] - log[None, flowing]) < SIMILAR
    lead = max(range(int(flowing.sum())), key=lambda i: (near[i].sum(), log[flowing][i]))
    ratio = np.exp(log - np.median(log[flowing][near[lead]]))
    low, high = limits.area_low_ratio, limits.area_high_ratio
    outside = ~flowing | (np.abs(turn) > limits.direction_deg + MARGIN_DEG)
    outside |= (ratio < low - MARGIN_RATIO) | (ratio > high + MARGIN_RATIO)
    inside = flowing & (np.abs(turn) < limits.direction_deg - MARGIN_DEG)
    inside &= (ratio > low + MARGIN_RATIO) & (ratio < high - MARGIN_RATIO)
    stray = [m.area_mm2 for m in case.photo.truth.marks if m.kind == "stray"]
    wet = float(sum(h.area_mm2 for h in holes))
    strays = sum(stray) / wet if wet else 0.0
    return {
        "truth": "faulty" if outside.any() else "good" if inside.all() else "near",
        "true_turn_deg": turn.tolist(),
        "true_ratio": ratio.tolist(),
        "flowing": flowing.tolist(),
        "true_stray_frac": strays,
    }


def compare(case: Case, a: Result) -> Row:
    """Errors of everything measured, each with the stated 95 % uncertainty."""
    truth = case.photo.truth
    mm, px = case.photo.truth_grid(8.0)
    to_mm = LinearNDInterpolator(px, mm)
    scale = max(a.card.size_mm) / max(case.photo.sheet_mm)
    foot = np.array([truth.x_mm, truth.y_mm])
    seen = to_mm(a.card.to_photo(np.array([[a.centre.x_mm, a.centre.y_mm]])))[0]
    row: Row = {
        "centre_error_mm": float(np.hypot(*(seen - foot))),
        "centre_u_mm": a.centre.u95_mm / scale,
        "states": [h.state for h in a.holes],
    }
    c = a.catalogue
    around = to_mm(c.centroid_px) - foot
    azimuth = np.degrees(np.arctan2(around[:, 0], -around[:, 1]))
    holes = [h for h in truth.holes if h.flow_frac > 0]
    far = np.abs(
        [[wrap_180(float(p) - h.direction_deg) for h in holes] for p in np.nan_to_num(azimuth)]
    )
    pairs = [
        (int(p), int(h))
        for p, h in zip(*linear_sum_assignment(far), strict=True)
        if far[p, h] < 180 / len(truth.holes)
    ]
    if len(pairs) < 2:
        return row
    plume = np.array([p for p, _ in pairs])
    true = [holes[h] for _, h in pairs]
    turn = c.direction_deg[plume] - np.array([h.direction_deg for h in true])
    # What turns the whole pattern is stated apart; a plain sheet may lie any edge up.
    common = np.degrees(np.angle(np.exp(1j * np.radians(turn)).mean()))
    turn = (turn - common + 180) % 360 - 180
    turn = turn - turn.mean()
    state = {h.plume: h.state for h in a.holes if h.plume}
    area, wet = c.area_mm2[plume], np.array([h.area_mm2 for h in true])
    n = len(pairs)
    return row | {
        "hole": [h.hole for h in true],
        "plume": plume.tolist(),
        "state": [state.get(int(p) + 1, "stray") for p in plume],
        "direction_error_deg": turn.tolist(),
        "direction_u_deg": c.direction_u_deg[plume].tolist(),
        # Of an even share, so that nozzles with few and many holes compare.
        "share_error": (n * (area / area.sum() - wet / wet.sum())).tolist(),
        "share_u": (n * c.area_u_frac[plume]).tolist(),
    }


# --- figures -------------------------------------------------------------------------------------


def figures(rows: list[Row]) -> dict[str, Any]:
    """Everything the study says, as plain numbers."""
    return {
        "cards": len(rows),
        "seed": SEED,
        "margin": {"direction_deg": MARGIN_DEG, "area_ratio": MARGIN_RATIO},
        "coverage": _coverage(rows),
        "verdicts": _verdicts(rows),
        "wrong": _wrong(rows),
        "severity": {kind: _severity(rows, kind) for kind in EDGES},
        "threshold": {kind: _threshold(rows, kind) for kind in EDGES},
        "blocked_by_quality": _blocked(rows),
    }


QUANTITIES = {"direction": "deg", "share": "of an even share", "centre": "mm"}


def _errors(row: Row, what: str) -> tuple[list[float], list[float]]:
    if what == "centre":
        known = "centre_u_mm" in row
        return ([row["centre_error_mm"]], [row["centre_u_mm"]]) if known else ([], [])
    unit = {"direction": "_deg", "share": ""}[what]
    return row.get(f"{what}_error{unit}", []), row.get(f"{what}_u{unit}", [])


def _coverage(rows: list[Row]) -> dict[str, Any]:
    out: dict[str, Any] = {}
    for what in QUANTITIES:
        out[what] = {}
        for family in (*FAMILIES, "all"):
            error: list[float] = []
            u: list[float] = []
            for row in rows:
                if family in ("all", row["family"]):
                    e, s = _errors(row, what)
                    error += e
                    u += s
            if not error:
                continue
            e_, u_ = np.array(error), np.array(u)
            out[what][family] = {
                "n": len(error),
                "inside_frac": float(np.mean(np.abs(e_) <= u_)),
                # A place far off the card has no true position: it is not inside, and no number.
                "rms_error": float(np.sqrt(np.nanmean(e_**2))),
                "median_error": float(np.nanmedian(np.abs(e_))),
                "median_u": float(np.median(u_)),
            }
    return out


def _verdicts(rows: list[Row]) -> list[dict[str, Any]]:
    table = Counter((_type(r), r["family"], r["fault"], r["truth"], r["verdict"]) for r in rows)
    names = ("type", "family", "fault", "truth", "verdict")
    return [{**dict(zip(names, key, strict=True)), "count": n} for key, n in sorted(table.items())]


def _type(row: Row) -> str:
    return "uneven" if row["family"] == "layout" else "even"


def _wrong(rows: list[Row]) -> dict[str, Any]:
    """Outright verdicts that are wrong, among cards whose truth lies outside the margin."""
    clear = [r for r in rows if r["truth"] != "near"]
    passed = [r["number"] for r in clear if r["truth"] == "faulty" and r["verdict"] == "pass"]
    failed = [r["number"] for r in clear if r["truth"] == "good" and r["verdict"] == "fail"]
    return {
        "of": len(clear),
        "faulty_passed": passed,
        "good_failed": failed,
        "frac": (len(passed) + len(failed)) / max(len(clear), 1),
        "recheck_frac": sum(r["verdict"] == "recheck" for r in clear) / max(len(clear), 1),
    }


EDGES = {"weak": (0, 0.05, 0.1, 0.15, 0.2, 0.25, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 1.0),
         "off-line": (0, 2, 3, 4, 5, 6, 7, 8, 10, 12, 15, 20)}  # fmt: skip
"""Severity of a weak hole is the missing part of its wetted area; of an off-line one, degrees."""


def _severe(row: Row, kind: str) -> tuple[float, str]:
    """Severity of the one fault of a card, and the state its hole was given."""
    ratio, turn = np.array(row["true_ratio"]), np.abs(row["true_turn_deg"])
    hole = int(np.argmin(ratio) if kind == "weak" else np.argmax(turn))
    severity = float(1 - ratio[hole] if kind == "weak" else turn[hole])
    told = dict(zip(row.get("hole", []), row.get("state", []), strict=True)).get(hole + 1)
    if told is None:  # no plume was found there
        told = "blocked" if "blocked" in row.get("states", []) else "unsure"
    return max(severity, 0.0), told


def _severity(rows: list[Row], kind: str) -> list[dict[str, Any]]:
    found = [(*_severe(r, kind), r["verdict"]) for r in rows if r["fault"] == kind]
    out = []
    for low, high in zip(EDGES[kind][:-1], EDGES[kind][1:], strict=True):
        inside = [f for f in found if low <= f[0] < high]
        count = Counter(verdict for *_, verdict in inside)
        out.append(
            {"from": low, "to": high, "n": len(inside)}
            | {verdict: count[verdict] for verdict in ("pass", "recheck", "fail")}
        )
    return out


def _threshold(rows: list[Row], kind: str) -> dict[str, Any]:
    """Severity at which the faulty hole itself is named with 95 % probability."""
    found = [_severe(r, kind) for r in rows if r["fault"] == kind]
    if len(found) < 20:
        return {}
    faults = ("weak", "blocked", "off-line", "misshapen")
    trials = Trials(
        level=np.array([max(s, 1e-3) for s, _ in found]),
        noticed=np.array([float(state in faults) for _, state in found]),
        shown=np.ones(len(found)),
    )
    curve = fit_detection(trials)
    low, high = level_interval(trials, share=0.95)
    return {
        "value": curve.level_for(0.95),
        "low": low,
        "high": high if math.isfinite(high) else None,
        "half": curve.threshold,
        "lapse": curve.lapse,
        "unit": "missing part of the area" if kind == "weak" else "deg",
        "n": len(found),
    }


NOISE_EDGES = (0.0, 0.01, 0.02, 0.03, 0.04, 0.06, 0.09, 1.0)


def _blocked(rows: list[Row]) -> list[dict[str, Any]]:
    """How many blocked holes are named, by the noise of the wetness map on dry paper."""
    shown: Counter[int] = Counter()
    named: Counter[int] = Counter()
    for row in rows:
        if all(row["flowing"]) or "noise" not in row:
            continue
        place = int(np.searchsorted(NOISE_EDGES, row["noise"], side="right")) - 1
        blocked = len(row["flowing"]) - sum(row["flowing"])
        shown[place] += blocked
        # Holes of an even layout have no numbers of their own: their count is compared.
        named[place] += min(blocked, row["states"].count("blocked"))
    return [
        {"quality": "noise of dry paper, of full wetness", "from": NOISE_EDGES[k],
         "to": NOISE_EDGES[k + 1], "n": shown[k], "detected": named[k]}
        for k in sorted(shown)
    ]  # fmt: skip


# --- printing ------------------------------------------------------------------------------------


def _print(found: dict[str, Any]) -> None:
    print(f"{found['cards']} cards, seed {found['seed']}")
    print("\n95 % intervals that hold the truth")
    for what, families in found["coverage"].items():
        for family, f in families.items():
            print(
                f"  {what:10s} {family:9s} n {f['n']:5d}  {f['inside_frac']:6.1%}  rms error "
                f"{f['rms_error']:.3f}  median error {f['median_error']:.3f}  median stated "
                f"{f['median_u']:.3f} {QUANTITIES[what]}"
            )
    print("\nverdicts: pass / recheck / fail")
    table: dict[tuple[str, str, str], Counter[str]] = defaultdict(Counter)
    for v in found["verdicts"]:
        for family in (v["family"], "all"):
            table[family, v["fault"], v["truth"]][v["verdict"]] += v["count"]
    for (family, fault, truth), c in sorted(table.items()):
        print(
            f"  {family:9s} {fault:9s} {truth:7s} {c['pass']:4d} {c['recheck']:4d} {c['fail']:4d}"
        )
    wrong = found["wrong"]
    print(
        f"\nwrong outright {wrong['frac']:.2%} of {wrong['of']}: faulty passed "
        f"{wrong['faulty_passed']}, good failed {wrong['good_failed']}; "
        f"recheck {wrong['recheck_frac']:.1%}"
    )
    for kind, bins in found["severity"].items():
        print(f"\n{kind}: severity, cards, pass / recheck / fail; found at 95 %: "
              f"{found['threshold'][kind]}")  # fmt: skip
        for b in bins:
            print(f"  {b['from']:5g} to {b['to']:<5g} {b['n']:4d}   "
                  f"{b['pass']:4d} {b['recheck']:4d} {b['fail']:4d}")  # fmt: skip
    print("\nblocked holes named, by noise")
    for b in found["blocked_by_quality"]:
        print(f"  {b['from']:.2f} to {b['to']:.2f}  {b['detected']} of {b['n']}")


def _list(rows: Iterable[Row]) -> None:
    for row in rows:
        if (row["truth"], row["verdict"]) in (("good", "fail"), ("faulty", "pass")):
            print(row["number"], row["family"], row["fault"], row["truth"], row["verdict"],
                  row["codes"], row.get("states"))  # fmt: skip


if __name__ == "__main__":
    main()
