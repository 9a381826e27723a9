"""What can be seen or asked after a visit: questions as values, each with its answers.

A question is about a unit, a stage, a display or the whole visit; its answer is a word
from a short list, or a version. "Don't know" is no answer at all: a question that was
not answered stands in no observation.

Versions are told by the spelling that the scale has for them (``answer_of``). What a
person reads for questions and answers stands in the catalogue.
"""

from __future__ import annotations

from collections.abc import Mapping
from enum import StrEnum
from typing import NamedTuple

from cardprep.errors import BadValueError
from cardprep.terms import Version, spelled_out
from cardprep.vessel.scale import EMPTY, Scale
from cardprep.vessel.scene import Scene

NONE_SHOWN = "none"
OLDER_SHOWN = "older"


class Asked(StrEnum):
    """What a question is about, in the order in which it is easily answered."""

    STATE = "state"
    HANDSET = "handset"
    VERSION = "version"
    SHOWN = "shown"
    WENT_ON = "went on"
    ORDER = "order"
    PUT_IN = "put in"
    INTERRUPTED = "interrupted"
    SIGN = "sign"
    TICKED = "ticked"
    LISTED = "listed"
    MODEL = "model"
    ANNOUNCED = "announced"
    SECOND_DISPLAY = "second display"
    SOFTWARE = "software"
    CARD = "card"


ANSWERS: Mapping[Asked, tuple[str, ...]] = {
    Asked.STATE: ("running", "waiting", "dark"),
    Asked.HANDSET: ("running", "blank", "none"),
    Asked.SHOWN: ("done", "refused", "not offered", "nothing"),
    Asked.WENT_ON: ("yes", "no"),
    Asked.ORDER: ("as planned", "other"),
    Asked.PUT_IN: ("once", "again", "not"),
    Asked.INTERRUPTED: ("no", "power", "card"),
    Asked.SIGN: ("before", "late", "no"),
    Asked.TICKED: ("right", "other", "none"),
    Asked.LISTED: ("yes", "no"),
    Asked.MODEL: ("as noted", "another"),
    Asked.ANNOUNCED: ("yes", "no"),
    Asked.SECOND_DISPLAY: ("yes", "no"),
    Asked.SOFTWARE: ("current", "old"),
    Asked.CARD: ("right", "mixed", "altered", "unreadable", "other"),
}
_RANK = {asked: number for number, asked in enumerate(Asked)}


class Question(NamedTuple):
    """One thing that can be seen or asked. Numbers count from 0; -1 where there is none.

    slot  of the unit whose version is asked for; its handset's are behind its own
    """

    asked: Asked
    stage: int = -1
    unit: int = -1
    slot: int = -1
    display: int = -1

    @property
    def order(self) -> tuple[int, int, int, int, int]:
        """A place among all questions that is the same in every run."""
        return _RANK[self.asked], self.unit, self.stage, self.slot, self.display


# What was answered.
Observed = Mapping[Question, str]


def shown_at(scale: Scale, place: int) -> str:
    """Return what a unit shows that has the version at a place."""
    if place == EMPTY:
        return NONE_SHOWN
    version = scale.version(place)
    return OLDER_SHOWN if version is None else version.text


def answer_of(scale: Scale, told: str) -> str:
    """Return a version, as somebody read it, in the spelling of the scale."""
    if told in (NONE_SHOWN, OLDER_SHOWN):
        return told
    return shown_at(scale, scale.place(Version(told)))


def questions(scene: Scene) -> tuple[Question, ...]:
    """Return every question that a visit gives rise to."""
    found: list[Question] = []
    for number, stage in enumerate(scene.stages):
        found += [
            Question(asked, stage=number)
            for asked in (Asked.PUT_IN, Asked.INTERRUPTED, Asked.ANNOUNCED, Asked.CARD)
        ]
        for unit, image in stage.steps:
            found += [Question(asked, stage=number, unit=unit) for asked in _OF_STEPS]
            if unit in scene.expected_companions and scene.carries(unit, image):
                found.append(Question(Asked.SIGN, stage=number, unit=unit))
        found += [
            Question(asked, display=stage.display)
            for asked in (Asked.SOFTWARE, Asked.SECOND_DISPLAY)
        ]
    for aboard in scene.vessel.units:
        of_unit = aboard.number
        found += [Question(asked, unit=of_unit) for asked in _OF_UNITS]
        slots = range(len(aboard.slots))
        found += [Question(Asked.VERSION, unit=of_unit, slot=slot) for slot in slots]
        if aboard.has_companion:
            found.append(Question(Asked.HANDSET, unit=of_unit))
    found.append(Question(Asked.WENT_ON))
    if len(scene.stages) > 1:
        found.append(Question(Asked.ORDER))
    return tuple(sorted(set(found), key=lambda question: question.order))


_OF_STEPS = (Asked.SHOWN, Asked.TICKED)
_OF_UNITS = (Asked.STATE, Asked.LISTED, Asked.MODEL)


def answers(scene: Scene, question: Question) -> tuple[str, ...]:
    """Return the answers that a question can have."""
    if question.asked is not Asked.VERSION:
        return ANSWERS[question.asked]
    scale = scene.vessel.units[question.unit].scales[question.slot]
    known = [version.text for version in scale.versions(scale.unknown)]
    return (NONE_SHOWN, OLDER_SHOWN, *known)


def require_answer(scene: Scene, question: Question, told: str) -> str:
    """Return an answer as it is compared; BadValueError for one that there is not."""
    word = " ".join(told.split())
    if question.asked is Asked.VERSION:
        return answer_of(scene.vessel.units[question.unit].scales[question.slot], word)
    if word.casefold() not in ANSWERS[question.asked]:
        known = ", ".join(ANSWERS[question.asked])
        raise BadValueError(
            "diagnose.answer", asked=question.asked.value, found=spelled_out(word[:40]), known=known
        )
    return word.casefold()
