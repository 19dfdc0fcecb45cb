"""What each stage of the pipeline made of a photo, a picture a stage.

Every function takes what the stage returned and gives the bytes of a picture. Lengths are mm on
the card, assumed ones where its scale is not known.
"""

from __future__ import annotations

import math
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from figures.canvas import bare, jpeg, plain, png
from spraycheck.arrays import Float
from spraycheck.card.containers import RectifiedCard
from spraycheck.constants import COVERAGE_FACTOR_95, WET_THRESHOLD_FRAC
from spraycheck.judge.limits import Limits
from spraycheck.judge.result import Result
from spraycheck.optics import srgb_encode
from spraycheck.photo.containers import Photo
from spraycheck.report.plots import AMBER, BLUE, GREEN, INK, MUTED, RED, figure
from spraycheck.spray.containers import NozzleCentre, PlumeCatalogue, PlumeSegmentation, WetnessMap

GRID_MM: Final = 20.0
"""Mesh of the net laid over photo and card (chosen: ten meshes across a hand-sized card)."""

MARKERS: Final = {
    "clear": ("o", GREEN), "weak": ("v", AMBER), "heavy": ("^", AMBER), "blocked": ("X", RED),
    "off-line": ("D", RED), "misshapen": ("P", RED), "unsure": ("s", MUTED),
}  # fmt: skip
"""State to marker and colour."""

_TONES: Final = ("#a9c9e3", "#f1d58f", "#bfe0cf", "#e5bfa9", "#cfc3e6", "#d9d9d9")


def draw_sheet(photo: Photo, card: RectifiedCard) -> bytes:
    """Draw the photo with the sheet found in it, and the same sheet made flat, under one net."""
    made, panes = figure(9.2, 4.6, columns=2)
    seen, flat = panes[0]
    rows, cols = photo.rgb.shape[:2]
    bare(seen).imshow(photo.rgb, extent=_photo_extent(photo))
    for line in _net(card):
        seen.plot(*card.to_photo(line).T, color="white", lw=0.8, alpha=0.9)
    outline = card.outline_px[np.isfinite(card.outline_px).all(axis=1)]
    if len(outline):
        seen.plot(*np.vstack([outline, outline[:1]]).T, color=BLUE, lw=2.2)
    seen.set_xlim(-0.5, photo.width_px - 0.5)
    seen.set_ylim(photo.height_px - 0.5, -0.5)
    seen.set_title(f"the photo, {cols} × {rows} pixels: the sheet found", loc="left", fontsize=10)
    _paper(flat, card)
    for line in _net(card):
        flat.plot(*line.T, color="white", lw=0.8, alpha=0.9)
    unit = "mm" if card.scale_known else "mm (assumed)"
    flat.set_title(f"square-on and flat; a net of {GRID_MM:g} {unit}", loc="left", fontsize=10)
    return jpeg(made)


