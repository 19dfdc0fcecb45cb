"""The pipeline's provenance: every parameter that can change a value is on record."""

from __future__ import annotations

import dataclasses
from functools import partial

import pytest

from spraycheck import MeasureSettings, Pipeline, PlumeSettings, WetnessSettings, map_wetness
from spraycheck.card.sheet import rectify_card


def parameters(pipeline: Pipeline, stage: str) -> dict[str, object]:
    stages = pipeline.describe()["stages"]
    assert isinstance(stages, dict)
    found: dict[str, object] = stages[stage]["parameters"]
    return found


def test_sequences_and_automatic_parameters_are_recorded() -> None:
    house = Pipeline()
    settings = parameters(house, "wetness")["settings"]
    assert isinstance(settings, dict)
    assert isinstance(settings["windows_mm"], list)
    plain = Pipeline(rectify=rectify_card)
    assert parameters(plain, "rectify")["cell_mm"] is None


def test_a_changed_parameter_changes_the_record() -> None:
    # A batch tells by this record whether a photo must be scored again.
    settings = WetnessSettings(windows_mm=(100.0, 40.0))
    other = Pipeline(wetness=partial(map_wetness, settings=settings))
    recorded = parameters(other, "wetness")["settings"]
    assert isinstance(recorded, dict)
    assert recorded["windows_mm"] == [100.0, 40.0]
    assert other.describe() != Pipeline().describe()


@pytest.mark.parametrize(
    ("stage", "kind"),
    [("wetness", WetnessSettings), ("segment", PlumeSettings), ("measure", MeasureSettings)],
)
def test_every_number_of_a_stage_is_recorded(stage: str, kind: type) -> None:
    recorded = parameters(Pipeline(), stage)["settings"]
    assert isinstance(recorded, dict)
    assert set(recorded) == {field.name for field in dataclasses.fields(kind)}
    assert all(value is not None for value in recorded.values())
