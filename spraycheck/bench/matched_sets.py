"""Matched sets from a larger stock: as many as there are, each as even as can be; exact.

For pressure alone sorting is enough: sets lie side by side in the order of pressure. For pressure
and pattern together the choice is an integer programme, solved by branch and bound.

References
----------
.. [1] Q. Huangfu, J. A. J. Hall, Math. Program. Comput. 10 (2018) 119-142 (HiGHS, which
   ``scipy.optimize.milp`` calls).
"""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from spraycheck.arrays import Float
from spraycheck.bench.engine_set import OPENING, SAME, SetMember, check_members, values_of
from spraycheck.errors import InputError

if TYPE_CHECKING:
    from scipy.optimize import OptimizeResult

MOST_SECONDS: Final = 60.0
"""How long the search may go on (chosen: a technician waits as long); what was found by then is
given, and said to be not proved the best."""


@dataclass(frozen=True, kw_only=True)
class MatchedSets:
    """Sets made from a stock.

    Parameters
    ----------
    sets : tuple of tuple of str
        The injectors of each set, in the order of their pressures; lowest set first.
    left : tuple of str
        Those that are in none.
    spreads : tuple of mapping of str to float
        Of each set: largest less smallest, by name; opening pressures as ``set_spread_bar``.
    proved : bool
        Whether no better choice exists. False only where the time ran out.
    """

    sets: tuple[tuple[str, ...], ...]
    left: tuple[str, ...]
    spreads: tuple[Mapping[str, float], ...]
    proved: bool = True


