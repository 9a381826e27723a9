"""The observation that leaves the fewest explanations; its law is in test_diagnosis_laws.py."""

from __future__ import annotations

from cardprep.vessel.explain import Explainer
from cardprep.vessel.next_question import first_questions, judged, next_question
from cardprep.vessel.observe import Asked, Question
from tests.vessel.evenings import evening, observed

SCENE = evening()
SEEN = observed(SCENE, state="running", app="4.30", handset="blank")
FOUND = Explainer(SCENE).explain(SEEN).explanations


def test_the_question_about_the_handsets_mode_tells_most() -> None:
    best = next_question(SCENE, FOUND, SEEN)
    assert best is not None
    assert best.question == Question(Asked.SIGN, stage=1, unit=0)
    assert best.answers == (("before", 2), ("late", 1), ("no", 1))
    # Not in its mode 80, late 30, power lost 20, card pulled 10, of 140.
    assert abs(best.expected - (80 * 1 + 30 * 1 + 30 * 2) / 140) < 1e-9


def test_what_nobody_knows_is_not_asked_again() -> None:
    passed = Question(Asked.SIGN, stage=1, unit=0)
    second = next_question(SCENE, FOUND, SEEN, [passed])
    assert second is not None
    assert second.question == Question(Asked.INTERRUPTED, stage=1)


def test_nothing_tells_one_explanation_apart() -> None:
    assert next_question(SCENE, FOUND[:1], SEEN) is None


def test_a_question_that_any_answer_fits_leaves_all() -> None:
    expected = judged(SCENE, FOUND, Question(Asked.WENT_ON)).expected
    assert abs(expected - len(FOUND)) < 1e-9


def test_first_every_unit_is_asked_about() -> None:
    asked = [(one.asked, one.slot) for one in first_questions(SCENE)]
    assert asked == [
        (Asked.STATE, -1),
        (Asked.HANDSET, -1),
        (Asked.VERSION, 0),
        (Asked.VERSION, 1),
        (Asked.VERSION, 2),
    ]
