"""What the stages measured on one photo, in one hand; blind to what is expected."""

from __future__ import annotations

from dataclasses import dataclass, replace

from spraycheck.card.containers import RectifiedCard
from spraycheck.photo.containers import Photo
from spraycheck.spray.axial.containers import AxialPatch
from spraycheck.spray.containers import NozzleCentre, PlumeCatalogue, PlumeSegmentation, WetnessMap


@dataclass(frozen=True, kw_only=True)
class Plumes:
    """The spray of a nozzle with holes.

    Parameters
    ----------
    centre : NozzleCentre
        Where the nozzle stood.
    segmentation : PlumeSegmentation
        Which cell belongs to which plume.
    catalogue : PlumeCatalogue
        The plumes, measured.
    """

    centre: NozzleCentre
    segmentation: PlumeSegmentation
    catalogue: PlumeCatalogue

    def less_certain(self, factor: float) -> Plumes:
        """Return the plumes with every uncertainty multiplied."""
        rows = self.catalogue
        return replace(
            self,
            centre=replace(self.centre, covariance_mm2=factor**2 * self.centre.covariance_mm2),
            catalogue=replace(
                rows,
                direction_u_deg=factor * rows.direction_u_deg,
                rotation_u_deg=factor * rows.rotation_u_deg,
                area_u_mm2=factor * rows.area_u_mm2,
                area_u_frac=factor * rows.area_u_frac,
            ),
        )


@dataclass(frozen=True, kw_only=True)
class Measurement:
    """Everything measured on one photo.

    Parameters
    ----------
    photo, card, wetness
        The photo, the card found in it, and how wet it is.
    spray : Plumes or AxialPatch
        What a nozzle with holes, or one that sprays along its axis, left.
    """

    photo: Photo
    card: RectifiedCard
    wetness: WetnessMap
    spray: Plumes | AxialPatch

    @property
    def plumes(self) -> Plumes:
        """The spray of a nozzle with holes.

        Raises
        ------
        TypeError
            It is an axial spray.
        """
        if not isinstance(self.spray, Plumes):
            raise TypeError("an axial spray has no plumes")
        return self.spray

    @property
    def patch(self) -> AxialPatch:
        """The patch of an axial spray.

        Raises
        ------
        TypeError
            It is the spray of a nozzle with holes.
        """
        if not isinstance(self.spray, AxialPatch):
            raise TypeError("a nozzle with holes leaves no axial patch")
        return self.spray
