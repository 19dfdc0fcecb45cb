"""What a maker asks of an injector at the bench, in one hand; a nozzle file fills it."""

from __future__ import annotations

from dataclasses import dataclass

from spraycheck.bench.leakage import BackLeakageSpecification
from spraycheck.bench.opening import OpeningTarget
from spraycheck.bench.seat import HoldSpecification
from spraycheck.bench.spacers import SpacerSpecification
from spraycheck.judge.injector import REQUIRED, BenchTest


@dataclass(frozen=True, kw_only=True)
class BenchSpecification:
    """Set-points of the bench test; None for what is not known.

    Parameters
    ----------
    opening : OpeningTarget or None
        Window of the opening pressure.
    hold : HoldSpecification or None
        How the seat is held.
    back_leakage : BackLeakageSpecification or None
        What may pass the needle.
    spacers : SpacerSpecification or None
        Sizes, gain, stacking.
    """

    opening: OpeningTarget | None = None
    hold: HoldSpecification | None = None
    back_leakage: BackLeakageSpecification | None = None
    spacers: SpacerSpecification | None = None

    @property
    def required(self) -> tuple[BenchTest, ...]:
        """What the injector has to pass: back leakage too, where the maker limits it."""
        if self.back_leakage is None:
            return REQUIRED
        return tuple(one for one in BenchTest if one in (*REQUIRED, BenchTest.BACK_LEAKAGE))
