"""Intervals of counted shares, against another library."""

from __future__ import annotations

import pytest
from scipy import stats

from spraycheck.stats.proportion import wilson_interval


@pytest.mark.parametrize(("hits", "total"), [(0, 7), (7, 7), (1, 3), (40, 241), (5, 10_000)])
def test_the_interval_is_that_of_scipy(hits: int, total: int) -> None:
    theirs = stats.binomtest(hits, total).proportion_ci(method="wilson")
    assert wilson_interval(hits, total) == pytest.approx((theirs.low, theirs.high), abs=2e-5)


def test_nothing_tried_says_nothing() -> None:
    assert wilson_interval(0, 0) == (0.0, 1.0)
