"""What will happen on board, step by step: what is put where, done, seen, and what to do if not.

Pure: a job, its stages as they were planned, and the manifest in; slugs with their
parameters out. The sentences stand in ``texts/rehearsal.py``, so that terminal, paper and
page say the same.

Source of what is usual (which card is announced, what a waiting unit looks like, that a
radio is written before its handset): common practice, no published source; a manifest
says where it is otherwise.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from cardprep.errors import JobError
from cardprep.job.stage import Stage
from cardprep.job.step import LeaveOut, StageStep
from cardprep.job.visit import Job, Unit
from cardprep.manifest.model import DisplayFacts, ImageFacts, Leaves, Manifest, UnitKind
from cardprep.terms import APPLICATION, BOOTLOADER
from cardprep.texts.catalogue import screen
from cardprep.vessel.model import Load, State, UnitModel, VesselModel, after
from cardprep.vessel.plan import vessel_of
from cardprep.vessel.rehearsal import Part, Rehearsal, RehearsedStage, Said, Stands
from cardprep.vessel.scale import EMPTY_ONLY, is_known


def rehearse(
    job: Job,
    stages: Sequence[Stage],
    steps: Sequence[Sequence[StageStep]],
    manifest: Manifest,
    *,
    one_card: bool = False,
) -> Rehearsal:
    """Return a visit as it will go if every step goes well, with what to do where one does not.

    one_card  whether one card is written again between the stages, on a laptop aboard

    Raises JobError if a stage has an image that the manifest does not know any more.
    """
    vessel = vessel_of(job, manifest)
    states = list(vessel.start)
    rehearsed = []
    for stage, told in zip(stages, steps, strict=True):
        loads = [_load(vessel, stage, step) for step in told]
        said = _Stage(job, vessel, manifest, stage, told, loads, states).said()
        if one_card and stage.number > 1:
            named: dict[str, str | int] = {"job": str(job.name), "stage": stage.number}
            named["before"] = stage.number - 1
            said.insert(0, _said(Part.DO, "rehearse.write-again", **named))
        for step, load in zip(told, loads, strict=True):
            states[step.unit - 1] = after(load, states[step.unit - 1])
        rehearsed.append(
            RehearsedStage(
                stage=stage,
                steps=tuple(told),
                minutes=(sum(s.minutes[0] for s in told), sum(s.minutes[1] for s in told)),
                said=tuple(said),
                stands=tuple(_stands(unit, states[unit.number]) for unit in vessel.units),
            )
        )
    touched = sorted({step.unit for told in steps for step in told})
    units = [job.units[number - 1] for number in touched]
    return Rehearsal(
        job=job,
        before=tuple(_before(units, steps, manifest)),
        stages=tuple(rehearsed),
        afterwards=tuple(_afterwards(units, manifest)),
    )


def _load(vessel: VesselModel, stage: Stage, step: StageStep) -> Load:
    """Return the load of a step, found by the file on the stage's card."""
    unit = vessel.units[step.unit - 1]
    digests = {file.sha256 for file in stage.files if file.image_type.word == step.type}
    for load in unit.loads:
        facts = vessel.images[load.image].facts
        if facts.sha256 in digests and facts.version == step.version:
            return load
    raise JobError("job.plan-over-manifest", job=str(stage.job), stage=stage.number)


def _stands(unit: UnitModel, state: State) -> Stands:
    versions: list[tuple[str, str | None]] = []
    for slot, word in enumerate(unit.slots):
        found = unit.scales[slot].versions(state[slot])
        known = found[0].text if is_known(state[slot]) and found else None
        versions.append((word, "" if state[slot] == EMPTY_ONLY else known))
    empty = [unit.slots[slot] for slot in unit.vital if state[slot] == EMPTY_ONLY]
    condition = "running"
    if empty:
        condition = "waiting" if empty == [APPLICATION.word] else "dead"
    return Stands(
        unit=unit.number + 1,
        condition=condition,
        versions=tuple(versions[: unit.own]),
        handset=tuple(versions[unit.own :]),
        is_blank=not state[-1],
    )


def _before(
    units: Sequence[Unit], steps: Sequence[Sequence[StageStep]], manifest: Manifest
) -> list[Said]:
    """Return what is to be known and done before the first card is put in."""
    said = [_said(Part.BEFORE, "rehearse.maker"), _said(Part.BEFORE, "rehearse.moored")]
    kinds = {facts.kind for unit in units if (facts := manifest.model(unit.model)) is not None}
    if UnitKind.RADIO in kinds:
        said.append(_said(Part.BEFORE, "rehearse.calling"))
    if UnitKind.AUTOPILOT in kinds:
        said.append(_said(Part.BEFORE, "rehearse.autopilot-before"))
    if any(step.handset is not None for told in steps for step in told):
        said.append(_said(Part.BEFORE, "rehearse.alert"))
    said.append(_said(Part.BEFORE, "rehearse.charts"))
    for unit in units:
        facts = manifest.model(unit.model)
        if facts is None:
            continue
        if facts.note_before:
            what = ", ".join(facts.note_before)
            said.append(_said(Part.BEFORE, "rehearse.note", unit=_named(unit), what=what))
        if facts.entered_once:
            what = ", ".join(facts.entered_once)
            said.append(_said(Part.BEFORE, "rehearse.once", unit=_named(unit), what=what))
    return said


