"""Good patterns, every fault by itself at three severities, and several at once."""

from __future__ import annotations

from typing import Any, Final

from spraycheck.train.lessons.lesson import GOOD, Lesson, lesson

_GOOD_STEPS: Final = (
    "Nothing to repair by this card. It says nothing of opening pressure, seat leakage or the "
    "fineness of the spray: do those tests too.",
)


def good() -> list[Lesson]:
    """Return good patterns."""
    causes = ("Nothing is wrong: small differences between holes are in every sound nozzle",)
    return [
        lesson(
            "Good",
            "Six good holes",
            "Six streaks of one size, at equal angles, all pointing away from one place in the "
            "middle. Edges are a little ragged and fine mist lies beyond each tip: that is normal.",
            kind=GOOD,
            causes=causes,
            steps=_GOOD_STEPS,
            seed=4,
        ),
        lesson(
            "Good",
            "Eight good holes, dark fluid",
            "More holes, each smaller and closer to the next. Compare the dry gaps: where all gaps "
            "look the same, all holes point right.",
            kind=GOOD,
            causes=causes,
            steps=_GOOD_STEPS,
            holes=8,
            fluid="dark",
            paper="cream",
            photo="usual",
            seed=11,
        ),
    ]


def blocked_and_weak() -> list[Lesson]:
    """Return blocked and weak holes."""
    six: dict[str, Any] = {"holes": 6, "seed": 21}
    five: dict[str, Any] = {"holes": 5, "seed": 31, "fluid": "clear", "paper": "cream"}
    nearly = (
        "One place is almost dry: a few specks where a streak belongs. A hole that gives a "
        "twelfth of its fuel is as good as blocked, and the tool calls it so."
    )
    return [
        lesson("Blocked", "Nearly blocked", nearly, "hole-blocked", weak=((3, 0.08),), **six),
        lesson(
            "Blocked",
            "One hole blocked",
            "One gap is twice as wide as the others. Count the streaks, then count the holes in "
            "the tip: one is missing, and no other has moved to fill the gap.",
            "hole-blocked",
            blocked=(3,),
            **six,
        ),
        lesson(
            "Blocked",
            "Two neighbours blocked",
            "Two streaks are missing side by side: a third of the circle is dry. The remaining "
            "ones still stand where they should, so the nozzle is not bent.",
            "hole-blocked",
            blocked=(3, 4),
            **six,
        ),
        lesson(
            "Weak",
            "Slightly weak",
            "One streak is a little smaller. Most eyes pass over it, and the tool measures it but "
            "lets it pass: it lies inside the usual limit of three quarters.",
            "hole-weak",
            weak=((5, 0.84),),
            **five,
        ),
        lesson(
            "Weak",
            "Weak",
            "One streak is clearly shorter and narrower than its neighbours, with more separate "
            "drops about it: slow fuel breaks up badly.",
            "hole-weak",
            weak=((5, 0.55),),
            **five,
        ),
        lesson(
            "Weak",
            "Very weak",
            "Only a small patch is left where a streak belongs. The next step towards blocked.",
            "hole-weak",
            weak=((5, 0.25),),
            **five,
        ),
    ]


def heavy_and_off_line() -> list[Lesson]:
    """Return heavy and off-line holes."""
    four: dict[str, Any] = {"holes": 4, "seed": 41, "fluid": "red", "paper": "filter"}
    eight: dict[str, Any] = {"holes": 8, "seed": 51}
    return [
        lesson(
            "Heavy",
            "Slightly heavy",
            "One streak is a little larger than the rest. By eye it is hard to say whether one is "
            "large or the others are small: compare with more than one neighbour.",
            "hole-heavy",
            heavy=((2, 1.2),),
            **four,
        ),
        lesson(
            "Heavy",
            "Heavy",
            "One streak is plainly larger: it gives half as much fuel again as the others.",
            "hole-heavy",
            heavy=((2, 1.55),),
            **four,
        ),
        lesson(
            "Heavy",
            "Very heavy",
            "One streak is twice its size. The others are not weak: they agree with each other.",
            "hole-heavy",
            heavy=((2, 2.2),),
            **four,
        ),
        lesson(
            "Off-line",
            "Slightly off-line",
            "One streak leans three degrees to one side. Look at the two dry gaps beside it: one "
            "is a little wider than the other. Inside the usual limit of five degrees.",
            "hole-off-line",
            off_line=((4, 3.0),),
            **eight,
        ),
        lesson(
            "Off-line",
            "Off-line",
            "One streak is turned out of its place; the gap on one side is visibly larger. Its "
            "size is right: it gives its fuel, but in the wrong direction.",
            "hole-off-line",
            off_line=((4, 8.0),),
            **eight,
        ),
        lesson(
            "Off-line",
            "Far off-line",
            "One streak nearly touches its neighbour, and a wide gap is left behind it. Do not "
            "take the gap for a blocked hole: count the streaks.",
            "hole-off-line",
            off_line=((4, 17.0),),
            **eight,
        ),
    ]


def stray_and_drip() -> list[Lesson]:
    """Return stray spray and drips."""
    five: dict[str, Any] = {"holes": 5, "seed": 61, "fluid": "green"}
    six: dict[str, Any] = {"holes": 6, "seed": 71}
    return [
        lesson(
            "Stray spray",
            "A trace between two holes",
            "A small streak lies in a gap where no hole is. It is too small to fail the card, but "
            "spray a second card: a splash does not come back, a leak does.",
            "stray-spray",
            stray=((120.0, 0.12),),
            **five,
        ),
        lesson(
            "Stray spray",
            "A jet that belongs to no hole",
            "There is one streak more than holes in the tip: narrow, in a gap, and pointing at the "
            "centre like the others.",
            "stray-spray",
            stray=((120.0, 0.35),),
            **five,
        ),
        lesson(
            "Stray spray",
            "A strong stray jet",
            "An extra streak nearly as large as the real ones. Which one is too many shows in the "
            "angles: the real ones stand at equal spacing.",
            "stray-spray",
            stray=((120.0, 0.8),),
            **five,
        ),
        lesson(
            "Drip",
            "One drop from the tip",
            "A small round spot in the middle, under the tip. One drop may fall when the card is "
            "taken out; it does not decide the verdict.",
            "centre-drip",
            drip_mm3=0.8,
            **six,
        ),
        lesson(
            "Drip",
            "A wet tip",
            "A round wet spot in the middle, sharp at its edge, on an otherwise good card. The "
            "streaks say the holes are sound; the spot asks for the seat test.",
            "centre-drip",
            drip_mm3=5.0,
            **six,
        ),
        lesson(
            "Drip",
            "Dribbling",
            "The spot in the middle is as large as a streak. The pattern around it is still good: "
            "this card cannot clear the nozzle until the seat has been tested.",
            "centre-drip",
            drip_mm3=25.0,
            **six,
        ),
    ]


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
