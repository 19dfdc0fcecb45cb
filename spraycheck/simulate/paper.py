"""Paper and fluid: how much is taken up, how it spreads, what colour it turns."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from spraycheck.constants import SHEET_SIZES_MM
from spraycheck.errors import InputError
from spraycheck.simulate.checks import check_choice, check_range


@dataclass(frozen=True, kw_only=True)
class Artwork:
    """Something printed or written on the sheet.

    Parameters
    ----------
    rgb : (m, n, 3) ndarray of uint8
        sRGB-encoded picture; white prints nothing.
    width_mm, height_mm : float
        Its size on the sheet.
    x_mm, y_mm : float
        Where its middle lies on the sheet.
    """

    rgb: NDArray[np.uint8]
    width_mm: float
    height_mm: float
    x_mm: float = 0.0
    y_mm: float = 0.0

    def __post_init__(self) -> None:
        image: Any = self.rgb
        if getattr(image, "ndim", 0) != 3 or image.shape[2] != 3 or image.dtype != np.uint8:
            raise InputError("artwork: expected an (m, n, 3) array of uint8")
        check_range("width of the artwork", self.width_mm, 1, 2000, unit="mm")
        check_range("height of the artwork", self.height_mm, 1, 2000, unit="mm")


@dataclass(frozen=True, kw_only=True)
class Paper:
    """A sheet of paper.

    Parameters
    ----------
    width_mm, height_mm : float
        Size; default A4 (ISO 216).
    capacity_mm3_per_mm2 : float
        Fluid the sheet holds when full: thickness times porosity. Default 0.055: office paper of
        0.10 mm at a porosity of 0.55 (from memory: 0.45 to 0.6 for uncoated paper).
    wick_mm_per_rt_s : float
        Washburn constant ``c`` of a fed strip, front = c sqrt(t). Default 0.15. The bound from
        Lucas-Washburn for straight 5 um pores and diesel-like oil is 5.7 mm at 1 s; felted fibres
        are far slower (chosen by the softness of stain edges in photographs).
    immobile_frac : float
        Saturation below which the fluid no longer creeps: held in the corners between fibres and
        by fronts that stick. It is why a finite dose stops growing. Default 0.5 (chosen by the
        areas of stains in photographs at three thresholds; residual saturations of 0.1 to 0.4 are
        usual in porous media, from memory).
    grain_frac : float
        Relative spread of capacity and permeability from place to place, which makes edges ragged.
    scatter : float
        Kubelka-Munk scattering of the dry sheet times its thickness. Default 5.2: 65 m2/kg at
        80 g/m2 (from memory: 30 to 70 m2/kg).
    wet_scatter_frac : float
        Scattering of saturated over dry paper. Fresnel reflectance at a fibre falls from .0452 in
        air to .00071 in oil (indices 1.54 and 1.46, from memory), a factor of 64; what is left
        comes from pores that never fill (chosen by the contrast of stains in photographs).
    colour : (3,) tuple of float
        Linear reflectance of a thick stack, red, green and blue.
    texture_frac : float
        Fine brightness grain of the surface (standard deviation per 0.25 mm).
    cloud_frac : float
        Coarse cloudiness at 2 to 8 mm (standard deviation): paper formation.
    artwork : tuple of Artwork
        What is printed or written on it.
    name : str
        For the record.

    Raises
    ------
    InputError
        A value out of range.
    """

    width_mm: float = SHEET_SIZES_MM["a4"][0]
    height_mm: float = SHEET_SIZES_MM["a4"][1]
    capacity_mm3_per_mm2: float = 0.055
    wick_mm_per_rt_s: float = 0.15
    immobile_frac: float = 0.5
    grain_frac: float = 0.15
    scatter: float = 5.2
    wet_scatter_frac: float = 0.22
    colour: tuple[float, float, float] = (0.86, 0.86, 0.86)
    texture_frac: float = 0.045
    cloud_frac: float = 0.008
    artwork: tuple[Artwork, ...] = field(default=(), repr=False)
    name: str = "office"

    def __post_init__(self) -> None:
        check_range("sheet width", self.width_mm, 30, 1000, unit="mm")
        check_range("sheet height", self.height_mm, 30, 1000, unit="mm")
        check_range("capacity", self.capacity_mm3_per_mm2, 0.001, 3, unit="mm3/mm2")
        check_range("wick_mm_per_rt_s", self.wick_mm_per_rt_s, 0, 6, unit="mm/s^0.5")
        check_range("immobile_frac", self.immobile_frac, 0, 0.9)
        check_range("grain_frac", self.grain_frac, 0, 1)
        check_range("scatter", self.scatter, 0.2, 60)
        check_range("wet_scatter_frac", self.wet_scatter_frac, 0.01, 1)
        if len(self.colour) != 3:
            raise InputError(f"paper colour: expected red, green and blue, got {self.colour}")
        for value in self.colour:
            check_range("paper colour", value, 0.02, 0.98)
        check_range("texture_frac", self.texture_frac, 0, 0.5)
        check_range("cloud_frac", self.cloud_frac, 0, 0.5)

    @classmethod
    def stock(cls, name: str, *, width_mm: float = 210.0, height_mm: float = 297.0) -> Paper:
        """Make a sheet of a named stock (see `STOCKS`).

        Raises
        ------
        InputError
            An unknown name or an impossible size.
        """
        check_choice("paper", name, tuple(STOCKS))
        return replace(STOCKS[name], width_mm=width_mm, height_mm=height_mm)


def _stock(
    name: str,
    capacity: float,
    wick: float,
    scatter: float,
    wet: float,
    colour: tuple[float, float, float],
    texture: float,
    cloud: float,
) -> Paper:
    return Paper(
        name=name,
        capacity_mm3_per_mm2=capacity,
        wick_mm_per_rt_s=wick,
        scatter=scatter,
        wet_scatter_frac=wet,
        colour=colour,
        texture_frac=texture,
        cloud_frac=cloud,
    )


# Thickness times porosity, wicking, scattering and colour are typical of each stock, from memory;
# wet scattering is chosen so that the stains' contrast falls where photographs have it.
STOCKS: Final[dict[str, Paper]] = {
    p.name: p
    for p in (
        _stock("office", 0.055, 0.15, 5.2, 0.22, (0.86, 0.86, 0.87), 0.045, 0.008),
        _stock("cream", 0.065, 0.16, 6.0, 0.19, (0.86, 0.80, 0.66), 0.050, 0.010),
        _stock("blotting", 0.12, 0.25, 13.0, 0.12, (0.84, 0.76, 0.72), 0.060, 0.015),
        _stock("filter", 0.095, 0.25, 8.0, 0.19, (0.88, 0.88, 0.87), 0.060, 0.015),
        _stock("newsprint", 0.060, 0.20, 4.5, 0.19, (0.68, 0.64, 0.56), 0.060, 0.018),
        _stock("greyboard", 0.13, 0.18, 14.0, 0.18, (0.52, 0.50, 0.46), 0.065, 0.022),
        _stock("kraft", 0.075, 0.14, 6.0, 0.20, (0.48, 0.33, 0.20), 0.065, 0.022),
    )
}
"""Paper by name."""


@dataclass(frozen=True, kw_only=True)
class Fluid:
    """Test fluid.

    Parameters
    ----------
    absorb_per_mm : (3,) tuple of float
        Natural-log absorbance per mm of fluid, red, green and blue. Kubelka-Munk's absorption is
        twice it, because diffuse light runs twice as far (textbook).
    name : str
        For the record.
    """

    absorb_per_mm: tuple[float, float, float] = (0.12, 1.4, 7.5)
    name: str = "straw"

    def __post_init__(self) -> None:
        if len(self.absorb_per_mm) != 3:
            raise InputError(f"fluid: expected red, green and blue, got {self.absorb_per_mm}")
        for value in self.absorb_per_mm:
            check_range("absorb_per_mm", value, 0, 200, unit="1/mm")

    @classmethod
    def kind(cls, name: str) -> Fluid:
        """Make a fluid by name (see `FLUIDS`).

        Raises
        ------
        InputError
            An unknown name.
        """
        check_choice("fluid", name, tuple(FLUIDS))
        return FLUIDS[name]

    def diluted(self, strength: float) -> Fluid:
        """Return the fluid with its colour scaled: 0 colourless, 1 as it is.

        Raises
        ------
        InputError
            A negative strength or one above 10.
        """
        check_range("strength", strength, 0, 10)
        r, g, b = (strength * value for value in self.absorb_per_mm)
        return replace(self, absorb_per_mm=(r, g, b))


# Chosen so that the stains' colours fall where photographs have them at full strength; clear fluid
# shows by the loss of scattering alone. Real fluid is often paler: see `diluted`.
FLUIDS: Final[dict[str, Fluid]] = {
    f.name: f
    for f in (
        Fluid(name="clear", absorb_per_mm=(0.03, 0.06, 0.25)),
        Fluid(name="straw", absorb_per_mm=(0.12, 1.4, 7.5)),
        Fluid(name="red", absorb_per_mm=(0.3, 18.0, 20.0)),
        Fluid(name="green", absorb_per_mm=(4.4, 1.0, 5.0)),
        Fluid(name="dark", absorb_per_mm=(7.0, 9.0, 13.0)),
    )
}
"""Fluid by name: clear calibration fluid, straw and red-dyed and green diesel, dark used fluid."""
