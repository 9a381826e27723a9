"""Departures, questions, answers and advice of one visit, in words.

Numbers of the model count from 0, those that a person reads from 1.
"""

from __future__ import annotations

from cardprep.texts.catalogue import screen
from cardprep.vessel.advice import Advised
from cardprep.vessel.case import Case
from cardprep.vessel.departures import NOBODY, Departure, Kind
from cardprep.vessel.model import Phase
from cardprep.vessel.observe import NONE_SHOWN, OLDER_SHOWN, Asked, Question, shown_at

_OF_STEP = (Asked.SHOWN, Asked.TICKED, Asked.SIGN)


class Names:
    """The words of one case."""

    def __init__(self, case: Case) -> None:
        self._case = case
        self._scene = case.scene

    def unit(self, number: int) -> str:
        """Return a unit so that it is not taken for another one."""
        units = self._case.job.units
        if not 0 <= number < len(units):
            return ""
        role = units[number].role
        same = [one for one in units if one.role.casefold() == role.casefold()]
        return role if len(same) == 1 else screen("name.unit", role=role, number=number + 1)

    def display(self, number: int) -> str:
        """Return the model of a display."""
        displays = self._case.job.displays
        return displays[number].model if 0 <= number < len(displays) else ""

    def stage(self, number: int) -> str:
        """Return what is on a stage's card."""
        stages = self._case.stages
        if not 0 <= number < len(stages):
            return ""
        return ", ".join(one.word for one in stages[number].types)

    def image(self, number: int) -> str:
        """Return an image as type, version and file."""
        images = self._scene.vessel.images
        if not 0 <= number < len(images):
            return ""
        facts = images[number].facts
        return screen(
            "name.image", type=facts.type.word, version=facts.version.text, file=facts.file
        )

    def departure(self, one: Departure) -> str:
        """Return what went otherwise, as a sentence's part."""
        slug = f"departure.{one.kind.value}"
        if one.phase is Phase.COMPANION:
            slug += "-companion"
        if one.kind is Kind.OTHER_CARD and one.other != NOBODY:
            slug += "-image"
        what, other, version = self.stage(one.stage), "", ""
        if one.kind is Kind.WRONG_TWIN:
            other = self.unit(one.other)
        elif one.kind is Kind.WRONG_ORDER:
            other = str(one.other + 1)
        elif one.kind is Kind.WRONG_START:
            unit = self._scene.vessel.units[one.unit]
            what = unit.slots[one.slot]
            version = self.version(shown_at(unit.scales[one.slot], one.other))
        return screen(
            slug,
            stage=one.stage + 1,
            what=what,
            unit=self.unit(one.unit),
            other=other,
            other_what=self.stage(one.other),
            image=self.image(one.other),
            display=self.display(one.other),
            version=version,
        )

    def question(self, one: Question) -> str:
        """Return a question as it is asked."""
        return self._about(one, "ask")

    def about(self, one: Question) -> str:
        """Return in short what an answer is about."""
        return self._about(one, "about")

    def _about(self, one: Question, kind_of_slug: str) -> str:
        job, manifest = self._case.job, self._case.manifest
        slug = f"{kind_of_slug}.{one.asked.value.replace(' ', '-')}"
        kind = where = model = mode = ""
        if one.unit >= 0:
            model = job.units[one.unit].model
        facts = manifest.model(model)
        if one.asked is Asked.VERSION:
            unit = self._scene.vessel.units[one.unit]
            kind = unit.slots[one.slot]
            image_type = manifest.image_type(kind)
            where = screen("name.own-page")
            if facts is not None and image_type is not None:
                where = facts.read_at.get(image_type, where)
            if one.slot >= unit.own:
                slug += "-handset"
        if one.asked is Asked.SIGN:
            mode = self._mode(one.stage, one.unit)
        return screen(
            slug,
            unit=self.unit(one.unit),
            stage=one.stage + 1,
            what=self.stage(one.stage),
            type=kind,
            where=where,
            model=model,
            mode=mode,
            display=self.display(one.display),
        )

    def _mode(self, stage: int, unit: int) -> str:
        for number, image in self._scene.stages[stage].steps:
            carries = self._scene.vessel.images[image].facts.carries
            if number == unit and carries:
                return carries[0].mode
        return screen("name.makers-sign")

    def version(self, answer: str) -> str:
        """Return a version that was shown, or that there was none."""
        if answer in (NONE_SHOWN, OLDER_SHOWN):
            return screen(f"answer.version-{answer}")
        return answer

    def answer(self, question: Question, answer: str) -> str:
        """Return an answer as it is told."""
        if question.asked is Asked.VERSION:
            return self.version(answer)
        slug = f"answer.{question.asked.value}-{answer}".replace(" ", "-")
        return screen(slug)

    def typed(self, question: Question, answer: str) -> str:
        """Return an answer as it is typed after --saw."""
        key = question.asked.value
        if question.asked is Asked.VERSION:
            unit = self._scene.vessel.units[question.unit]
            key = unit.slots[question.slot]
            key = key if question.slot < unit.own else f"handset {key}"
        if question.asked in _OF_STEP and len(self._scene.stages[question.stage].steps) > 1:
            key = f"{key} {question.unit + 1}"
        who = "visit"
        if question.stage >= 0:
            who = f"stage {question.stage + 1}"
        elif question.unit >= 0:
            who = str(question.unit + 1)
        elif question.display >= 0:
            who = f"display {self.display(question.display)}"
        return f"{who}; {key}={answer}"

    def advised(self, one: Advised) -> str:
        """Return advice as a sentence."""
        job, manifest = self._case.job, self._case.manifest
        model = job.units[one.unit].model if one.unit >= 0 else ""
        facts = manifest.model(model)
        what, off = self.stage(one.stage), screen("name.makers-sign")
        if facts is not None and one.slug in ("care.once", "care.read-back"):
            some = facts.entered_once if one.slug == "care.once" else facts.read_back_after
            what = ", ".join(some)
        handset = None if facts is None or facts.companion is None else facts.companion.model
        companion = None if handset is None else manifest.model(handset)
        if companion is not None and companion.seen_off is not None:
            off = companion.seen_off
        images = self._scene.vessel.images
        image = images[one.image].facts if 0 <= one.image < len(images) else None
        known = None if image is None else manifest.by_sha256(image.sha256)
        return screen(
            one.slug,
            unit=self.unit(one.unit),
            other=self.unit(one.other),
            stage=one.stage + 1,
            what=what,
            off=off,
            display=self.display(one.display),
            type="" if image is None else image.type.word,
            version="" if image is None else image.version.text,
            file="" if image is None else image.file,
            reason="" if known is None else known.withdrawn or "",
        )
