"""Sprayed cards drawn from known physics and known truth, for training and tests.

Draw a card, photograph it, and everything true about it is known::

    nozzle = SyntheticNozzle.evenly(6).with_flow(3, 0.0).with_flow(5, 0.4)
    card = draw_card(nozzle, SprayShot(volume_mm3=150), seed=1)
    photo = photograph(card, Camera(obliquity_deg=12), seed=1)
    photo.rgb, photo.truth.holes[2].state

or let chance choose: ``random_scene(7, family="workshop", fault="weak").photograph()``. The package
shares no code with the pipeline it tests.
"""

from spraycheck.simulate.camera import Camera, Curl, View
from spraycheck.simulate.card import CardImage, draw_card
from spraycheck.simulate.central_truth import TrueCentral
from spraycheck.simulate.nozzle import CentralSpray, SyntheticNozzle
from spraycheck.simulate.paper import Artwork, Fluid, Paper
from spraycheck.simulate.photo import SyntheticPhoto, photograph
from spraycheck.simulate.scene import FAMILIES, FAULTS, Scene, random_scene
from spraycheck.simulate.shot import SprayShot, StrayJet
from spraycheck.simulate.table import Table
from spraycheck.simulate.truth import CardTruth, TrueHole, TrueMark

__all__ = [
    "FAMILIES",
    "FAULTS",
    "Artwork",
    "Camera",
    "CardImage",
    "CardTruth",
    "CentralSpray",
    "Curl",
    "Fluid",
    "Paper",
    "Scene",
    "SprayShot",
    "StrayJet",
    "SyntheticNozzle",
    "SyntheticPhoto",
    "Table",
    "TrueCentral",
    "TrueHole",
    "TrueMark",
    "View",
    "draw_card",
    "photograph",
    "random_scene",
]
