"""What the tool says about a drawn photo: the one place where lessons and quiz touch its result."""

from __future__ import annotations

import io
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from spraycheck.errors import MeasurementError
from spraycheck.judge.layout import Layout
from spraycheck.judge.limits import Limits
from spraycheck.report.words.numbers import clock_position
from spraycheck.train.encoding import picture_bytes

if TYPE_CHECKING:
    from spraycheck.judge.result import Hole, Result


@dataclass(frozen=True, kw_only=True)
class ToolAnswer:
    """The tool's result for a photo, or why there is none.

    Parameters
    ----------
    result : Result or None
        None when the photo could not be measured.
    trouble, hint : str
        Why not and what to try; empty otherwise.
    """

    result: Result | None
    trouble: str = ""
    hint: str = ""

    @property
    def verdict(self) -> str:
        """``pass``, ``fail``, ``recheck``, or ``failed`` when it could not be measured."""
        return "failed" if self.result is None else str(self.result.verdict)

    @property
    def limits(self) -> Limits:
        """What the holes were held to; the defaults when it could not be measured."""
        limits = None if self.result is None else self.result.limits
        return limits if isinstance(limits, Limits) else Limits()

    @property
    def holes(self) -> Sequence[Hole]:
        """The judged holes; none when it could not be measured."""
        return () if self.result is None else self.result.holes

    @property
    def stray_deg(self) -> tuple[float, ...]:
        """Directions of plumes that belong to no hole."""
        if self.result is None:
            return ()
        directions = self.result.catalogue.direction_deg
        return tuple(float(directions[plume - 1]) for plume in self.result.strays)

    @property
    def codes(self) -> frozenset[str]:
        """Codes of its findings."""
        return frozenset(() if self.result is None else (f.code for f in self.result.findings))

    @property
    def reason(self) -> str:
        """What decided, in a line."""
        from spraycheck.report.model.holes import explain_verdict

        if self.result is None:
            return f"{self.trouble} ({self.hint})"
        return "; ".join(explain_verdict(self.result))

    def lines(self) -> list[str]:
        """Say the verdict and the numbers, a line each, the second on a table of holes."""
        from spraycheck.report.model.holes import count_in_words, pattern_fits
        from spraycheck.report.words.numbers import signed

        if self.result is None:
            return [f"The tool cannot measure this photo: {self.trouble}"]
        lines = [f"{self.verdict.upper()}: {count_in_words(self.result)}; {self.reason}"]
        if not pattern_fits(self.result):
            return lines
        lines.append(f"{'hole':>4}  {'clock':>5}  {'off by':>12}  {'wets':>11}  state")
        for hole in self.holes:
            off = wets = "-"
            if math.isfinite(hole.deviation_deg):
                off = f"{signed(hole.deviation_deg)}° ± {hole.deviation_u_deg:.1f}"
            if math.isfinite(hole.area_ratio):
                wets = f"{hole.area_ratio:.0%}"
                wets += f" ± {hole.area_ratio_u:.0%}" if math.isfinite(hole.area_ratio_u) else ""
            clock = clock_position(hole.expected_deg)
            lines.append(f"{hole.hole:>4}  {clock:>5}  {off:>12}  {wets:>11}  {hole.state}")
        return lines + [
            f"   -  {clock_position(at):>5}  outside the pattern" for at in self.stray_deg
        ]

    def overlay(self, max_side_px: int, *, table: bool = True) -> NDArray[np.uint8] | None:
        """Draw what the tool saw; None when the photo could not be measured.

        Parameters
        ----------
        max_side_px : int
            Longer side of the picture.
        table : bool
            Show the list of holes below; without it the whole photo is shown.
        """
        from spraycheck.report.overlay import compose_overlay

        if self.result is None:
            return None
        drawn = compose_overlay(self.result, max_side_px=max_side_px, whole_photo=not table)
        return drawn.image if table else drawn.image[: int(drawn.photo.bottom)]


def ask_tool(
    rgb: NDArray[np.uint8],
    focal_35mm: float,
    *,
    holes: int | None = None,
    layout: Layout | None = None,
    sheet: str | None = None,
) -> ToolAnswer:
    """Let the tool judge a drawn photo as a file of it would be: compressed, with its focal length.

    Parameters
    ----------
    rgb : (H, W, 3) ndarray of uint8
        The photo.
    focal_35mm : float
        Of the camera.
    holes, layout, sheet
        As of `measure_photo`.
    """
    from spraycheck.measuring import measure_photo
    from spraycheck.photo import photo_from_array

    with Image.open(io.BytesIO(picture_bytes(rgb))) as image:
        photo = photo_from_array(np.asarray(image.convert("RGB")))
    photo = replace(photo, focal_35mm=focal_35mm, flags=())
    try:
        return ToolAnswer(result=measure_photo(photo, holes=holes, layout=layout, sheet=sheet))
    except MeasurementError as error:
        return ToolAnswer(result=None, trouble=str(error), hint=error.hint)
