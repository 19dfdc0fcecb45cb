"""How far a photo can be trusted: measured before the judgement, told after it.

A photo beyond a limit has its uncertainties widened before it is judged, so that only what is plain
even so is proof of a fault, and cannot pass.

`sharpness`, `light` and `metrics` measure; `wicking` knows what time does to wet paper; `gate` says
from where on the stated uncertainties are no longer true, with the evidence.
"""
