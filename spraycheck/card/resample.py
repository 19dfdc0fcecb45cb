"""The fitted sheet on a regular grid: where each cell lies in the photo, its linear light."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np

from spraycheck import flags as flag
from spraycheck.arrays import Float, FloatMap, Mask
from spraycheck.card.containers import RectifiedCard
from spraycheck.card.fit import ASSUMED_LONG_MM, FittedCard, FittedSheet
from spraycheck.card.printed_ink import without_print
from spraycheck.card.sampling import sample_linear
from spraycheck.card.spec import CardSpec, PrintedFacts
from spraycheck.card.surface import side_positions
from spraycheck.card.target import CARD_VERSION, Artwork, Label
from spraycheck.flags import Flags
from spraycheck.photo.containers import Photo


@dataclass(frozen=True, kw_only=True)
class GridSettings:
    """How finely a card is shown, and from where on it is flagged.

    Parameters
    ----------
    finest_sheet_mm, finest_print_mm : float
        Finest cell of a plain sheet (the edge of a wet patch is blurred over more by the paper
        itself; chosen) and of a printed card, whose thin lines have to be taken out.
    most_cells : float
        Keeps the later stages within their time (A4 at 0.25 mm: 1.0 million).
    cell_px : float
        Cell over the decoded pixel: slightly smaller keeps what the photo shows (chosen).
    least_across : float
        Least cells across a sheet, however coarse the photo (chosen).
    node_cells : int
        The map is computed at every this many cells and is linear between. Across 3 mm a map's
        slope changes by about a percent at most (perspective at 45 degrees from 300 mm), so a cell
        is off by a hundredth of a cell at most. A power of two: OpenCV interpolates in 32nds.
    coarse_px_per_mm : float
        Fewer photo pixels per mm are flagged: a plume 10 mm wide is then under 20 px (chosen).
    oblique_deg : float
        Views further off square are flagged; up to 35 degrees is meant to work (chosen).
    curled_frac : float
        Relief beyond this share of the long side is flagged: about 3 mm on A4 (chosen).
    no_sheet_u_mm, no_sheet_aspect_u : float
        Without a sheet: a camera held by hand over a card is within about 15 degrees of square-on;
        the cosine squeezes one direction by 3.4 %, which moves points 60 mm out by 2 mm.
    unmeasured_u, measured_u : float
        Relative standard uncertainty of the printed scale: within 1 % either way, all equally
        likely, over root 3 (chosen; desk printers, no source); and after measuring 100 mm with a
        rule read to a quarter of a millimetre: 0.25 / root 3.
    uneven_mm : float
        Marker residual from which a card is creased or torn, not curled: flagged (curled simulated
        cards stay below 0.3).
    blurred_mm : float
        Rise of a printed edge from which the photo counts as blurred. On simulated photos of
        growing blur, directions and shares stayed inside their stated uncertainty up to a rise of
        1.2 mm; from 1.4 mm on markers could no longer be read.
    rim_mm : float
        Rim of a printed card that is not judged: printers place the picture on the sheet to 1 to
        2 mm, and the sheet's edge casts a shadow.
    same_size_frac : float
        Sides that were asked for and the print's, if they differ by no more, are the same: what a
        rule or a trimmed edge leaves in doubt (chosen; A4 and letter, the two most alike, differ
        by 3 % one way and 6 % the other).
    smear_residuals, most_smear_mm : float
        A card that does not fit well has its ink beside where it should be: by up to twice the
        residual to either side; never more than the white around a marker (chosen).
    index_arm : float
        The index arrow's direction rests on marks this share of the long side from the middle.
    """

    finest_sheet_mm: float = 0.4
    finest_print_mm: float = 0.25
    most_cells: float = 1.2e6
    cell_px: float = 0.9
    least_across: float = 60.0
    node_cells: int = 8
    coarse_px_per_mm: float = 2.0
    oblique_deg: float = 20.0
    curled_frac: float = 0.01
    no_sheet_u_mm: float = 2.0
    no_sheet_aspect_u: float = 0.034
    unmeasured_u: float = 0.006
    measured_u: float = 0.0015
    uneven_mm: float = 0.5
    blurred_mm: float = 1.3
    rim_mm: float = 4.0
    same_size_frac: float = 0.02
    smear_residuals: float = 4.0
    most_smear_mm: float = 3.0
    index_arm: float = 0.35


def show_sheet(
    photo: Photo, sheet: FittedSheet, sides: int, cell_mm: float | None, settings: GridSettings
) -> RectifiedCard:
    """Flatten a plain sheet.

    Parameters
    ----------
    photo : Photo
        Upright.
    sheet : FittedSheet
        From `fit.fit_sheet`.
    sides : int
        How many sides the fit saw.
    cell_mm : float or None
        Side of a cell; chosen by the photo's resolution when None.
    settings : GridSettings
        Cell and flags.
    """
    grid = _grid(photo, sheet, cell_mm, settings.finest_sheet_mm, settings)
    outline = sheet.surface.project(*_rim(32))
    size_px = np.array([photo.width_px, photo.height_px])
    cropped = sides < 4 or bool(((outline < -0.5) | (outline > size_px - 0.5)).any())
    notes = [*sheet.flags]
    if cropped:
        notes.append(flag.SHEET_CROPPED)
    notes += _view_flags(sheet, grid, settings)
    probes = _probes()
    u = sheet.surface.distortion_u(*probes, scale_known=sheet.scale_known)
    return RectifiedCard(
        **grid.fields(photo),
        size_mm=sheet.size_mm,
        scale_known=sheet.scale_known,
        found_by="sheet-cropped" if cropped else "sheet",
        corners_px=sheet.surface.project(*_rim(1)),
        outline_px=outline,
        geometry_u_mm=sheet.unit_mm * u,
        aspect_u_frac=sheet.surface.aspect_u_log,
        flags=tuple(notes),
        method=f"pose, focal length, lens and curl from {sides} sides",
        surface=sheet.surface,
    )


def show_whole(photo: Photo, cell_mm: float | None, settings: GridSettings) -> RectifiedCard:
    """Take the photo itself for the card, seen square-on; its long side is the assumed one."""
    mm_per_px = ASSUMED_LONG_MM / max(photo.width_px, photo.height_px)
    size = (photo.width_px * mm_per_px, photo.height_px * mm_per_px)
    cell = _cell(
        size, 1 / mm_per_px / photo.decode_scale, cell_mm, settings.finest_sheet_mm, settings
    )
    x, y = _centres(size, cell)
    map_x = np.broadcast_to((x / mm_per_px + (photo.width_px - 1) / 2), (len(y), len(x)))
    map_y = np.broadcast_to((y / mm_per_px + (photo.height_px - 1) / 2)[:, None], map_x.shape)
    grid = _Grid(
        x_mm=x,
        y_mm=y,
        map_x=np.ascontiguousarray(map_x, np.float32),
        map_y=np.ascontiguousarray(map_y, np.float32),
        px_per_mm=1 / mm_per_px,
        cell_mm=cell,
    )
    return RectifiedCard(
        **grid.fields(photo),
        size_mm=size,
        scale_known=False,
        found_by="none",
        corners_px=np.full((4, 2), np.nan),
        outline_px=np.empty((0, 2)),
        geometry_u_mm=settings.no_sheet_u_mm,
        aspect_u_frac=settings.no_sheet_aspect_u,
        flags=(flag.NO_SHEET, flag.NO_SCALE),
        method="photo taken as square-on",
    )


def show_print(
    photo: Photo,
    spec: CardSpec,
    fit: FittedCard,
    label: Label | None,
    cell_mm: float | None,
    settings: GridSettings,
) -> RectifiedCard:
    """Show a printed card square-on, its own print taken out, with all that was found about it.

    Parameters
    ----------
    photo : Photo
        Upright.
    spec : CardSpec
        Measured check lines.
    fit : FittedCard
        Where the card is.
    label : Label or None
        What its QR code says; None when it could not be read.
    cell_mm : float or None
        Side of a cell; None chooses.
    settings : GridSettings
        Cell and flags.
    """
    grid = _grid(photo, fit, cell_mm, settings.finest_print_mm, settings)
    shown = grid.fields(photo)
    printed_x, printed_y = grid.x_mm / fit.stretch[0], grid.y_mm / fit.stretch[1]
    blur = min(1.0, photo.decode_scale / grid.px_per_mm)
    smear = min(settings.smear_residuals * fit.residual_mm, settings.most_smear_mm)
    shown["linear_rgb"] = without_print(
        shown["linear_rgb"], fit.card, printed_x, printed_y, blur_mm=blur + smear
    )
    inside: Mask = shown["inside"]
    width, height = fit.size_mm
    inside &= (np.abs(grid.x_mm) < width / 2 - settings.rim_mm)[None, :]
    inside &= (np.abs(grid.y_mm) < height / 2 - settings.rim_mm)[:, None]
    free = np.hypot(printed_x[None, :], printed_y[:, None]) < fit.card.free_mm
    measured = math.isfinite(spec.printed_x_mm) and math.isfinite(spec.printed_y_mm)
    sheet_asked = _another_size(spec, fit.card, settings)
    x, y = _probes()
    u_mm = fit.position_u_mm(np.column_stack([x * width, y * height]) / 2)
    notes = [flag.SHEET_CROPPED] if not inside[free].all() else []
    notes += _view_flags(fit, grid, settings)
    if fit.residual_mm > settings.uneven_mm:
        notes.append(flag.UNEVEN_CARD)
    # Too blurred to tell is blurred as well.
    if not max(fit.edge_mm) <= settings.blurred_mm:
        notes.append(flag.BLURRED)
    if label is None:
        notes.append(flag.LABEL_UNREAD)
    if not measured:
        notes.append(flag.SCALE_AS_PRINTED)
    if sheet_asked:
        notes.append(flag.SHEET_AS_PRINTED)
    said = label or Label(version=CARD_VERSION, paper=fit.card.paper)
    scale_u = settings.measured_u if measured else settings.unmeasured_u
    return RectifiedCard(
        **shown,
        size_mm=fit.size_mm,
        scale_known=True,
        found_by="printed-card",
        corners_px=fit.surface.project(*_rim(1)),
        outline_px=fit.surface.project(*_rim(16)),
        geometry_u_mm=math.hypot(u_mm, fit.residual_mm / math.sqrt(2 * fit.markers)),
        # Printers feed the paper with another error than they write across it; of one that was not
        # measured, half of it is common to both.
        aspect_u_frac=math.sqrt(2) * (scale_u if measured else scale_u / 2),
        flags=tuple(notes),
        method=f"camera, lens and curl from {fit.markers} markers",
        surface=fit.surface,
        printed=PrintedFacts(
            paper=fit.card.paper,
            version=said.version,
            label_read=label is not None,
            job=said.job,
            injector=said.injector,
            markers_seen=fit.markers,
            markers_total=len(fit.card.markers),
            residual_mm=fit.residual_mm,
            scale_u_frac=scale_u,
            printed_x_mm=spec.printed_x_mm,
            printed_y_mm=spec.printed_y_mm,
            edge_x_mm=fit.edge_mm[0],
            edge_y_mm=fit.edge_mm[1],
            sheet_asked=sheet_asked,
            index_u_deg=2 * math.degrees(u_mm / (settings.index_arm * max(fit.size_mm))),
        ),
    )


# -- grid -------------------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True)
class _Grid:
    """Where the cells of a card lie."""

    x_mm: Float
    y_mm: Float
    map_x: FloatMap
    map_y: FloatMap
    px_per_mm: float
    cell_mm: float

    def fields(self, photo: Photo) -> dict[str, Any]:
        """Light, and the fields of a card that place it."""
        scale = photo.decode_scale
        # A quarter of a pixel short of the next whole block still averages it.
        reduce = max(1, math.floor(self.cell_mm * self.px_per_mm / scale + 0.25))
        linear = sample_linear(
            photo.rgb, (self.map_x + 0.5) / scale - 0.5, (self.map_y + 0.5) / scale - 0.5, reduce
        )
        right, bottom = photo.width_px - 1, photo.height_px - 1
        inside = (self.map_x >= 0) & (self.map_x <= right)
        inside &= (self.map_y >= 0) & (self.map_y <= bottom)
        return {
            "linear_rgb": linear,
            "inside": inside,
            "map_x_px": self.map_x,
            "map_y_px": self.map_y,
            "cell_mm": self.cell_mm,
            "x0_mm": float(self.x_mm[0]),
            "y0_mm": float(self.y_mm[0]),
        }


def _grid(
    photo: Photo,
    sheet: FittedSheet,
    cell_mm: float | None,
    finest_mm: float,
    settings: GridSettings,
) -> _Grid:
    """Lay a grid over a fitted sheet."""
    at = np.column_stack([a.ravel() for a in np.meshgrid([-0.5, 0, 0.5], [-0.5, 0, 0.5])])
    px_per_mm = float(np.median(sheet.px_per_mm(at * np.array(sheet.size_mm) / 2)))
    cell = _cell(sheet.size_mm, px_per_mm / photo.decode_scale, cell_mm, finest_mm, settings)
    x, y = _centres(sheet.size_mm, cell)
    every = settings.node_cells
    nodes_x, nodes_y = (a[0] + cell * every * (np.arange(len(a) // every + 3) - 1) for a in (x, y))
    grid = np.column_stack([a.ravel() for a in np.meshgrid(nodes_x, nodes_y)])
    nodes = sheet.project(grid).reshape(len(nodes_y), len(nodes_x), 2).astype(np.float32)
    at_x = np.tile(np.arange(len(x), dtype=np.float32) / every + 1, (len(y), 1))
    at_y = np.tile((np.arange(len(y), dtype=np.float32) / every + 1)[:, None], (1, len(x)))
    # Not OpenCV's cubic: its kernel does not even reproduce a straight line.
    both = cv2.remap(nodes, at_x, at_y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    map_x, map_y = (np.asarray(m, np.float32) for m in cv2.split(both))
    return _Grid(x_mm=x, y_mm=y, map_x=map_x, map_y=map_y, px_per_mm=px_per_mm, cell_mm=cell)


def _cell(
    size_mm: tuple[float, float],
    px_per_mm: float,
    cell_mm: float | None,
    finest_mm: float,
    settings: GridSettings,
) -> float:
    if cell_mm is not None:
        return cell_mm
    by_photo = min(settings.cell_px / px_per_mm, min(size_mm) / settings.least_across)
    return max(finest_mm, math.sqrt(size_mm[0] * size_mm[1] / settings.most_cells), by_photo)


def _centres(size_mm: tuple[float, float], cell: float) -> tuple[Float, Float]:
    """Middles of columns and rows; the grid is centred."""
    cols, rows = (max(8, int(side / cell + 1e-6)) for side in size_mm)
    return (np.arange(cols) - (cols - 1) / 2) * cell, (np.arange(rows) - (rows - 1) / 2) * cell


def _rim(count: int) -> tuple[Float, Float]:
    """Places round the rim, clockwise from the top left corner, so many from each, fractions."""
    along = np.linspace(-1, 1, count + 1)[:-1]
    sides = [side_positions(side, along) for side in range(4)]
    return np.concatenate([x for x, _ in sides]), np.concatenate([y for _, y in sides])


def _probes() -> tuple[Float, Float]:
    """Places where spray lands, fractions of the sheet."""
    x, y = np.meshgrid(*[np.linspace(-0.7, 0.7, 5)] * 2)
    return x.ravel(), y.ravel()


def _view_flags(sheet: FittedSheet, grid: _Grid, settings: GridSettings) -> Flags:
    """Tell curl, a slanting view and a coarse photo."""
    surface = sheet.surface
    # How far the sheet departs from a plane: its middle, and half of what its edges do.
    relief_mm = sheet.unit_mm * max(
        float(np.ptp(surface.relief(*_probes()))), float(np.ptp(surface.relief(*_rim(8)))) / 2
    )
    told = {
        flag.SHEET_CURLED: relief_mm > settings.curled_frac * max(sheet.size_mm),
        flag.OBLIQUE: surface.tilt_deg > settings.oblique_deg,
        flag.LOW_RESOLUTION: sheet.scale_known and grid.px_per_mm < settings.coarse_px_per_mm,
    }
    return tuple(name for name, holds in told.items() if holds)


def _another_size(spec: CardSpec, card: Artwork, settings: GridSettings) -> str:
    """Return the size asked for where the card's print says another; empty otherwise."""
    if not spec.size_known:
        return ""
    asked = np.sort([spec.width_mm, spec.height_mm])
    says = np.sort([card.width_mm, card.height_mm])
    if np.allclose(asked, says, rtol=settings.same_size_frac, atol=0):
        return ""
    return spec.name if spec.name != CardSpec.name else f"{spec.width_mm:g}x{spec.height_mm:g}"
