"""Plumes that run together, and several faults at once."""

from __future__ import annotations

from typing import Any

from spraycheck.train.lessons.making import Lesson, lesson


def merging_and_several() -> list[Lesson]:
    """Return merging plumes and combinations."""
    six: dict[str, Any] = {"holes": 6, "seed": 81}
    merged = ("hole-off-line", "plumes-merged")
    return [
        lesson(
            "Merging",
            "Two holes lean together",
            "Two neighbours stand closer than the rest, with wide gaps outside them. Both are off "
            "their line, towards each other.",
            *merged,
            merging=((2, 30.0),),
            **six,
        ),
        lesson(
            "Merging",
            "Two plumes touch",
            "Two streaks have grown into one broad patch with a notch at its tip: two points, two "
            "holes.",
            *merged,
            merging=((2, 18.0),),
            **six,
        ),
        lesson(
            "Merging",
            "Two plumes in one",
            "One patch, twice as large as any other, midway between two holes' places. No photo "
            "can say whether two holes meet here or one blocked hole has a heavy neighbour: look "
            "at the tip before you name the fault.",
            *merged,
            merging=((2, 7.0),),
            **six,
        ),
        lesson(
            "Several faults",
            "Blocked and weak",
            "One streak is missing and another is small. Deposits seldom close one hole only: when "
            "you find one blocked, compare all the others once more.",
            "hole-blocked",
            "hole-weak",
            blocked=(3,),
            weak=((6, 0.5),),
            holes=7,
            seed=91,
        ),
        lesson(
            "Several faults",
            "Weak and heavy",
            "One streak is too small and one too large. Neither can be told from the largest and "
            "smallest alone: the middle ones are the measure.",
            "hole-weak",
            "hole-heavy",
            "shares-uneven",
            weak=((1, 0.6),),
            heavy=((4, 1.6),),
            holes=6,
            fluid="dark",
            paper="newsprint",
            seed=92,
        ),
        lesson(
            "Several faults",
            "Off-line and dripping, poor photo",
            "Dark, slanted and blurred, as photos from a workshop are. The leaning streak and the "
            "spot in the middle can still be seen when you compare gaps instead of edges.",
            "hole-off-line",
            "centre-drip",
            off_line=((2, 12.0),),
            drip_mm3=6.0,
            holes=5,
            photo="poor",
            seed=93,
        ),
    ]
