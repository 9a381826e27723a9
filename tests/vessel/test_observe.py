"""Questions and their answers, as values."""

from __future__ import annotations

import pytest

from cardprep.errors import BadValueError
from cardprep.vessel.observe import ANSWERS, Asked, Question, answers, questions, require_answer
from tests.vessel.evenings import evening, two_radios

BOOT = Question(Asked.VERSION, unit=0, slot=0)


def test_every_question_has_at_least_two_answers() -> None:
    for scene in (evening(), two_radios()):
        asked = questions(scene)
        assert len(set(asked)) == len(asked)
        assert all(len(answers(scene, question)) > 1 for question in asked)
    assert ANSWERS.keys() == set(Asked) - {Asked.VERSION}


def test_versions_have_one_spelling() -> None:
    assert require_answer(evening(), BOOT, "3.10.0") == "3.10"
    assert require_answer(evening(), BOOT, "none") == "none"


@pytest.mark.parametrize("told", ["9.99", "banana", ""])
def test_a_version_that_has_no_place(told: str) -> None:
    with pytest.raises(BadValueError):
        require_answer(evening(), BOOT, told)


def test_an_answer_that_there_is_not() -> None:
    question = Question(Asked.STATE, unit=0)
    assert require_answer(evening(), question, " Dark ") == "dark"
    with pytest.raises(BadValueError) as caught:
        require_answer(evening(), question, "red")
    assert caught.value.parameters["known"] == "running, waiting, dark"
