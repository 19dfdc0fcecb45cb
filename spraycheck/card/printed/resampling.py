"""A fitted card, shown square-on and flat in linear light."""

from __future__ import annotations

import math
from typing import Final

import cv2
import numpy as np

from spraycheck import flags as flag
from spraycheck.arrays import Float, FloatMap
from spraycheck.card.containers import RectifiedCard
from spraycheck.card.printed.bending import BentCard
from spraycheck.card.printed.fitting import CardFit, px_per_mm_at
from spraycheck.card.printed.ink import without_print
from spraycheck.card.sheet.light import sample_linear
from spraycheck.card.spec import CardSpec, PrintedFacts
from spraycheck.card.target import CARD_VERSION, Artwork, Label
from spraycheck.photo.containers import Photo

UNMEASURED_U: Final = 0.006
"""Relative standard uncertainty of the printed scale when the check line was not measured: within
1 % either way, all equally likely, over root 3 (chosen; desk printers, no source)."""

MEASURED_U: Final = 0.0015
"""The same after measuring 100 mm with a rule read to a quarter of a millimetre: 0.25 / root 3."""

LARGE_RESIDUAL_MM: Final = 0.5
"""Above this the card is creased or torn, not curled: flagged (curled simulated cards stay below
0.3)."""

BLURRED_MM: Final = 1.3
"""Rise of a printed edge from which the photo counts as blurred. On simulated photos of growing
blur, directions and shares stayed inside their stated uncertainty up to a rise of 1.2 mm; from
1.4 mm on markers could no longer be read."""

RIM_MM: Final = 4.0
"""Rim that is not judged: printers place the picture on the sheet to 1 to 2 mm, and the sheet's
edge casts a shadow."""

SAME_SIZE_FRAC: Final = 0.02
"""Sides that were asked for and the print's, if they differ by no more, are the same: what a rule
or a trimmed edge leaves in doubt (chosen; A4 and letter, the two most alike, differ by 3 % one way
and 6 % the other)."""

_MAX_CELLS = 1.2e6
_COARSEST_PX_PER_MM = 2.0


