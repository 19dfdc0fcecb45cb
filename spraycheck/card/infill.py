"""What lies under ink, from the paper beside it: for a card's own print and for handwriting."""

from __future__ import annotations

import cv2
import numpy as np

from spraycheck.arrays import FloatMap, Mask


def fill_hidden(values: FloatMap, hidden: Mask) -> FloatMap:
    """Fill hidden cells from the known ones around them, from fine to coarse as far as needed.

    Parameters
    ----------
    values : (M, N, C) ndarray of float32
        A map, as log light.
    hidden : (M, N) ndarray of bool
        Cells whose values say nothing.

    Returns
    -------
    (M, N, C) ndarray of float32
        Known cells as they were.

    Notes
    -----
    Pull and push: averages of the known cells on ever coarser grids, then back down, each hidden
    cell taking what the next coarser grid says (S. J. Gortler et al., Proc. SIGGRAPH 1996, 43-54,
    doi:10.1145/237170.237200).
    """
    levels: list[tuple[FloatMap, FloatMap]] = [
        (values * ~hidden[..., None], (~hidden).astype(np.float32))
    ]
    while min(levels[-1][1].shape) > 8 and not (levels[-1][1] > 0.5).all():
        total, weight = levels[-1]
        size = ((weight.shape[1] + 1) // 2, (weight.shape[0] + 1) // 2)
        even = ((0, size[1] * 2 - weight.shape[0]), (0, size[0] * 2 - weight.shape[1]))
        weight = np.pad(weight, even)
        total = np.pad(total, (*even, (0, 0)))
        share = cv2.resize(weight, size, interpolation=cv2.INTER_AREA)
        # Four halves of known cells make a whole one: nothing is known better than itself.
        kept = cv2.resize(total, size, interpolation=cv2.INTER_AREA)
        full = np.minimum(1.0, 2 * share)
        scaled = kept * (full / np.maximum(share, 1e-6))[..., None]
        levels.append((np.asarray(scaled, np.float32), np.asarray(full, np.float32)))
    total, weight = levels[-1]
    out = np.asarray(total / np.maximum(weight, 1e-6)[..., None], np.float32)
    for total, weight in levels[-2::-1]:
        rows, cols = weight.shape
        size = (2 * out.shape[1], 2 * out.shape[0])
        coarse = cv2.resize(out, size, interpolation=cv2.INTER_LINEAR)[:rows, :cols]
        out = np.asarray(total + (1 - weight)[..., None] * coarse, np.float32)
    return out
