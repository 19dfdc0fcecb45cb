"""What looks like a fault and is none."""

from __future__ import annotations

from typing import Any

from spraycheck import flags
from spraycheck.report.words.photos import PHOTO_ADVICE
from spraycheck.train.lessons.making import LOOK_ALIKE, Lesson, lesson


def look_alikes() -> list[Lesson]:
    """Return what is no fault of the nozzle."""
    six: dict[str, Any] = {"kind": LOOK_ALIKE, "holes": 6, "seed": 4}
    same = "The same nozzle as on the first page. "
    return [
        lesson(
            "Not a fault",
            "Nozzle not square to the card",
            same + "All streaks on one side are longer and further out, those opposite shorter: "
            "the whole pattern is drawn out one way. A fault sits in one hole, a tilt in all.",
            "nozzle-tilted",
            tilt_deg=3.0,
            **six,
        ),
        lesson(
            "Not a fault",
            "Curled card",
            same + "The sheet's edges are bowed and two of its ends stand up. Streaks on the "
            "rising parts look narrower from above.",
            causes=("paper that curls when it gets wet", "a card that was kept rolled"),
            steps=("Lay the card flat, weigh down its corners, and photograph it square-on.",),
            curl_mm=12.0,
            **six,
        ),
        lesson(
            "Not a fault",
            "Lamp mirrored on the card",
            same + "A bright patch lies over part of the card and makes the streaks under it look "
            "paler. A weak hole is small; glare only makes it pale.",
            causes=("flash, or a lamp straight above the card",),
            steps=(PHOTO_ADVICE[flags.GLARE],),
            glare=True,
            **six,
        ),
        lesson(
            "Not a fault",
            "Shadow across the card",
            same + "One side is darker, dry paper and streaks alike, with a soft edge between. The "
            "streaks keep their size; only the light changes.",
            causes=("the photographer or the phone between lamp and card",),
            steps=(PHOTO_ADVICE[flags.DARK],),
            shadow=True,
            **six,
        ),
        lesson(
            "Not a fault",
            "Squared paper",
            same + "Printed lines run through the streaks and confuse the eye about their edges. "
            "Follow the stain, not the lines.",
            causes=("a sheet from an exercise book",),
            steps=("Use plain uncoated paper, or the printed target card.",),
            squared=True,
            **six,
        ),
        lesson(
            "Not a fault",
            "Photo taken late",
            "On thick blotting paper, twelve minutes after the stroke: every streak has "
            "crept outward, is paler at its edge and rounder. All of them alike, so shares still "
            "compare; fine faults blur.",
            causes=("the card lay too long before it was photographed",),
            steps=("Spray a fresh card and photograph it about a minute later.",),
            minutes=12.0,
            paper="blotting",
            **six,
        ),
        lesson(
            "Not a fault",
            "A small stroke",
            same + "All streaks are short and thin, but equal. It is the stroke, not the holes: a "
            "fault of the nozzle seldom strikes all holes alike.",
            "weak-stroke",
            volume_mm3=45.0,
            **six,
        ),
        lesson(
            "Not a fault",
            "Two rows of holes, by design",
            "Every second streak is nearer the centre and rounder. The drawing of this nozzle asks "
            "for it: judge it with its nozzle file, never by eye against an even pattern.",
            causes=("holes in two rows, by design",),
            steps=("Give the nozzle's own file with --layout; spraycheck demo writes one.",),
            nozzle="two-row",
            kind=LOOK_ALIKE,
            holes=8,
            seed=101,
        ),
    ]