def match_sets(
    stock: Sequence[SetMember],
    size: int,
    width_bar: float,
    *,
    pattern_limits: Mapping[str, float] | None = None,
    most_sets: int | None = None,
    most_seconds: float = MOST_SECONDS,
) -> MatchedSets:
    """Make as many sets as possible, and among those choices the most even ones.

    Parameters
    ----------
    stock : sequence of SetMember
        All there are.
    size : int
        Injectors in a set, 2 or more.
    width_bar : float
        Largest less smallest opening pressure allowed in a set.
    pattern_limits : mapping of str to float, optional
        The same of values of the patterns, by name as in `engine_set.WHOLE_PATTERN`.
    most_sets : int, optional
        How many sets are wanted; as many as there are when not given.
    most_seconds : float
        How long to search at most.

    Raises
    ------
    InputError
        A stock smaller than a set, an injector twice, or limits that cannot be.

    Notes
    -----
    Even means: the smallest sum, over sets and values, of spread over spread allowed.
    """
    check_members(stock, max(size, 2))
    widths = {OPENING: width_bar, **(pattern_limits or {})}
    if size < 2 or any(not width > 0 for width in widths.values()):
        raise InputError(
            f"sets of {size} within {', '.join(f'{name} {w:g}' for name, w in widths.items())}: "
            "expected two injectors or more, and limits above 0",
            "give the number of cylinders, and how far the highest may lie above the lowest",
        )
    columns = [[one.opening.mean_bar for one in stock]]
    columns += [[e.value for e in values_of(stock, name)] for name in pattern_limits or {}]
    values = np.array(columns).T / np.array(list(widths.values()))
    most = min(len(stock) // size, len(stock) if most_sets is None else most_sets)
    if values.shape[1] == 1:
        chosen, proved = _side_by_side(values[:, 0], size, most), True
    else:
        chosen, proved = _integer_programme(values, size, most, most_seconds)
    ordered = sorted(
        (sorted(one, key=lambda i: values[i, 0]) for one in chosen), key=lambda s: values[s[0], 0]
    )
    used = {i for one in ordered for i in one}
    raw = values * np.array(list(widths.values()))
    return MatchedSets(
        sets=tuple(tuple(stock[i].injector for i in one) for one in ordered),
        left=tuple(one.injector for i, one in enumerate(stock) if i not in used),
        spreads=tuple(
            {name: float(np.ptp(raw[one, d])) for d, name in enumerate(widths)} for one in ordered
        ),
        proved=proved,
    )


def _side_by_side(values: Float, size: int, most: int) -> list[list[int]]:
    """Choose sets among values in units of their limit, by dynamic programming in their order.

    Among choices of equally many sets within the limit there is a best one whose sets lie side by
    side: exchanging members so that one set lies below the other widens neither.
    """
    order = [int(i) for i in np.argsort(values, kind="stable")]
    v = values[order]
    # best[m][n]: least sum of spreads of m sets among the first n; infinite where there are fewer
    best = [np.zeros(len(v) + 1)]
    for m in range(1, most + 1):
        row = np.full(len(v) + 1, np.inf)
        for n in range(size, len(v) + 1):
            spread = v[n - 1] - v[n - size]
            take = best[m - 1][n - size] + spread if spread <= 1 + SAME else np.inf
            row[n] = min(row[n - 1], take)
        if np.isinf(row[-1]):
            break
        best.append(row)
    chosen, n = [], len(v)
    for m in range(len(best) - 1, 0, -1):
        while best[m][n] == best[m][n - 1]:
            n -= 1
        chosen.append(order[n - size : n])
        n -= size
    return chosen


def _integer_programme(
    values: Float, size: int, most: int, seconds: float
) -> tuple[list[list[int]], bool]:
    """Choose sets among rows of values in units of their limits.

    One binary per injector and set, one per set, and the ends of every value in every set. A set
    counts for more than all spreads together, so sets are made first and evened out second.
    """
    from scipy.optimize import Bounds, LinearConstraint, milp
    from scipy.sparse import csr_array

    count, kinds = values.shape
    v = values - values.min(axis=0)
    top = v.max(axis=0)
    x = np.arange(count * most).reshape(count, most)
    used = count * most + np.arange(most)
    low = used[-1] + 1 + np.arange(most * kinds).reshape(most, kinds)
    high = low[-1, -1] + 1 + np.arange(most * kinds).reshape(most, kinds)
    variables = int(high[-1, -1]) + 1
    rows: list[tuple[list[Any], list[float], float, float]] = []
    for i in range(count):
        rows.append((list(x[i]), [1.0] * most, 0.0, 1.0))
    clash = [
        (i, j)
        for i, j in itertools.combinations(range(count), 2)
        if (np.abs(v[i] - v[j]) > 1 + SAME).any()
    ]
    for s in range(most):
        rows.append(([*x[:, s], used[s]], [1.0] * count + [-float(size)], 0.0, 0.0))
        rows += [([x[i, s], x[j, s], used[s]], [1.0, 1.0, -1.0], -np.inf, 0.0) for i, j in clash]
        if s:  # sets in the order of their lowest pressure, unused ones last: no copies of a choice
            rows.append(([used[s - 1], used[s]], [1.0, -1.0], 0.0, np.inf))
            rows.append(([low[s - 1, 0], low[s, 0]], [1.0, -1.0], -np.inf, 0.0))
        for d in range(kinds):
            rows.append(([high[s, d], low[s, d]], [1.0, -1.0], 0.0, 1.0 + SAME))
            for i in range(count):
                rows.append(([high[s, d], x[i, s]], [1.0, -v[i, d]], 0.0, np.inf))
                rows.append(([low[s, d], x[i, s]], [1.0, top[d] - v[i, d]], -np.inf, top[d]))
    at = np.repeat(np.arange(len(rows)), [len(one[0]) for one in rows])
    matrix = csr_array(
        (
            np.concatenate([one[1] for one in rows]),
            (at, np.concatenate([one[0] for one in rows]).astype(int)),
        ),
        shape=(len(rows), variables),
    )
    cost = np.zeros(variables)
    cost[used] = -(most * kinds + 1.0)
    cost[high.ravel()], cost[low.ravel()] = 1.0, -1.0
    whole = np.zeros(variables, np.int8)
    whole[: int(used[-1]) + 1] = 1
    upper = np.concatenate([np.ones(int(used[-1]) + 1), np.tile(top, 2 * most)])
    found: OptimizeResult = milp(
        cost,
        integrality=whole,
        bounds=Bounds(0.0, upper),
        constraints=LinearConstraint(matrix, [one[2] for one in rows], [one[3] for one in rows]),
        options={"time_limit": seconds, "mip_rel_gap": 0.0},
    )
    if found.x is None:
        return [], False
    taken = found.x[x] > 0.5
    chosen = [[int(i) for i in np.flatnonzero(taken[:, s])] for s in range(most)]
    return [one for one in chosen if one], bool(found.status == 0)