def draw_wetness(wet: WetnessMap, at_y_mm: float) -> bytes:
    """Draw the wetness map with the edge of wetted paper, and a cut through it.

    Parameters
    ----------
    wet : WetnessMap
        From stage 2.
    at_y_mm : float
        Where the cut runs, level across the card.
    """
    made, panes = figure(9.2, 4.4, columns=2, width_ratios=(1.0, 1.15))
    view, cut = panes[0]
    shown = view.imshow(wet.smooth, extent=_extent(wet.card), cmap="Blues", vmin=0, vmax=1)
    view.contour(*_axes_mm(wet.card), wet.smooth, levels=[WET_THRESHOLD_FRAC], colors=RED,
                 linewidths=1.2)  # fmt: skip
    view.axhline(at_y_mm, color=INK, lw=1, ls="--")
    _frame(view, wet.card)
    view.set_title("wetness: 0 dry, 1 full", loc="left", fontsize=10)
    made.colorbar(shown, ax=view, shrink=0.8)
    x, _ = _axes_mm(wet.card)
    row = int(np.clip(wet.card.to_cells(np.array([[0.0, at_y_mm]]))[0, 1], 0, len(wet.wetness) - 1))
    plain(cut).plot(x, wet.wetness[row], color="#b9b2a3", lw=0.7, label="as measured")
    cut.plot(x, wet.smooth[row], color=BLUE, lw=1.6, label="smoothed, for finding")
    cut.axhline(WET_THRESHOLD_FRAC, color=RED, lw=1.2, ls="--")
    cut.annotate(f"wetted from {WET_THRESHOLD_FRAC:g} on", (x[0], WET_THRESHOLD_FRAC), (2, 4),
                 textcoords="offset points", color=RED, fontsize=9)  # fmt: skip
    cut.set_ylim(-0.2, 1.35)
    cut.set_xlim(x[0], x[-1])
    cut.set_xlabel("mm along the dashed line")
    cut.set_title("along the dashed line", loc="left", fontsize=10)
    cut.legend(frameon=False, fontsize=9, loc="upper right")
    return jpeg(made)


def draw_centre(wet: WetnessMap, centre: NozzleCentre, rows: PlumeCatalogue) -> bytes:
    """Draw the plumes' axes, the ring they lie on, and where they meet, near to and from afar."""
    made, panes = figure(9.2, 4.6, columns=2)
    foot = np.array([centre.x_mm, centre.y_mm])
    near = max(4 * centre.u95_mm, 3.0)
    for pane, reach in zip(panes[0], (1.45 * float(np.nanmax(rows.reach_mm)), near), strict=True):
        _paper(pane, wet.card)
        for middle, axis in zip(rows.centroid_mm, rows.axis_deg, strict=True):
            along = np.array([math.sin(math.radians(axis)), -math.cos(math.radians(axis))])
            line = middle - along * (np.linalg.norm(middle - foot) * 1.12)
            pane.plot(*np.vstack([middle, line]).T, color=BLUE, lw=1.3)
        if math.isfinite(centre.ring_radius_mm):
            ring = foot + np.array(centre.ring_offset_mm)
            pane.add_patch(_circle(ring, centre.ring_radius_mm, ls=":", ec=INK, lw=1.2))
        pane.add_patch(_circle(foot, centre.u95_mm, ec=RED, lw=1.6))
        pane.plot(*foot, "+", color=RED, ms=14, mew=1.8)
        pane.set_xlim(foot[0] - reach, foot[0] + reach)
        pane.set_ylim(foot[1] + reach, foot[1] - reach)
    panes[0, 0].set_title("axes of the plumes (blue), their ring (dots)", loc="left", fontsize=10)
    panes[0, 1].set_title(
        f"the middle, enlarged: red circle ±{centre.u95_mm:.2f} mm (95 %)", loc="left", fontsize=10
    )
    return jpeg(made)


def draw_plumes(
    wet: WetnessMap, segmentation: PlumeSegmentation, centre: NozzleCentre, rows: PlumeCatalogue
) -> bytes:
    """Draw which cell belongs to which plume, numbered, and what is wet but no plume."""
    made, panes = figure(6.2, 5.6)
    pane = panes[0, 0]
    _paper(pane, wet.card, faint=True)
    x, y = _axes_mm(wet.card)
    shade = np.ones((*segmentation.labels.shape, 4)) * [1.0, 1.0, 1.0, 0.0]
    for label in range(1, segmentation.count + 1):
        tone = _TONES[(label - 1) % len(_TONES)]
        shade[segmentation.core & (segmentation.labels == label)] = [*_rgb(tone), 0.85]
    pane.imshow(shade, extent=_extent(wet.card))
    pane.contour(x, y, segmentation.core.astype(float), levels=[0.5], colors=INK, linewidths=0.9)
    foot = np.array([centre.x_mm, centre.y_mm])
    for number, (middle, reach) in enumerate(
        zip(rows.centroid_mm, rows.reach_mm, strict=True), start=1
    ):
        way = (middle - foot) / np.linalg.norm(middle - foot)
        pane.plot(*np.vstack([foot, middle]).T, color=BLUE, lw=0.9)
        pane.text(*(foot + way * (reach + 7)), str(number), ha="center", va="center", fontsize=12)
    for mark in segmentation.marks:
        pane.plot(mark.x_mm, mark.y_mm, "x", color=RED, ms=7, mew=1.5)
        pane.annotate(mark.kind, (mark.x_mm, mark.y_mm), (5, 3), textcoords="offset points",
                      color=RED, fontsize=8)  # fmt: skip
    pane.plot(*foot, "+", color=INK, ms=12, mew=1.5)
    marks = len(segmentation.marks)
    other = f"; {marks} wet mark{'' if marks == 1 else 's'} that is none (×)" if marks else ""
    pane.set_title(f"{segmentation.count} plumes{other}", loc="left", fontsize=10)
    return jpeg(made)


