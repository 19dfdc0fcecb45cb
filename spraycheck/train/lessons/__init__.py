"""The pages of the atlas: what is drawn, and what a trainee should see in it.

A group keeps nozzle, paper and seed from its first severity to its last, so that only the fault
changes from page to page. The numbers on a page are never written here: the tool measures them.

``card_request`` says in plain words what is wanted, ``requested_scene`` turns that into something
to draw, ``truth_text`` says what is true about it, ``agreement`` holds the tool's answer against
it; ``faults`` and ``look_alikes`` list the pages and ``atlas_pages`` makes them.
"""

from __future__ import annotations

from dataclasses import replace

from spraycheck.train.lessons.faults import (
    blocked_and_weak,
    good,
    heavy_and_off_line,
    merging_and_several,
    stray_and_drip,
)
from spraycheck.train.lessons.lesson import FAULT, GOOD, LOOK_ALIKE, Lesson
from spraycheck.train.lessons.look_alikes import look_alikes

__all__ = ["FAULT", "GOOD", "LOOK_ALIKE", "Lesson", "lessons"]


def lessons(seed: int = 1) -> tuple[Lesson, ...]:
    """Return the pages in reading order.

    Parameters
    ----------
    seed : int
        Another seed draws other cards of the same kinds.
    """
    pages = [
        *good(),
        *blocked_and_weak(),
        *heavy_and_off_line(),
        *stray_and_drip(),
        *merging_and_several(),
        *look_alikes(),
    ]
    # Added, so that pages that show the same nozzle still do.
    return tuple(
        replace(page, request=replace(page.request, seed=page.request.seed + 1000 * (seed - 1)))
        for page in pages
    )
