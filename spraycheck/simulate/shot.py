"""One stroke of the lever: how much fluid, from how high, how well atomised."""

from __future__ import annotations

from dataclasses import dataclass

from spraycheck.errors import InputError
from spraycheck.simulate.checks import check_range


@dataclass(frozen=True, kw_only=True)
class StrayJet:
    """A jet that belongs to no hole: a crack, a loose seat, fluid along the tip.

    Parameters
    ----------
    direction_deg : float
        Clockwise on the card, about the nozzle axis.
    axis_angle_deg : float
        To the nozzle axis.
    share : float
        Volume relative to one average healthy hole.
    half_cone_deg : float
        Default 2.5: narrower than a plume, because a stray jet is badly atomised (chosen).
    """

    direction_deg: float
    axis_angle_deg: float = 60.0
    share: float = 0.4
    half_cone_deg: float = 2.5

    def __post_init__(self) -> None:
        check_range("direction of the stray jet", self.direction_deg, -360, 720, unit="deg")
        check_range("axis angle of the stray jet", self.axis_angle_deg, 0, 89, unit="deg")
        check_range("share of the stray jet", self.share, 0.01, 3)
        check_range("half cone of the stray jet", self.half_cone_deg, 0.2, 30, unit="deg")


@dataclass(frozen=True, kw_only=True)
class SprayShot:
    """What was pumped through the nozzle onto the card.

    Parameters
    ----------
    volume_mm3 : float
        Fluid that leaves the nozzle as spray; all strokes together. Default 120: about half a
        stroke of an apparatus with the largest delivery of ISO 8984-1:1993 (300 mm3).
    height_mm : float
        Of the tip above the card.
    tilt_x_deg, tilt_y_deg : float
        How far the nozzle axis leans so that it meets the card right of, and below, the foot of
        the perpendicular from the tip.
    half_cone_deg : float
        Half-angle of a plume. Default 6: practical full angles of a plume lie around 10 to 20
        degrees (from memory; published correlations for diesel plumes give 10 to 25).
    profile : str
        ``gaussian``: flux falls from the plume's axis like a normal with sigma = half cone / 2,
        so that 86 % of it lies inside the cone (near-Gaussian far-field profile of a spray, from
        memory). ``uniform``: even flux inside a hard cone, for comparison with closed forms.
    mist_frac : float
        Share of each plume that flies as fine mist: a wider cone, carried outward along the card
        by the air the spray drags with it (chosen by comparison with photographs).
    mist_mm : float
        Mean distance the mist is carried past where it would have struck.
    coarse_frac : float
        Share of each plume in drops large enough to leave their own spots. A weak hole, whose
        pressure is spent elsewhere, gets more (see `spray`).
    satellites : float
        Mean number of separate drops thrown out per plume.
    mottle_frac : float
        Unevenness of the flux inside a plume, from shot to shot (standard deviation).
    drip_mm3 : float
        Fluid that falls from the tip at the foot of the perpendicular.
    splashes : int
        Drops thrown about the card by handling, anywhere.
    strays : tuple of StrayJet
        Jets that belong to no hole.

    Raises
    ------
    InputError
        Nothing sprayed and nothing dripped, or a value out of range.
    """

    volume_mm3: float = 120.0
    height_mm: float = 25.0
    tilt_x_deg: float = 0.0
    tilt_y_deg: float = 0.0
    half_cone_deg: float = 6.0
    profile: str = "gaussian"
    mist_frac: float = 0.20
    mist_mm: float = 9.0
    coarse_frac: float = 0.03
    satellites: float = 5.0
    mottle_frac: float = 0.10
    drip_mm3: float = 0.0
    splashes: int = 0
    strays: tuple[StrayJet, ...] = ()

    def __post_init__(self) -> None:
        check_range("volume_mm3", self.volume_mm3, 0, 20000, unit="mm3")
        check_range("drip_mm3", self.drip_mm3, 0, 2000, unit="mm3")
        if self.volume_mm3 == 0 and self.drip_mm3 == 0:
            raise InputError(
                "volume_mm3 0 and drip_mm3 0: expected some fluid; for a card that was never "
                "sprayed draw it without a shot"
            )
        check_range("height_mm", self.height_mm, 1, 500, unit="mm")
        check_range("tilt_x_deg", self.tilt_x_deg, -45, 45, unit="deg")
        check_range("tilt_y_deg", self.tilt_y_deg, -45, 45, unit="deg")
        check_range("half_cone_deg", self.half_cone_deg, 0.2, 45, unit="deg")
        if self.profile not in ("gaussian", "uniform"):
            raise InputError(f"profile {self.profile!r}: expected gaussian or uniform")
        for name in ("mist_frac", "coarse_frac"):
            check_range(name, getattr(self, name), 0, 0.9)
        if self.mist_frac + self.coarse_frac > 0.95:
            raise InputError("mist_frac and coarse_frac together: expected at most 0.95")
        check_range("mist_mm", self.mist_mm, 0, 200, unit="mm")
        check_range("satellites", self.satellites, 0, 500)
        check_range("mottle_frac", self.mottle_frac, 0, 1)
        check_range("splashes", self.splashes, 0, 500)