def draw_holes(assessment: Result) -> bytes:
    """Draw direction and area of every hole with uncertainty and limits, as PNG."""
    limits = assessment.limits
    assert isinstance(limits, Limits)
    made, panes = figure(9.2, 3.6, columns=2)
    turn, area = panes[0]
    for pane, name, factor in ((turn, "deviation_deg", 1.0), (area, "area_ratio", 100.0)):
        u = name.replace("_deg", "_u_deg") if name.endswith("_deg") else f"{name}_u"
        plain(pane)
        for hole in assessment.holes:
            value, spread = getattr(hole, name), getattr(hole, u)
            if not math.isfinite(value):
                pane.annotate(hole.state, (hole.hole, 0), ha="center", va="center", color=RED,
                              fontsize=9)  # fmt: skip
                continue
            marker, colour = MARKERS[hole.state]
            # A blocked hole's area is 0 without a spread of its own.
            bar = factor * spread if math.isfinite(spread) else 0.0
            pane.errorbar(hole.hole, factor * value, bar, marker=marker, ms=8, color=colour,
                          elinewidth=1.6, capsize=3)  # fmt: skip
            if hole.state != "clear":
                pane.annotate(hole.state, (hole.hole, factor * value), (9, 6), fontsize=9,
                              textcoords="offset points", color=colour)  # fmt: skip
        pane.set_xticks([hole.hole for hole in assessment.holes])
        pane.set_xlim(0.4, len(assessment.holes) + 0.8)
        pane.set_xlabel("hole")
    for edge in (-limits.direction_deg, limits.direction_deg):
        turn.axhline(edge, color=RED, lw=1, ls="--")
    for ratio in (limits.area_low_ratio, limits.area_high_ratio):
        area.axhline(100 * ratio, color=RED, lw=1, ls="--")
    turn.set_ylim(-2.2 * limits.direction_deg, 2.2 * limits.direction_deg)
    area.set_ylim(bottom=-8)
    turn.set_title("off its line (degrees); dashed: the limits", loc="left", fontsize=10)
    area.set_title("wets, of what it should (%); dashed: the limits", loc="left", fontsize=10)
    return png(made)


