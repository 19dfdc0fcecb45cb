"""Why paper darkens when wet: Kubelka-Munk, with scattering that falls as pores fill.

A sheet of scattering ``S`` and absorption ``K`` per thickness ``X`` over a backing of reflectance
``Rg`` reflects ``R = (1 - Rg (a - b coth(b S X))) / (a - Rg + b coth(b S X))`` with
``a = 1 + K/S`` and ``b = sqrt(a^2 - 1)``. Fluid replaces air between the fibres, which takes away
most of the scattering (so the backing shows through), and adds its own absorption.

References
----------
Kubelka, P. & Munk, F. (1931), Z. Tech. Phys. 12, 593 (from memory). K/S of thick stacks:
``(1 - R)^2 / 2R``, for example 0.025 at R = 0.8 and 0.45 at R = 0.4.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from spraycheck.simulate.paper import Fluid, Paper

Float = NDArray[np.float64]
FloatMap = NDArray[np.float32]

FILLING_ORDER = 2.2
"""Scattering falls as ``(1 - w)`` to this power.

Capillarity fills the narrowest pores first, and these scatter most per volume, so the first fluid
darkens paper more than the last. Chosen because the optical contrast then stays near proportional
to wetness (0.3 wet gives about 0.3 of it), as stains in photographs have it."""

LEVELS = 512
"""Steps of the wetness table; linear between them (error below 1e-5 in reflectance)."""


def k_over_s(thick_reflectance: Float | float) -> Float:
    """Return absorption over scattering of a material from the reflectance of a thick stack."""
    r = np.asarray(thick_reflectance, float)
    return np.asarray((1 - r) ** 2 / (2 * r), float)


def sheet_reflectance(s_x: Float, k_x: Float, backing: Float | float) -> Float:
    """Return the reflectance of a sheet over a backing.

    Parameters
    ----------
    s_x, k_x : ndarray of float64
        Scattering and absorption times thickness.
    backing : ndarray of float64 or float
        Reflectance of what lies beneath.

    Returns
    -------
    ndarray of float64
    """
    a = 1 + np.maximum(k_x, 1e-9) / s_x
    b = np.sqrt(a * a - 1)
    coth = 1 / np.tanh(np.minimum(b * s_x, 50.0))
    return np.asarray((1 - backing * (a - b * coth)) / (a - backing + b * coth), float)


def wetness_table(paper: Paper, fluid: Fluid, backing: tuple[float, float, float]) -> FloatMap:
    """Tabulate the sheet's colour against wetness.

    Parameters
    ----------
    paper, fluid : Paper, Fluid
        What the sheet is made of and filled with.
    backing : (3,) tuple of float
        Linear reflectance of the table beneath.

    Returns
    -------
    (LEVELS, 3) ndarray of float32
        Linear reflectance in red, green and blue at wetness 0 to 1 in equal steps.
    """
    w = np.linspace(0.0, 1.0, LEVELS)[:, None]
    dry_part = (1 - w) ** FILLING_ORDER
    s_x = paper.scatter * (paper.wet_scatter_frac + (1 - paper.wet_scatter_frac) * dry_part)
    k_x = paper.scatter * k_over_s(np.array(paper.colour))[None, :]
    # Twice the absorbance of a layer: diffuse light runs twice as far through it (textbook).
    dye = 2 * np.array(fluid.absorb_per_mm)[None, :] * paper.capacity_mm3_per_mm2 * w
    table = sheet_reflectance(s_x, k_x + dye, np.array(backing)[None, :])
    return table.astype(np.float32)


def paint(wetness: FloatMap, table: FloatMap) -> FloatMap:
    """Return the linear reflectance of every cell from its wetness (clipped to 0..1).

    Returns
    -------
    (M, N, 3) ndarray of float32
    """
    at = np.clip(wetness, 0, 1) * np.float32(LEVELS - 1)
    low = np.minimum(at.astype(np.int32), LEVELS - 2)
    part = (at - low)[..., None]
    base = np.take(table, low, axis=0)
    step = np.take(np.diff(table, axis=0), low, axis=0)
    step *= part
    base += step
    return np.asarray(base, np.float32)


def srgb_to_linear(code: NDArray[Any]) -> FloatMap:
    """Undo the sRGB transfer (IEC 61966-2-1, from memory) of values 0 to 1."""
    v = np.asarray(code, np.float32)
    return np.where(v <= 0.04045, v / 12.92, ((v + 0.055) / 1.055) ** 2.4).astype(np.float32)


def linear_to_srgb(light: NDArray[Any]) -> FloatMap:
    """Apply the sRGB transfer (IEC 61966-2-1, from memory) to values 0 to 1."""
    v = np.asarray(light, np.float32)
    high = 1.055 * np.power(np.maximum(v, 0.0031308), 1 / 2.4) - 0.055
    return np.where(v <= 0.0031308, v * 12.92, high).astype(np.float32)
