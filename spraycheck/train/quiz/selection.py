"""Which questions are asked: exams fixed by a seed, and practice that follows the trainee.

Half of the cards are good, and half of those carry something that looks like a fault and is none;
so do a third of the faulty ones, so that a look-alike is no hint either way.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence

import numpy as np

from spraycheck.errors import InputError
from spraycheck.train.quiz.kinds import LOOK_ALIKES, QUIZ_KINDS
from spraycheck.train.quiz.question import Fault, QuestionSpec

MAX_QUESTIONS = 200
"""Of one exam. Chosen because nobody judges more in one session."""

_TWO_FAULTS_EVERY = 5
# Chosen: seldom enough to leave most answers about one fault, often enough to make people look on.


def exam_questions(seed: int, questions: int) -> tuple[QuestionSpec, ...]:
    """Choose an exam that is the same for everyone who uses the seed.

    Every kind of fault is asked about equally often (within one), at severities spread evenly over
    its ladder on a log scale, so that one class's exams give detection curves too.

    Parameters
    ----------
    seed : int
        From 0.
    questions : int
        1 to `MAX_QUESTIONS`.

    Raises
    ------
    InputError
        A seed below 0 or an impossible number of questions.
    """
    check_exam(seed, questions)
    rng = np.random.default_rng([seed, 20])
    bad = questions // 2 if questions % 2 == 0 or rng.uniform() < 0.5 else questions // 2 + 1
    words = _rounds(rng, list(QUIZ_KINDS), bad)
    level = {word: iter(_spread(rng, word, words.count(word))) for word in QUIZ_KINDS}
    faults: list[tuple[Fault, ...]] = [
        (Fault(kind=word, severity=next(level[word])),) for word in words
    ]
    for k in range(_TWO_FAULTS_EVERY - 1, bad, _TWO_FAULTS_EVERY):
        other = str(rng.choice([w for w in QUIZ_KINDS if w not in (words[k], "stray")]))
        faults[k] += (Fault(kind=other, severity=_spread(rng, other, 1)[0]),)
    good = questions - bad
    looks = _rounds(rng, list(LOOK_ALIKES), questions)
    alike = [*looks[: good // 2], *[""] * (good - good // 2)]
    alike += [*looks[good // 2 : good // 2 + bad // 3], *[""] * (bad - bad // 3)]
    every: list[tuple[Fault, ...]] = [*[()] * good, *faults]
    order = rng.permutation(questions)
    return tuple(
        QuestionSpec(seed=int(rng.integers(2**31)), faults=every[k], look_alike=alike[k])
        for k in order
    )


def practice_question(
    rng: np.random.Generator,
    answered: Mapping[str, Sequence[bool]],
    recent: Iterable[bool] = (),
) -> QuestionSpec:
    """Choose the next question of a practice.

    Parameters
    ----------
    rng : numpy.random.Generator
        Where chance comes from.
    answered : mapping
        Kind of fault to whether its hole was found, question by question, as the trainee has
        answered it in practice so far, earlier days included.
    recent : iterable of bool
        Whether the cards of this session were faulty, so far.

    Notes
    -----
    Each graded kind has a weighted up-down staircase of its own (`psychometrics.Staircase`). It is
    chosen before Bayesian rules, which estimate faster, because a trainee learns: a staircase
    follows an ability that moves, asks nothing of a model, is not led astray for long by one slip,
    and can be worked through on paper from the results file. It settles where three of four
    are found: hard enough to learn from, easy enough not to give up, and where a curve is steep.
    Good and faulty are balanced in blocks of six, so that the next card cannot be guessed for long.
    A blocked hole has no degrees; it comes half as often and tells how much is lost by slips.
    """
    seen = list(recent)
    block = seen[len(seen) - len(seen) % 6 :]
    left = {True: 3 - sum(block), False: 3 - (len(block) - sum(block))}
    faulty = bool(rng.uniform() < left[True] / (left[True] + left[False]))
    seed = int(rng.integers(2**31))
    like = rng.uniform() < (1 / 3 if faulty else 1 / 2)
    look_alike = str(rng.choice(list(LOOK_ALIKES))) if like else ""
    if not faulty:
        return QuestionSpec(seed=seed, look_alike=look_alike)
    asked = {
        word: len(answered.get(word, ())) * (1 if kind.graded else 2)
        for word, kind in QUIZ_KINDS.items()
    }
    fewest = min(asked.values())
    word = str(rng.choice([word for word, times in asked.items() if times <= fewest + 1]))
    kind = QUIZ_KINDS[word]
    level = kind.staircase().level(answered.get(word, ())) if kind.graded else math.inf
    fault = Fault(kind=word, severity=level)
    return QuestionSpec(seed=seed, faults=(fault,), look_alike=look_alike)


def check_exam(seed: int, questions: int) -> None:
    """Raise `InputError` for an impossible seed or number of questions."""
    if seed < 0:
        raise InputError(f"seed {seed}: expected 0 or more, for example --seed 7")
    if not 1 <= questions <= MAX_QUESTIONS:
        raise InputError(f"{questions} questions: expected 1 to {MAX_QUESTIONS}")


def _rounds(rng: np.random.Generator, words: list[str], count: int) -> list[str]:
    """Return shuffled rounds of the words, one after the other."""
    found: list[str] = []
    while len(found) < count:
        found += [words[int(k)] for k in rng.permutation(len(words))]
    return found[:count]


def _spread(rng: np.random.Generator, word: str, count: int) -> list[float]:
    """Return severities, one in each of ``count`` equal log-wide parts of the ladder, shuffled."""
    kind = QUIZ_KINDS[word]
    if not kind.graded:
        return [math.inf] * count
    parts = (rng.permutation(count) + rng.uniform(0, 1, count)) / max(count, 1)
    levels = kind.least * (kind.most / kind.least) ** parts
    return [float(level) for level in levels]