def draw_bells(assessment: Result) -> bytes:
    """Draw where the true area of each hole may lie, one bell a hole, against the limits, as PNG.

    A bell is the normal distribution about the reading; the part of it beyond a limit is hatched
    and its share written beside it.
    """
    limits = assessment.limits
    assert isinstance(limits, Limits)
    low, high = 100 * limits.area_low_ratio, 100 * limits.area_high_ratio
    holes, right = assessment.holes, max(165.0, 1.25 * high)
    made, panes = figure(9.2, 1.0 + 0.62 * len(holes))
    pane = plain(panes[0, 0], grid="x")
    for row, hole in enumerate(reversed(holes)):
        value, u = 100 * hole.area_ratio, 100 * hole.area_ratio_u / COVERAGE_FACTOR_95
        if not (math.isfinite(u) and u > 0):
            note = "no plume: nothing to weigh" if hole.state == "blocked" else "not known"
            pane.annotate(note, (value if math.isfinite(value) else 0, row + 0.12), fontsize=9)
            continue
        t = value + u * np.linspace(-4.5, 4.5, 361)
        bell = row + 0.82 * np.exp(-0.5 * ((t - value) / u) ** 2)
        pane.plot(t, bell, color=INK, lw=1.3)
        pane.fill_between(t, row, bell, where=((t < low) | (t > high)).tolist(), color=RED,
                          alpha=0.3, hatch="///")  # fmt: skip
        outside = _below((low - value) / u) + _below((value - high) / u)
        pane.annotate(f"{100 * outside:.0f} % beyond", (right, row + 0.12), fontsize=9, ha="right")
    for edge in (low, high):
        pane.axvline(edge, color=RED, lw=1.2, ls="--")
    pane.set_yticks(range(len(holes)), [f"hole {h.hole}: {h.state}" for h in reversed(holes)])
    pane.set_ylim(-0.15, len(holes))
    pane.set_xlim(-5, right + 1)
    pane.set_title("wetted area, of what the hole should wet (%); dashed: the limits", loc="left",
                   fontsize=10)  # fmt: skip
    return png(made)


def _below(z: float) -> float:
    return 0.5 * math.erfc(-z / math.sqrt(2))


# -- shared --------------------------------------------------------------------------------------


def _photo_extent(photo: Photo) -> tuple[float, float, float, float]:
    return -0.5, photo.width_px - 0.5, photo.height_px - 0.5, -0.5


def _axes_mm(card: RectifiedCard) -> tuple[Float, Float]:
    rows, cols = card.inside.shape
    return (
        card.x0_mm + card.cell_mm * np.arange(cols),
        card.y0_mm + card.cell_mm * np.arange(rows),
    )


def _extent(card: RectifiedCard) -> tuple[float, float, float, float]:
    x, y = _axes_mm(card)
    half = card.cell_mm / 2
    return x[0] - half, x[-1] + half, y[-1] + half, y[0] - half


def _paper(pane: Any, card: RectifiedCard, *, faint: bool = False) -> None:
    light = srgb_encode(np.clip(card.linear_rgb, 0, 1).astype(float))
    light = np.where(card.inside[..., None], light, 0.92)
    pane.imshow(0.45 * light + 0.55 if faint else light, extent=_extent(card))
    _frame(pane, card)


def _frame(pane: Any, card: RectifiedCard) -> None:
    pane.set_aspect("equal")
    pane.tick_params(labelsize=8, colors=MUTED)
    pane.spines[:].set_color(MUTED)
    pane.set_xlim(*_extent(card)[:2])
    pane.set_ylim(*_extent(card)[2:])


def _net(card: RectifiedCard) -> list[NDArray[np.float64]]:
    half_x, half_y = card.size_mm[0] / 2, card.size_mm[1] / 2
    lines = []
    for k in np.arange(-math.floor(half_x / GRID_MM), half_x / GRID_MM):
        y = np.linspace(-half_y, half_y, 60)
        lines.append(np.column_stack([np.full_like(y, k * GRID_MM), y]))
    for k in np.arange(-math.floor(half_y / GRID_MM), half_y / GRID_MM):
        x = np.linspace(-half_x, half_x, 60)
        lines.append(np.column_stack([x, np.full_like(x, k * GRID_MM)]))
    return lines


def _circle(middle: NDArray[np.float64], radius: float, **style: Any) -> Any:
    from matplotlib.patches import Circle

    return Circle((float(middle[0]), float(middle[1])), radius, fill=False, **style)


def _rgb(colour: str) -> tuple[float, float, float]:
    from matplotlib.colors import to_rgb

    return to_rgb(colour)
