"""The pages of the atlas: what is drawn, and what a trainee should see in it.

A group keeps nozzle, paper and seed from its first severity to its last, so that only the fault
changes from page to page. The numbers on a page are never written here: the tool measures them.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any, Final

from spraycheck.app.training.wishes import Wish
from spraycheck.pattern import flags
from spraycheck.pattern.findings import KINDS, PHOTO_ADVICE

GOOD, FAULT, LOOK_ALIKE = "good", "fault", "look-alike"


@dataclass(frozen=True, kw_only=True)
class Lesson:
    """One page.

    Parameters
    ----------
    group, title : str
        Heading of several pages, and of this one.
    kind : str
        ``good``, ``fault`` or ``look-alike`` (looks wrong, but is no fault of the nozzle).
    wish : Wish
        What is drawn.
    see : str
        What to see, in plain words.
    causes, steps : tuple of str
        What it may come from, and what to do next.
    """

    group: str
    title: str
    kind: str
    wish: Wish
    see: str
    causes: tuple[str, ...]
    steps: tuple[str, ...]


_GOOD_STEPS: Final = (
    "Nothing to repair by this card. It says nothing of opening pressure, seat leakage or the "
    "fineness of the spray: do those tests too.",
)


def _lesson(
    group: str,
    title: str,
    see: str,
    *codes: str,
    kind: str = FAULT,
    causes: tuple[str, ...] = (),
    steps: tuple[str, ...] = (),
    **wish: Any,
) -> Lesson:
    """Make a page; causes and steps come from the catalogue of findings where codes are given."""
    known = [KINDS[code] for code in codes]
    return Lesson(
        group=group,
        title=title,
        kind=kind,
        wish=Wish(**{"sheet": "200x200", "megapixels": 2.0, **wish}),
        see=see,
        causes=causes or tuple(dict.fromkeys(c for one in known for c in one.causes)),
        steps=steps or tuple(dict.fromkeys(one.next_step for one in known)),
    )


def _good() -> list[Lesson]:
    causes = ("Nothing is wrong: small differences between holes are in every sound nozzle",)
    return [
        _lesson(
            "Good",
            "Six good holes",
            "Six streaks of one size, at equal angles, all pointing away from one place in the "
            "middle. Edges are a little ragged and fine mist lies beyond each tip: that is normal.",
            kind=GOOD,
            causes=causes,
            steps=_GOOD_STEPS,
            seed=4,
        ),
        _lesson(
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


def _blocked_and_weak() -> list[Lesson]:
    six: dict[str, Any] = {"holes": 6, "seed": 21}
    five: dict[str, Any] = {"holes": 5, "seed": 31, "fluid": "clear", "paper": "cream"}
    nearly = (
        "One place is almost dry: a few specks where a streak belongs. A hole that gives a "
        "twelfth of its fuel is as good as blocked, and the tool calls it so."
    )
    return [
        _lesson("Blocked", "Nearly blocked", nearly, "hole-blocked", weak=((3, 0.08),), **six),
        _lesson(
            "Blocked",
            "One hole blocked",
            "One gap is twice as wide as the others. Count the streaks, then count the holes in "
            "the tip: one is missing, and no other has moved to fill the gap.",
            "hole-blocked",
            blocked=(3,),
            **six,
        ),
        _lesson(
            "Blocked",
            "Two neighbours blocked",
            "Two streaks are missing side by side: a third of the circle is dry. The remaining "
            "ones still stand where they should, so the nozzle is not bent.",
            "hole-blocked",
            blocked=(3, 4),
            **six,
        ),
        _lesson(
            "Weak",
            "Slightly weak",
            "One streak is a little smaller. Most eyes pass over it, and the tool measures it but "
            "lets it pass: it lies inside the usual limit of three quarters.",
            "hole-weak",
            weak=((5, 0.84),),
            **five,
        ),
        _lesson(
            "Weak",
            "Weak",
            "One streak is clearly shorter and narrower than its neighbours, with more separate "
            "drops about it: slow fuel breaks up badly.",
            "hole-weak",
            weak=((5, 0.55),),
            **five,
        ),
        _lesson(
            "Weak",
            "Very weak",
            "Only a small patch is left where a streak belongs. The next step towards blocked.",
            "hole-weak",
            weak=((5, 0.25),),
            **five,
        ),
    ]


def _heavy_and_off_line() -> list[Lesson]:
    four: dict[str, Any] = {"holes": 4, "seed": 41, "fluid": "red", "paper": "filter"}
    eight: dict[str, Any] = {"holes": 8, "seed": 51}
    return [
        _lesson(
            "Heavy",
            "Slightly heavy",
            "One streak is a little larger than the rest. By eye it is hard to say whether one is "
            "large or the others are small: compare with more than one neighbour.",
            "hole-heavy",
            heavy=((2, 1.2),),
            **four,
        ),
        _lesson(
            "Heavy",
            "Heavy",
            "One streak is plainly larger: it gives half as much fuel again as the others.",
            "hole-heavy",
            heavy=((2, 1.55),),
            **four,
        ),
        _lesson(
            "Heavy",
            "Very heavy",
            "One streak is twice its size. The others are not weak: they agree with each other.",
            "hole-heavy",
            heavy=((2, 2.2),),
            **four,
        ),
        _lesson(
            "Off-line",
            "Slightly off-line",
            "One streak leans three degrees to one side. Look at the two dry gaps beside it: one "
            "is a little wider than the other. Inside the usual limit of five degrees.",
            "hole-off-line",
            off_line=((4, 3.0),),
            **eight,
        ),
        _lesson(
            "Off-line",
            "Off-line",
            "One streak is turned out of its place; the gap on one side is visibly larger. Its "
            "size is right: it gives its fuel, but in the wrong direction.",
            "hole-off-line",
            off_line=((4, 8.0),),
            **eight,
        ),
        _lesson(
            "Off-line",
            "Far off-line",
            "One streak nearly touches its neighbour, and a wide gap is left behind it. Do not "
            "take the gap for a blocked hole: count the streaks.",
            "hole-off-line",
            off_line=((4, 17.0),),
            **eight,
        ),
    ]


def _stray_and_drip() -> list[Lesson]:
    five: dict[str, Any] = {"holes": 5, "seed": 61, "fluid": "green"}
    six: dict[str, Any] = {"holes": 6, "seed": 71}
    return [
        _lesson(
            "Stray spray",
            "A trace between two holes",
            "A small streak lies in a gap where no hole is. It is too small to fail the card, but "
            "spray a second card: a splash does not come back, a leak does.",
            "stray-spray",
            stray=((120.0, 0.12),),
            **five,
        ),
        _lesson(
            "Stray spray",
            "A jet that belongs to no hole",
            "There is one streak more than holes in the tip: narrow, in a gap, and pointing at the "
            "centre like the others.",
            "stray-spray",
            stray=((120.0, 0.35),),
            **five,
        ),
        _lesson(
            "Stray spray",
            "A strong stray jet",
            "An extra streak nearly as large as the real ones. Which one is too many shows in the "
            "angles: the real ones stand at equal spacing.",
            "stray-spray",
            stray=((120.0, 0.8),),
            **five,
        ),
        _lesson(
            "Drip",
            "One drop from the tip",
            "A small round spot in the middle, under the tip. One drop may fall when the card is "
            "taken out; it does not decide the verdict.",
            "centre-drip",
            drip_mm3=0.8,
            **six,
        ),
        _lesson(
            "Drip",
            "A wet tip",
            "A round wet spot in the middle, sharp at its edge, on an otherwise good card. The "
            "streaks say the holes are sound; the spot asks for the seat test.",
            "centre-drip",
            drip_mm3=5.0,
            **six,
        ),
        _lesson(
            "Drip",
            "Dribbling",
            "The spot in the middle is as large as a streak. The pattern around it is still good: "
            "this card cannot clear the nozzle until the seat has been tested.",
            "centre-drip",
            drip_mm3=25.0,
            **six,
        ),
    ]


def _merging_and_several() -> list[Lesson]:
    six: dict[str, Any] = {"holes": 6, "seed": 81}
    merged = ("hole-off-line", "plumes-merged")
    return [
        _lesson(
            "Merging",
            "Two holes lean together",
            "Two neighbours stand closer than the rest, with wide gaps outside them. Both are off "
            "their line, towards each other.",
            *merged,
            merging=((2, 30.0),),
            **six,
        ),
        _lesson(
            "Merging",
            "Two plumes touch",
            "Two streaks have grown into one broad patch with a notch at its tip: two points, two "
            "holes.",
            *merged,
            merging=((2, 18.0),),
            **six,
        ),
        _lesson(
            "Merging",
            "Two plumes in one",
            "One patch, twice as large as any other, midway between two holes' places. No photo "
            "can say whether two holes meet here or one blocked hole has a heavy neighbour: look "
            "at the tip before you name the fault.",
            *merged,
            merging=((2, 7.0),),
            **six,
        ),
        _lesson(
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
        _lesson(
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
        _lesson(
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


def _look_alikes() -> list[Lesson]:
    six: dict[str, Any] = {"kind": LOOK_ALIKE, "holes": 6, "seed": 4}
    same = "The same nozzle as on the first page. "
    return [
        _lesson(
            "Not a fault",
            "Nozzle not square to the card",
            same + "All streaks on one side are longer and further out, those opposite shorter: "
            "the whole pattern is drawn out one way. A fault sits in one hole, a tilt in all.",
            "nozzle-tilted",
            tilt_deg=3.0,
            **six,
        ),
        _lesson(
            "Not a fault",
            "Curled card",
            same + "The sheet's edges are bowed and two of its ends stand up. Streaks on the "
            "rising parts look narrower from above.",
            causes=("paper that curls when it gets wet", "a card that was kept rolled"),
            steps=("Lay the card flat, weigh down its corners, and photograph it square-on.",),
            curl_mm=12.0,
            **six,
        ),
        _lesson(
            "Not a fault",
            "Lamp mirrored on the card",
            same + "A bright patch lies over part of the card and makes the streaks under it look "
            "paler. A weak hole is small; glare only makes it pale.",
            causes=("flash, or a lamp straight above the card",),
            steps=(PHOTO_ADVICE[flags.GLARE],),
            glare=True,
            **six,
        ),
        _lesson(
            "Not a fault",
            "Shadow across the card",
            same + "One side is darker, dry paper and streaks alike, with a soft edge between. The "
            "streaks keep their size; only the light changes.",
            causes=("the photographer or the phone between lamp and card",),
            steps=(PHOTO_ADVICE[flags.DARK],),
            shadow=True,
            **six,
        ),
        _lesson(
            "Not a fault",
            "Squared paper",
            same + "Printed lines run through the streaks and confuse the eye about their edges. "
            "Follow the stain, not the lines.",
            causes=("a sheet from an exercise book",),
            steps=("Use plain uncoated paper, or the printed target card.",),
            squared=True,
            **six,
        ),
        _lesson(
            "Not a fault",
            "Photo taken late",
            "On thick blotting paper, a quarter of an hour after the stroke: every streak has "
            "crept outward, is paler at its edge and rounder. All of them alike, so shares still "
            "compare; fine faults blur.",
            causes=("the card lay too long before it was photographed",),
            steps=("Spray a fresh card and photograph it about a minute later.",),
            minutes=12.0,
            paper="blotting",
            **six,
        ),
        _lesson(
            "Not a fault",
            "A small stroke",
            same + "All streaks are short and thin, but equal. It is the stroke, not the holes: a "
            "fault of the nozzle seldom strikes all holes alike.",
            "weak-stroke",
            volume_mm3=45.0,
            **six,
        ),
        _lesson(
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


def lessons(seed: int = 1) -> tuple[Lesson, ...]:
    """Return the pages in reading order.

    Parameters
    ----------
    seed : int
        Another seed draws other cards of the same kinds.
    """
    pages = [
        *_good(),
        *_blocked_and_weak(),
        *_heavy_and_off_line(),
        *_stray_and_drip(),
        *_merging_and_several(),
        *_look_alikes(),
    ]
    # Added, so that pages that show the same nozzle still do.
    return tuple(
        replace(page, wish=replace(page.wish, seed=page.wish.seed + 1000 * (seed - 1)))
        for page in pages
    )
