"""What somebody saw, as it is told, read into observations.

Who is meant is told as for an outcome: a unit by its number, serial, role or model; else
"stage 2", "display", or "visit". What is not known is simply left out.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import NoReturn

from cardprep.bench.outcome import unit_meant
from cardprep.errors import BadValueError, JobError
from cardprep.job.visit import Job
from cardprep.manifest.model import Manifest
from cardprep.terms import Version, spelled_out
from cardprep.vessel.observe import (
    NONE_SHOWN,
    OLDER_SHOWN,
    Asked,
    Observed,
    Question,
    require_answer,
)
from cardprep.vessel.scales import Spoken
from cardprep.vessel.scene import Scene

_OF_STAGE = {
    one.value: one for one in (Asked.PUT_IN, Asked.INTERRUPTED, Asked.ANNOUNCED, Asked.CARD)
}
_OF_STEP = {one.value: one for one in (Asked.SHOWN, Asked.TICKED, Asked.SIGN)}
_OF_UNIT = {one.value: one for one in (Asked.STATE, Asked.HANDSET, Asked.LISTED, Asked.MODEL)}
_OF_DISPLAY = {one.value: one for one in (Asked.SOFTWARE, Asked.SECOND_DISPLAY)}
_OF_VISIT = {one.value: one for one in (Asked.ORDER, Asked.WENT_ON)}
_NOT_KNOWN = frozenset(("unknown", "don't know", "?"))
_NO_VERSIONS = frozenset((NONE_SHOWN, OLDER_SHOWN))


@dataclass(frozen=True, slots=True)
class Saw:
    """What was seen of one thing: who or what, and what of it, as told."""

    who: str
    what: tuple[tuple[str, str], ...]


def spoken_in(job: Job, manifest: Manifest, saws: Sequence[Saw]) -> Iterator[Spoken]:
    """Give the versions that were seen; JobError for one that cannot be compared."""
    for number, key, value in of_units(job, saws):
        model, word = _model_and_type(job, manifest, number, key)
        image_type = manifest.image_type(word)
        if key in _OF_UNIT or value in _NO_VERSIONS or image_type is None:
            continue
        version = Version(value)
        try:
            manifest.version_order(model, image_type).key(version)
        except BadValueError as error:
            raise JobError("outcome.version", found=version.text, type=word) from error
        yield model, word, version


def of_units(job: Job, saws: Sequence[Saw]) -> Iterator[tuple[int, str, str]]:
    """Give what was seen of units: number from 0, key, value; what is not known is left out."""
    for saw in saws:
        if _subject(saw.who) != "unit":
            continue
        number = unit_meant(job, saw.who) - 1
        for key, value in saw.what:
            if value.casefold() not in _NOT_KNOWN:
                yield number, key, value


def _subject(who: str) -> str:
    first = who.casefold().split()[0] if who.split() else ""
    return first if first in ("stage", "card", "display", "visit") else "unit"


def _model_and_type(job: Job, manifest: Manifest, number: int, key: str) -> tuple[str, str]:
    """Return whose version a key means, and of which type."""
    unit = job.units[number]
    if not key.startswith("handset "):
        return unit.model, key
    facts = manifest.model(unit.model)
    companion = None if facts is None else facts.companion
    return (unit.model if companion is None else companion.model), key[len("handset ") :].strip()


def told(scene: Scene, job: Job, saws: Sequence[Saw]) -> Observed:
    """Return what was told as observations.

    Raises JobError and BadValueError for what there is not.
    """
    found: dict[Question, str] = {}
    for saw in saws:
        for key, value in saw.what:
            question = _question(scene, job, saw.who, key)
            if value.casefold() in _NOT_KNOWN:
                continue
            answer = require_answer(scene, question, value)
            if found.get(question, answer) != answer:
                raise BadValueError("diagnose.twice", who=spelled_out(saw.who[:40]), asked=key)
            found[question] = answer
    return found


def _question(scene: Scene, job: Job, who: str, key: str) -> Question:
    kind = _subject(who)
    if kind in ("stage", "card"):
        return _of_stage(scene, job, who, key)
    if kind == "visit" and key in _OF_VISIT:
        return Question(_OF_VISIT[key])
    if kind == "display" and key in _OF_DISPLAY:
        return Question(_OF_DISPLAY[key], display=_display(job, who))
    if kind in ("visit", "display"):
        _refuse(who, key, _OF_VISIT if kind == "visit" else _OF_DISPLAY)
    number = unit_meant(job, who) - 1
    if key in _OF_UNIT:
        return Question(_OF_UNIT[key], unit=number)
    unit = scene.vessel.units[number]
    own, slots = unit.slots[: unit.own], unit.slots
    word = key
    if key.startswith("handset "):
        own, word = unit.slots[unit.own :], key[len("handset ") :].strip()
    if word not in own:
        handsets = [f"handset {slot}" for slot in slots[unit.own :]]
        _refuse(who, key, [*_OF_UNIT, *slots[: unit.own], *handsets])
    first = unit.own if key.startswith("handset ") else 0
    return Question(Asked.VERSION, unit=number, slot=first + own.index(word))


def _refuse(who: str, key: str, known: Iterable[str]) -> NoReturn:
    raise BadValueError(
        "diagnose.key",
        who=spelled_out(who[:40]),
        found=spelled_out(key[:40]),
        known=", ".join(known),
    )


def _display(job: Job, who: str) -> int:
    model = " ".join(who.split()[1:])
    names = [display.model for display in job.displays]
    if not model:
        return 0
    if model not in names:
        raise JobError("diagnose.display", found=spelled_out(model[:40]), known=", ".join(names))
    return names.index(model)


def _of_stage(scene: Scene, job: Job, who: str, key: str) -> Question:
    digits = who.split()[1] if len(who.split()) == 2 else ""
    number = int(digits) if digits.isascii() and digits.isdecimal() and len(digits) < 3 else 0
    if not 1 <= number <= len(scene.stages):
        raise JobError("diagnose.stage", stage=spelled_out(digits[:10]), of=len(scene.stages))
    stage = number - 1
    if key in _OF_STAGE:
        return Question(_OF_STAGE[key], stage=stage)
    for word, asked in _OF_STEP.items():
        if key != word and not key.startswith(f"{word} "):
            continue
        units = list(dict.fromkeys(unit for unit, _ in scene.stages[stage].steps))
        named = key[len(word) :].strip()
        unit = unit_meant(job, named) - 1 if named else units[0]
        if unit not in units or (not named and len(units) > 1):
            known = ", ".join(f"{word} {one + 1}" for one in units)
            _refuse(who, key, [known])
        return Question(asked, stage=stage, unit=unit)
    _refuse(who, key, [*_OF_STAGE, *_OF_STEP])