def _afterwards(units: Sequence[Unit], manifest: Manifest) -> list[Said]:
    """Return what is to be done when the last card is out."""
    said = [_said(Part.DO, "rehearse.cards-out")]
    kinds = set()
    for unit in units:
        facts = manifest.model(unit.model)
        if facts is None:
            continue
        kinds.add(facts.kind)
        if facts.read_back_after:
            what = ", ".join(facts.read_back_after)
            said.append(_said(Part.PROVED, "rehearse.read-back", unit=_named(unit), what=what))
    if UnitKind.RADIO in kinds:
        said.append(_said(Part.PROVED, "rehearse.working-channel"))
    if UnitKind.AUTOPILOT in kinds:
        said.append(_said(Part.PROVED, "rehearse.autopilot-after"))
    said.append(_said(Part.DO, "rehearse.outcome"))
    said.append(_said(Part.IF_NOT, "rehearse.broken-off"))
    return said


class _Stage:
    """Says what one stage will be like."""

    def __init__(
        self,
        job: Job,
        vessel: VesselModel,
        manifest: Manifest,
        stage: Stage,
        steps: Sequence[StageStep],
        loads: Sequence[Load],
        states: Sequence[State],
    ) -> None:
        self._job = job
        self._vessel = vessel
        self._manifest = manifest
        self._stage = stage
        self._steps = steps
        self._images = [vessel.images[load.image].facts for load in loads]
        self._loads = loads
        self._states = states
        display = manifest.display(stage.display)
        if display is None:
            raise JobError("job.plan-over-manifest", job=str(stage.job), stage=stage.number)
        self._display: DisplayFacts = display

    def said(self) -> list[Said]:
        """Return the sentences of the stage, in the order in which they are needed."""
        said = [
            sentence
            for step, image in zip(self._steps, self._images, strict=True)
            for sentence in self._handset_before(step, image)
        ]
        said = [*self._left_out(), *said, *self._put_in(), *self._ticked()]
        for step, image, load in zip(self._steps, self._images, self._loads, strict=True):
            said += self._step(step, image, load)
        said += [sentence for sentence in self._if_not() if sentence not in said]
        return said

    # --- before the card goes in

    def _left_out(self) -> list[Said]:
        """Say by what is seen a step, or the whole card, may be left out."""
        said = []
        whole = len(self._steps) == 1
        for step in self._steps:
            for condition in step.leave_out:
                named: dict[str, str | int] = {
                    "unit": _named(self._unit(step)),
                    "stage": self._stage.number,
                    "type": condition.type,
                    "versions": _versions(condition),
                }
                if condition.handset:
                    said.append(_said(Part.DO, "rehearse.leave-out-by-handset", **named))
                elif whole:
                    said.append(_said(Part.DO, "rehearse.leave-out-card", **named))
                else:
                    said.append(_said(Part.DO, "rehearse.leave-out", **named))
        return said

    def _handset_before(self, step: StageStep, image: ImageFacts) -> list[Said]:
        if step.handset is None or not image.carries:
            return []
        unit = self._unit(step)
        carried = image.carries[0]
        facts = self._manifest.model(carried.model)
        off = None if facts is None else facts.seen_off
        named = {"handset": carried.model, "unit": _named(unit)}
        return [
            _said(Part.DO, "rehearse.handset-off", off=off, **named)
            if off
            else _said(Part.DO, "rehearse.handset-off-by-maker", **named),
            _said(Part.DO, "rehearse.handset-keys", **named),
            _said(Part.SEE, "rehearse.handset-mode", mode=carried.mode, **named),
        ]

    def _put_in(self) -> list[Said]:
        named: dict[str, str | int] = {
            "stage": self._stage.number,
            "of": self._stage.of,
            "display": self._display.model,
            "types": " and ".join(image_type.word for image_type in self._stage.types),
        }
        said = [_said(Part.DO, "rehearse.put-in", **named)]
        announced = [t.word for t in self._stage.types if t in self._display.announces]
        silent = [t.word for t in self._stage.types if t not in self._display.announces]
        if announced:
            types = " and ".join(announced)
            named["types"] = types
            said.append(_said(Part.SEE, "rehearse.announced", **named))
        if silent:
            named["types"] = " and ".join(silent)
            said.append(_said(Part.NORMAL, "rehearse.not-announced", **named))
            menu = self._display.told_to_read
            said.append(
                _said(Part.DO, "rehearse.told-to-read", menu=menu, **named)
                if menu
                else _said(Part.DO, "rehearse.told-by-menu", **named)
            )
        return said

    def _ticked(self) -> list[Said]:
        """Say which units are to be ticked in the display's list, and which look the same."""
        chosen = sorted({step.unit for step in self._steps})
        units = "; ".join(_named(self._job.units[number - 1]) for number in chosen)
        named = {"units": units, "display": self._display.model}
        said = [
            _said(Part.SEE, "rehearse.ticks-itself", **named)
            if self._display.ticks
            else _said(Part.DO, "rehearse.tick", **named)
        ]
        models = {model for image in self._images for model in image.models}
        others = [
            _named(unit)
            for number, unit in enumerate(self._job.units, 1)
            if number not in chosen and unit.model in models
        ]
        if others:
            left = "; ".join(others)
            said.append(_said(Part.DO, "rehearse.leave-unticked", units=left))
        return said

    # --- one step

    def _step(self, step: StageStep, image: ImageFacts, load: Load) -> list[Said]:
        unit = self._unit(step)
        low, high = step.minutes
        named: dict[str, str | int] = {
            "unit": _named(unit),
            "type": step.type,
            "version": step.version.text,
            "minutes": str(low) if low == high else f"{low} to {high}",
        }
        said = [_said(Part.DO, "rehearse.start", **named)]
        if step.handset is not None:
            said.append(_said(Part.SEE, "rehearse.radio-then-handset", **named))
        said.append(_said(Part.NORMAL, "rehearse.slow", **named))
        if image.type == BOOTLOADER:
            said.append(_said(Part.NORMAL, "rehearse.offered-anyway", **named))
        said += self._looks_afterwards(step, image, load, named)
        if self._display.shows_done:
            done = self._display.shows_done
            said.append(_said(Part.SEE, "rehearse.shows-done", done=done, **named))
        said += self._proved(step, named)
        return said

    def _looks_afterwards(
        self, step: StageStep, image: ImageFacts, load: Load, named: Mapping[str, str | int]
    ) -> list[Said]:
        model = self._vessel.units[step.unit - 1]
        then = after(load, self._states[step.unit - 1])
        if _stands(model, then).condition == "waiting":
            return [_said(Part.NORMAL, "rehearse.waits", **named)]
        if image.leaves is Leaves.OFF:
            return [_said(Part.NORMAL, "rehearse.switched-off", **named)]
        blank = model.has_companion and not then[-1]
        restarts = _said(Part.SEE, "rehearse.restarts", **named)
        return [restarts, *([_said(Part.NORMAL, "rehearse.blank", **named)] if blank else [])]

    def _proved(self, step: StageStep, named: Mapping[str, str | int]) -> list[Said]:
        where = step.read_at
        said = [
            _said(Part.PROVED, "rehearse.version-at", where=where, **named)
            if where
            else _said(Part.PROVED, "rehearse.version", **named)
        ]
        if step.handset is not None:
            said.append(_said(Part.PROVED, "rehearse.handset-lit", handset=step.handset, **named))
        return said

    # --- if it goes otherwise

    def _if_not(self) -> list[Said]:
        failed = self._display.shows_failed
        named: dict[str, str | int] = {"display": self._display.model, "stage": self._stage.number}
        said = [
            _said(Part.IF_NOT, "rehearse.not-offered", **named),
            _said(Part.IF_NOT, "rehearse.shows-failed", failed=failed, **named)
            if failed
            else _said(Part.IF_NOT, "rehearse.failed", **named),
        ]
        if any(image.type == BOOTLOADER for image in self._images):
            said.append(_said(Part.IF_NOT, "rehearse.dark-bootloader", **named))
        if any(image.type == APPLICATION for image in self._images):
            said.append(_said(Part.IF_NOT, "rehearse.dark-application", **named))
        if any(step.handset is not None for step in self._steps):
            said.append(_said(Part.IF_NOT, "rehearse.handset-blank", **named))
        if self._stage.number < self._stage.of:
            following = self._stage.number + 1
            said.append(_said(Part.IF_NOT, "rehearse.not-the-next", next=following, **named))
        return said

    def _unit(self, step: StageStep) -> Unit:
        return self._job.units[step.unit - 1]


def _versions(condition: LeaveOut) -> str:
    if condition.or_later:
        return screen("words.or-later", version=condition.versions[0].text)
    return screen("words.or").join(version.text for version in condition.versions)


def _named(unit: Unit) -> str:
    """Return a unit so that it is not taken for another one aboard."""
    serial = "" if unit.serial is None else f" {unit.serial}"
    return f"{unit.role} ({unit.model}{serial})"


def _said(part: Part, slug: str, **parameters: str | int | None) -> Said:
    given = {key: value for key, value in parameters.items() if value is not None}
    return Said(part=part, slug=slug, parameters=given)
