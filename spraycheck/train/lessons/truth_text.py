"""What is true about a drawn card, in plain words and as a document."""

from __future__ import annotations

import math
import shlex
from collections.abc import Iterator
from pathlib import PurePath
from typing import Any, Final

from spraycheck.judge.limits import Limits
from spraycheck.report.words.numbers import clock_position
from spraycheck.simulate import CardTruth, TrueMark
from spraycheck.train.lessons.agreement import TrueState, true_states
from spraycheck.train.lessons.card_request import CardRequest
from spraycheck.train.lessons.requested_scene import RequestedScene

_NOZZLE: Final = {
    "even": "{n} equal holes, evenly spread",
    "slanted": "{n} holes of a nozzle that stands aslant by design",
    "two-row": "{n} holes in two rows",
    "pintle": "a pintle nozzle (hollow spray)",
    "single": "a single-hole nozzle (solid spray)",
}
_CENTRAL_FAULT: Final = {
    "lopsided": "most of the spray goes to one side",
    "streaky": "the spray runs in streaks",
    "not-hollow": "the hollow is filled up",
    "side-spray": "a jet goes past the spray",
    "off-centre": "the spray leans away from the nozzle's axis",
}
INVENTED: Final = "A computed picture for training: no injector sprayed it."


def headline(request: CardRequest) -> str:
    """Say in one line what was drawn."""
    return (
        f"{_NOZZLE[request.nozzle].format(n=request.holes)}; {request.fluid} fluid on "
        f"{request.paper} paper ({request.sheet}); {request.photo} photo; seed {request.seed}"
    )


def truth_lines(requested: RequestedScene, truth: CardTruth) -> Iterator[str]:
    """Tell the truth, line by line.

    Parameters
    ----------
    requested : RequestedScene
        What was drawn.
    truth : CardTruth
        What came of it.
    """
    if requested.layout is not None:
        states = true_states(truth, requested.layout, Limits())
        yield "  hole   points to   clock   gives   wets   off by   is"
        for hole, state in zip(truth.holes, states, strict=True):
            where = hole.expected_deg if math.isnan(hole.direction_deg) else hole.direction_deg
            turn = "     -" if math.isnan(state.deviation_deg) else f"{state.deviation_deg:+5.1f}°"
            numbers = f"{hole.flow_frac:5.0%}  {state.area_ratio:5.0%}   {turn}"
            yield (
                f"  {hole.hole:>4}   {where:8.1f}°   {clock_position(where):>5}  {numbers}   "
                f"{_in_words(hole.state, state)}"
            )
    if truth.central is not None:
        faults = [_CENTRAL_FAULT[fault] for fault in truth.central.faults]
        wrong = "; ".join(faults) if faults else "the spray is as it should be"
        yield f"  {wrong[0].upper()}{wrong[1:]}."
        yield (
            f"  Patch {truth.central.diameter_mm:.0f} mm across, "
            f"{truth.central.heavy_side_frac:.0%} of its fluid on the heavier half."
        )
    yield from (f"  {mark_in_words(mark)}" for mark in truth.marks if mark.kind != "central")
    if requested.request.tilt_deg:
        yield f"  {tilt_in_words(requested.request)}"


def tilt_in_words(request: CardRequest) -> str:
    """Tell how far the nozzle was from square."""
    return (
        f"The nozzle leans {request.tilt_deg:g}° towards {clock_position(request.tilt_to_deg)} on "
        "the clock: a matter of the set-up, not of the nozzle."
    )


def _in_words(drawn: str, judged: TrueState) -> str:
    """Say the state as drawn, and what the default limits make of it where that is less."""
    if drawn == judged.state:
        return drawn
    return judged.state if drawn == "clear" else f"slightly {drawn}, within the limits"


def mark_in_words(mark: TrueMark) -> str:
    """Tell something wet that is no hole's plume."""
    if mark.kind == "stray":
        return (
            f"A jet of no hole at {mark.direction_deg:.0f}° "
            f"({clock_position(mark.direction_deg)} on the clock), wetting {mark.area_mm2:.0f} mm²."
        )
    where = (
        "under the tip" if mark.kind == "drip" else f"at x {mark.x_mm:.0f}, y {mark.y_mm:.0f} mm"
    )
    return f"A {mark.kind} of {mark.volume_mm3:.1f} mm³ {where}, wetting {mark.area_mm2:.0f} mm²."


def measure_command(request: CardRequest, picture: str, nozzle_file: str = "") -> str:
    """Return the command line that measures the picture."""
    expected = ["--layout", nozzle_file] if nozzle_file else ["--holes", str(request.holes)]
    seen = str(PurePath(picture).with_name(f"{PurePath(picture).stem}-seen.png"))
    words = ["spraycheck", "measure", picture, *expected, "--sheet", request.sheet]
    return shlex.join([*words, "--overlay", seen])


def truth_document(requested: RequestedScene, truth: CardTruth, picture: str) -> dict[str, Any]:
    """Return everything true as plain values; NaN becomes None."""
    document: dict[str, Any] = {
        "kind": "spraycheck-demo",
        "picture": picture,
        "command": requested.request.command(picture),
        "note": INVENTED,
        "truth": truth.as_dict(),
    }
    if requested.layout is not None:
        document["within_default_limits"] = [
            {"hole": s.hole, "state": s.state, "area_ratio": s.area_ratio}
            for s in true_states(truth, requested.layout, Limits())
        ]
    return document


def nozzle_file_text(requested: RequestedScene) -> str:
    """Return the nozzle file of a layout that is not even.

    Returns
    -------
    str
        TOML, as ``spraycheck measure --layout`` reads it.
    """
    layout = requested.layout
    assert layout is not None
    lines = [f"# {INVENTED}", f'name = "{layout.name}"']
    for k, azimuth in enumerate(layout.azimuth_deg):
        lines += ["", "[[hole]]", f"azimuth_deg = {azimuth:.2f}"]
        lines.append(f"axis_angle_deg = {layout.axis_angle_deg[k]:.2f}")
        if not math.isnan(layout.diameter_mm[k]):
            lines += [f"diameter_mm = {layout.diameter_mm[k]:.4f}", f"row = {layout.row[k]}"]
    return "\n".join(lines) + "\n"
