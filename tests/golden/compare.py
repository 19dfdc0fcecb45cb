"""Compare today's answers with the first freeze, over all groups, and print what differs.

    python tests/golden/compare.py [--against FOLDER...] [--groups NAME...] [--list] [--save FILE]

What is measured is the package that Python imports: run it from the checkout to be compared, or
name that in PYTHONPATH. Pictures that are not shipped are looked for in the folders given (by
digest); documents whose pictures are not there are counted as left out. Exit code 1 when something
differs that is not explained in ``renamed.py``.
"""

from __future__ import annotations

import argparse
import concurrent.futures
import json
import sys
from collections import Counter
from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))  # tests share small helper modules

from golden.differences import FAILING, FREE, Compared, compare
from golden.documents import GROUPS, SHIPPED, Golden, answer, digests, goldens

WORST = 12
"""Numbers listed in the table of the farthest movements."""


def _one(job: tuple[Golden, dict[str, Path]]) -> tuple[Golden, Compared | None]:
    import cv2

    cv2.setNumThreads(1)
    golden, pictures = job
    today = answer(golden, pictures)
    return golden, None if today is None else compare(golden, today)


def main(arguments: Sequence[str] | None = None) -> int:
    """Compare and print."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--against", metavar="FOLDER", nargs="+", type=Path, default=[])
    parser.add_argument("--groups", metavar="NAME", nargs="+", choices=GROUPS, default=GROUPS)
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--list", action="store_true", help="print every difference that fails")
    parser.add_argument("--save", metavar="FILE", type=Path, help="write every difference as JSON")
    args = parser.parse_args(arguments)
    import spraycheck

    print(f"package: {Path(spraycheck.__file__).parent}")
    pictures = digests([*SHIPPED, *args.against])
    jobs = [(golden, pictures) for golden in goldens(args.groups)]
    with concurrent.futures.ProcessPoolExecutor(args.jobs) as pool:
        results = list(pool.map(_one, jobs, chunksize=2))
    print(summary(results))
    differences = [d for _, compared in results if compared for d in compared.differences]
    if args.list:
        print(*(d for d in differences if d.fails), sep="\n")
    if args.save:
        args.save.write_text(json.dumps([asdict(d) for d in differences], indent=1, default=str))
    return int(any(d.fails for d in differences))


def summary(results: Sequence[tuple[Golden, Compared | None]]) -> str:
    """Return tables of all differences: by group, by key, and the farthest numbers."""
    sorts = (*FAILING, *FREE)
    head = f"{'group':10}{'documents':>10}{'left out':>9}{'alike':>7}{'numbers':>9}{'moved':>8}"
    lines = [head + "".join(f"{sort:>9}" for sort in sorts) + f"{'explained':>11}"]
    everything: list[tuple[str, list[Compared | None]]] = []
    for group in dict.fromkeys(golden.group for golden, _ in results):
        everything.append((group, [c for golden, c in results if golden.group == group]))
    everything.append(("all", [c for _, c in results]))
    for group, compared in everything:
        there = [c for c in compared if c is not None]
        counts = Counter(d.sort for c in there for d in c.differences if not d.reason)
        alike = sum(not any(d.fails for d in c.differences) for c in there)
        lines.append(
            f"{group:10}{len(there):10}{len(compared) - len(there):9}{alike:7}"
            f"{sum(c.numbers for c in there):9}{sum(c.moved for c in there):8}"
            + "".join(f"{counts[sort]:9}" for sort in sorts)
            + f"{sum(bool(d.reason) for c in there for d in c.differences):11}"
        )
    there = [c for _, c in results if c is not None]
    keys = Counter((d.sort, d.key) for c in there for d in c.differences if not d.reason)
    documents = Counter(
        (sort, key) for c in there for sort, key in {(d.sort, d.key) for d in c.differences}
    )
    if keys:
        lines += ["", f"{'sort':10}{'differences':>12}{'documents':>11}  key"]
        lines += [
            f"{sort:10}{count:12}{documents[sort, key]:11}  {key}"
            for (sort, key), count in sorted(keys.items(), key=lambda item: (item[0][0], -item[1]))
        ]
    verdicts = Counter(
        f"{d.old} -> {d.new}" for c in there for d in c.differences if d.key == "verdict"
    )
    if verdicts:
        lines += ["", "verdicts: " + ", ".join(f"{k} ({n})" for k, n in verdicts.most_common())]
    worst: dict[str, float] = {}
    for c in there:
        for key, ratio in c.ratios.items():
            worst[key] = max(ratio, worst.get(key, 0.0))
    if worst:
        lines += ["", "farthest movements, over what a number may move (1 = a tenth of u):"]
        farthest = sorted(worst.items(), key=lambda item: -item[1])[:WORST]
        lines += [f"{ratio:10.3g}  {key}" for key, ratio in farthest]
    return "\n".join(lines)


if __name__ == "__main__":
    sys.exit(main())
