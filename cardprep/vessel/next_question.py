"""Which one observation would best tell the remaining explanations apart.

The best one leaves the fewest explanations, expected over its answers. How likely an
answer is follows from the explanations that allow it and from how common these are;
an explanation that allows several answers gives each an equal share. Of equal ones,
the one that is easiest to make is asked first.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from cardprep.vessel.explain import Explanation
from cardprep.vessel.observe import Asked, Observed, Question, answers, questions
from cardprep.vessel.scene import Scene

# Below this, one question does not leave fewer than another.
_ALIKE = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class NextQuestion:
    """An observation to make.

    expected  how many explanations are left afterwards, expected over its answers
    answers   that any of the explanations allows, with how many would be left
    """

    question: Question
    expected: float
    answers: tuple[tuple[str, int], ...]


def next_question(
    scene: Scene,
    explanations: Sequence[Explanation],
    observed: Observed,
    passed_over: Iterable[Question] = (),
) -> NextQuestion | None:
    """Return the best observation; None if none would leave fewer explanations.

    passed_over  questions that nobody can answer
    """
    left_out = {*observed, *passed_over}
    best: NextQuestion | None = None
    for question in questions(scene):
        if question in left_out:
            continue
        asked = judged(scene, explanations, question)
        if asked.expected < len(explanations) - _ALIKE and (
            best is None or asked.expected < best.expected - _ALIKE
        ):
            best = asked
    return best


def judged(scene: Scene, explanations: Sequence[Explanation], question: Question) -> NextQuestion:
    """Return a question with what it would leave."""
    known = answers(scene, question)
    shares = dict.fromkeys(known, 0.0)
    left = dict.fromkeys(known, 0)
    total = sum(one.weight for one in explanations)
    for one in explanations:
        allowed = one.allowed(question)
        possible = [answer for answer in known if allowed is None or answer in allowed]
        for answer in possible:
            left[answer] += 1
            shares[answer] += one.weight / (total * len(possible))
    expected = sum(shares[answer] * left[answer] for answer in known)
    return NextQuestion(
        question=question,
        expected=expected,
        answers=tuple((answer, left[answer]) for answer in known if left[answer]),
    )


def first_questions(scene: Scene) -> tuple[Question, ...]:
    """Return what is asked of every unit before anything is known to be wrong."""
    planned = {unit for stage in scene.stages for unit, _ in stage.steps}
    return tuple(
        question
        for question in questions(scene)
        if question.asked in _FIRST and question.unit in planned
    )


_FIRST = frozenset({Asked.STATE, Asked.HANDSET, Asked.VERSION})
