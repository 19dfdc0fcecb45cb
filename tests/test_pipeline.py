"""The pipeline's provenance: every parameter that can change a value is on record."""

from __future__ import annotations

from functools import partial

from spraycheck import Pipeline, map_wetness
from spraycheck.card.find import rectify_card


def parameters(pipeline: Pipeline, stage: str) -> dict[str, object]:
    stages = pipeline.describe()["stages"]
    assert isinstance(stages, dict)
    found: dict[str, object] = stages[stage]["parameters"]
    return found


def test_sequences_and_automatic_parameters_are_recorded() -> None:
    house = Pipeline()
    assert isinstance(parameters(house, "wetness")["windows_mm"], list)
    plain = Pipeline(rectify=rectify_card)
    assert parameters(plain, "rectify")["cell_mm"] is None


def test_a_changed_parameter_changes_the_record() -> None:
    # A batch tells by this record whether a photo must be scored again.
    other = Pipeline(wetness=partial(map_wetness, windows_mm=(100.0, 40.0)))
    assert parameters(other, "wetness")["windows_mm"] == [100.0, 40.0]
    assert other.describe() != Pipeline().describe()
