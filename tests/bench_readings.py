"""Readings at the bench for tests: invented gauges, pops and opening pressures."""

from __future__ import annotations

from datetime import date
from typing import Any

from spraycheck.bench.gauge import Gauge
from spraycheck.bench.opening import OpeningPressure, OpeningReadings
from spraycheck.units import Pressure

DAY = date(2026, 3, 17)


def bar(value: float) -> Pressure:
    return Pressure(value=value, unit="bar")


def gauge(**changed: Any) -> Gauge:
    given = {
        "name": "tester 1",
        "full_scale": bar(400),
        "class_percent": 1.0,
        "step": bar(2),
        "calibration_due": date(2026, 12, 31),
    }
    return Gauge(**{**given, **changed})


def pops(*values: float, **changed: Any) -> OpeningReadings:
    given = {"pops": tuple(bar(v) for v in values), "gauge": gauge(), "on": DAY}
    return OpeningReadings(**{**given, **changed})


def opening(mean_bar: float, sigma_bar: float = 1.0, **changed: Any) -> OpeningPressure:
    """An opening pressure whose own uncertainty is known for certain (many pops, fine step)."""
    given = {
        "mean_bar": mean_bar,
        "lowest_bar": mean_bar,
        "pops": 10_000,
        "sigma_pops_bar": sigma_bar,
        "step_bar": 0.0,
        "sigma_gauge_bar": 0.0,
        "gauge": "tester 1",
    }
    return OpeningPressure(**{**given, **changed})