def resample(
    photo: Photo, spec: CardSpec, fit: CardFit, label: Label | None, cell_mm: float | None
) -> RectifiedCard:
    """Show a fitted card square-on, its own print taken out, with all that was found about it.

    Parameters
    ----------
    photo : Photo
        Upright.
    spec : CardSpec
        Measured check lines.
    fit : CardFit
        Where the card is.
    label : Label or None
        What its QR code says; None when it could not be read.
    cell_mm : float or None
        Side of a cell; None chooses.
    """
    width, height = (2 * half for half in fit.bent.half_mm)
    probe = np.column_stack(
        [a.ravel() for a in np.meshgrid([-0.35 * width, 0, 0.35 * width],
                                        [-0.35 * height, 0, 0.35 * height])]
    )  # fmt: skip
    px_per_mm = float(np.median(px_per_mm_at(fit.bent, probe)))
    cell = cell_mm or max(
        0.25,
        math.sqrt(width * height / _MAX_CELLS),
        # A cell slightly smaller than a pixel keeps what the photo shows.
        min(0.9 * photo.decode_scale / px_per_mm, min(width, height) / 60),
    )
    cols, rows = max(8, int(width // cell)), max(8, int(height // cell))
    x = (np.arange(cols) - (cols - 1) / 2) * cell
    y = (np.arange(rows) - (rows - 1) / 2) * cell
    map_x, map_y = _maps(fit.bent, x, y)
    scale = photo.decode_scale
    linear = sample_linear(
        photo.rgb,
        (map_x + 0.5) / scale - 0.5,
        (map_y + 0.5) / scale - 0.5,
        max(1, math.floor(cell * px_per_mm / scale + 0.25)),
    )
    printed_x, printed_y = x / fit.stretch[0], y / fit.stretch[1]
    # A card that does not fit well (a picture cropped off its middle, a crease) has its ink beside
    # where it should be, by twice the residual here and there.
    smear = min(1.0, scale / px_per_mm) + min(4 * fit.residual_mm, 3.0)
    linear = without_print(linear, fit.card, printed_x, printed_y, blur_mm=smear)
    inside = (
        (map_x >= 0) & (map_x <= photo.width_px - 1) & (map_y >= 0) & (map_y <= photo.height_px - 1)
    )
    inside &= (np.abs(x) < width / 2 - RIM_MM)[None, :]
    inside &= (np.abs(y) < height / 2 - RIM_MM)[:, None]
    free = np.hypot(printed_x[None, :], printed_y[:, None]) < fit.card.free_mm
    corners = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * [width / 2, height / 2]
    relief = fit.bent.relief(np.concatenate([corners, probe]))
    u_mm = float(np.sqrt(np.mean(fit.bent.position_u_mm(probe) ** 2)))
    measured = (math.isfinite(spec.printed_x_mm), math.isfinite(spec.printed_y_mm))
    notes: list[str] = []  # the markers tell the focal length: nothing was assumed
    if not inside[free].all():
        notes.append(flag.SHEET_CROPPED)
    if float(np.ptp(relief)) > 0.02 * max(width, height):
        notes.append(flag.SHEET_CURLED)
    if fit.residual_mm > LARGE_RESIDUAL_MM:
        notes.append(flag.UNEVEN_CARD)
    if fit.bent.tilt_deg > 20:
        notes.append(flag.OBLIQUE)
    if px_per_mm < _COARSEST_PX_PER_MM:
        notes.append(flag.LOW_RESOLUTION)
    # Too blurred to tell is blurred as well.
    if not max(fit.edge_mm) <= BLURRED_MM:
        notes.append(flag.BLURRED)
    if label is None:
        notes.append(flag.LABEL_UNREAD)
    if not all(measured):
        notes.append(flag.SCALE_AS_PRINTED)
    sheet_asked = _another_size(spec, fit.card)
    if sheet_asked:
        notes.append(flag.SHEET_AS_PRINTED)
    label = label or Label(version=CARD_VERSION, paper=fit.card.paper)
    return RectifiedCard(
        linear_rgb=linear,
        inside=inside,
        map_x_px=map_x,
        map_y_px=map_y,
        cell_mm=cell,
        x0_mm=float(x[0]),
        y0_mm=float(y[0]),
        size_mm=(width, height),
        scale_known=True,
        found_by="printed-card",
        corners_px=fit.bent.project(corners),
        outline_px=fit.bent.project(_outline(corners)),
        geometry_u_mm=math.hypot(u_mm, fit.residual_mm / math.sqrt(2 * fit.markers)),
        # Printers feed the paper with another error than they write across it.
        aspect_u_frac=math.sqrt(2) * (MEASURED_U if all(measured) else UNMEASURED_U / 2),
        flags=tuple(notes),
        method=f"camera, lens and curl from {fit.markers} markers",
        printed=PrintedFacts(
            paper=fit.card.paper,
            version=label.version,
            label_read=flag.LABEL_UNREAD not in notes,
            job=label.job,
            injector=label.injector,
            markers_seen=fit.markers,
            markers_total=len(fit.card.markers),
            residual_mm=fit.residual_mm,
            scale_u_frac=MEASURED_U if all(measured) else UNMEASURED_U,
            printed_x_mm=spec.printed_x_mm,
            printed_y_mm=spec.printed_y_mm,
            edge_x_mm=fit.edge_mm[0],
            edge_y_mm=fit.edge_mm[1],
            sheet_asked=sheet_asked,
            index_u_deg=2 * math.degrees(u_mm / (0.35 * max(width, height))),
        ),
    )


def _another_size(spec: CardSpec, card: Artwork) -> str:
    """Return the size asked for where the card's print says another; empty otherwise."""
    if not spec.size_known:
        return ""
    asked = np.sort([spec.width_mm, spec.height_mm])
    says = np.sort([card.width_mm, card.height_mm])
    if np.allclose(asked, says, rtol=SAME_SIZE_FRAC, atol=0):
        return ""
    return spec.name if spec.name != CardSpec.name else f"{spec.width_mm:g}x{spec.height_mm:g}"


def _maps(bent: BentCard, x: Float, y: Float) -> tuple[FloatMap, FloatMap]:
    """Photo position of each cell: exact at every eighth, straight lines between.

    Over 8 cells a bend of 500 mm radius departs from its chord by a micrometre; cubic
    interpolation as OpenCV has it does not even reproduce a plain slope exactly."""
    cell = float(x[1] - x[0])
    nodes_x = x[0] + 8 * cell * (np.arange(len(x) // 8 + 3) - 1)
    nodes_y = y[0] + 8 * cell * (np.arange(len(y) // 8 + 3) - 1)
    grid = np.column_stack([a.ravel() for a in np.meshgrid(nodes_x, nodes_y)])
    nodes = bent.project(grid).reshape(len(nodes_y), len(nodes_x), 2).astype(np.float32)
    at_x = np.tile(np.arange(len(x), dtype=np.float32) / 8 + 1, (len(y), 1))
    at_y = np.tile((np.arange(len(y), dtype=np.float32) / 8 + 1)[:, None], (1, len(x)))
    maps = [
        np.asarray(
            cv2.remap(
                np.ascontiguousarray(nodes[..., k]), at_x, at_y, cv2.INTER_LINEAR,
                borderMode=cv2.BORDER_REPLICATE,
            ),
            np.float32,
        )
        for k in (0, 1)
    ]  # fmt: skip
    return maps[0], maps[1]


def _outline(corners: Float) -> Float:
    part = np.linspace(0, 1, 17)[:-1, None]
    return np.concatenate([(1 - part) * corners[k] + part * corners[(k + 1) % 4] for k in range(4)])
