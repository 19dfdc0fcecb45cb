"""What the stages found, in one hand."""

from __future__ import annotations

from dataclasses import dataclass

from spraycheck.card.containers import RectifiedCard
from spraycheck.flags import Flags
from spraycheck.photo.containers import Photo
from spraycheck.spray.containers import NozzleCentre, PlumeCatalogue, PlumeSegmentation, WetnessMap


@dataclass(frozen=True, kw_only=True)
class Seen:
    """What the stages found; fields as in `Assessment`.

    ``beyond`` are flags of the limits of photo quality that were passed.
    """

    photo: Photo
    card: RectifiedCard
    wetness: WetnessMap
    centre: NozzleCentre
    segmentation: PlumeSegmentation
    catalogue: PlumeCatalogue
    beyond: Flags = ()
