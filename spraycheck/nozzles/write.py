"""New nozzle and limits files, with a remark for everything a person has to decide."""

from __future__ import annotations

import json

from spraycheck.judge.layout import Layout
from spraycheck.judge.limits import limit_fields
from spraycheck.nozzles.model import KINDS, can_be_off, span_of

_HEAD = """\
# {title}
# Save it, change it, then look at it: spraycheck nozzle check, spraycheck nozzle show.
# The maker's manual decides what a nozzle should do; nothing here is from one.

name = {name}
"""

_EVEN = """\
holes = {count:<22}# equal holes, evenly spread

# For uneven holes take the line above out and give every hole a section instead (or start anew
# with spraycheck nozzle new --slanted):
# [[hole]]
# azimuth_deg = 0.0           # clockwise as the streak lies on the card, seen from the injector
# axis_angle_deg = 70.0       # optional, for all or none: between hole axis and nozzle axis
# diameter_mm = 0.25          # optional, for all or none
# row = 1                     # optional, for all or none: wetted areas compare within a row
"""

_SLANTED = """\
# seen_from = "tip"           # only if the drawing shows the tip from below: it is turned over
# counts_from = "dowel"       # the feature at 0 degrees, to line a printed card up with

# The numbers below are a start, not your nozzle's: put in those of the drawing, hole by hole.
# axis_angle_deg, diameter_mm and row are optional, each for all holes or none.
"""

_HOLE = """
[[hole]]                      # hole {number}
azimuth_deg = {azimuth:<16}# clockwise as the streak lies on the card, seen from the injector
axis_angle_deg = 70.0         # between hole axis and nozzle axis: half the cone, not the whole
# diameter_mm = 0.25
# row = 1                     # wetted areas are compared within a row
"""

_CENTRAL = """\
kind = "{kind}"
fill = "{fill}"{pad}# "hollow", "filled", or "either" when it is not known
# full_angle_deg = 12.0       # full angle of the spray, when it is known
"""

_NOTES = """
# Notes; nothing on a card is judged by them. Units: "psi" or "bar".
# [opening_pressure]
# value = 2800
# unit = "psi"
# source = "the maker's manual, page"
#
# [seat_hold_pressure]
# value = 2500
# unit = "psi"
# source = "the maker's manual, page"

# Limits of this nozzle, where the default settings do not suit: one section for each, with value,
# unit and source, or off = true. spraycheck limits{option} prints all.
# [limits.{limit}]
# value = {value}
# unit = "{unit}"
# source = "who agreed on it, and when"
"""


def nozzle_text(name: str, *, kind: str = "holes", holes: int = 4, slanted: bool = False) -> str:
    """Return a new nozzle file.

    Parameters
    ----------
    name : str
        What the nozzle is called.
    kind : str
        ``holes``, ``pintle`` or ``single-hole``.
    holes : int
        How many, of a nozzle with holes.
    slanted : bool
        Give each hole a section of its own.
    """
    fill = "filled" if kind == "single-hole" else "either"
    if kind != "holes":
        body = _CENTRAL.format(kind=kind, fill=fill, pad=" " * (21 - len(fill)))
    elif slanted:
        azimuths = Layout.evenly_spread(holes).azimuth_deg
        body = _SLANTED + "".join(
            _HOLE.format(number=n, azimuth=round(azimuth, 1))
            for n, azimuth in enumerate(azimuths, start=1)
        )
    else:
        body = _EVEN.format(count=holes)
    first = limit_fields(KINDS[kind])[0]
    head = _HEAD.format(title=f"Nozzle file for spraycheck: {name}", name=quoted(name))
    option = "" if kind == "holes" else f" --kind {kind}"
    return (
        head
        + body
        + _NOTES.format(
            option=option, limit=first.name, value=first.default, unit=first.metadata["unit"]
        )
    )


_LIMITS_HEAD = """\
# Limits for spraycheck: {about}.
#
# These are settings to be agreed in the workshop, not a standard: no published hole-to-hole limit
# for a lever test is known to the project. Change what you agree on, say who agreed in source, and
# give the file with --limits FILE; or put a section into a nozzle file as [limits.NAME].
# A limit that is left out keeps its default. The maker's manual, local rules and licensed practice
# decide; a verdict is an aid, not a certificate.

name = {name}
"""

_ABOUT = {"holes": "nozzles with a ring of holes"}


def limits_text(kind: str = "holes") -> str:
    """Return the default limits of a kind of nozzle as a commented TOML file."""
    limits = KINDS[kind]()
    about = _ABOUT.get(kind, f"{kind} nozzles, one central spray")
    text = [_LIMITS_HEAD.format(about=about, name=quoted(limits.name)).rstrip("\n")]
    if kind != "holes":
        text.append(f'kind = "{kind}"')
    for one in limit_fields(type(limits)):
        told = one.metadata
        value, unit = getattr(limits, one.name), quoted(told["unit"])
        switch = "; off = true instead switches it off" if can_be_off(told) else ""
        held = limits.held(one.name)
        text += [
            "",
            f"# {told['about'][:1].upper()}{told['about'][1:]}:",
            f"# {span_of(told)}{switch}.",
            f"[{one.name}]",
            *([f"value = {value!r}", f"unit = {unit}"] if held else ["off = true"]),
            f"source = {quoted(told['source'])}",
        ]
    return "\n".join(text) + "\n"


def quoted(text: str) -> str:
    """Return a text as TOML has it; JSON's quotes and escapes are TOML's too."""
    return json.dumps(text, ensure_ascii=False)
