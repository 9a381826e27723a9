"""What follows from an explanation: whether harm is to be expected, and the next safe step.

Pure: slugs with numbers, whose sentences stand in ``texts/diagnosis.py``. Cautions are
given with the step that they belong to.

Source (common practice, no published source): a refused start does no harm, but is not
called harmless before the old version was seen running; a unit without an application
waits and is not damaged; a bootloader that was broken off may be; a handset left behind
is cured by loading the application again, into radio and handset, after the handset was
proved off by the maker's own sign.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from cardprep.job.visit import Job
from cardprep.manifest.model import Manifest, ModelFacts, UnitKind
from cardprep.vessel.departures import NOBODY, Departure, Kind
from cardprep.vessel.explain import Explanation
from cardprep.vessel.model import Load, State, UnitModel, after, refused, stands_in_the_way
from cardprep.vessel.observe import NONE_SHOWN, Asked, Observed, Question
from cardprep.vessel.play import Run
from cardprep.vessel.scale import EMPTY_ONLY
from cardprep.vessel.scene import Scene


@dataclass(frozen=True, slots=True)
class Advised:
    """One sentence: its slug, and the numbers (from 0) of what it speaks of."""

    slug: str
    unit: int = NOBODY
    stage: int = NOBODY
    other: int = NOBODY
    image: int = NOBODY
    display: int = NOBODY


@dataclass(frozen=True, slots=True, kw_only=True)
class Advice:
    """What follows from one explanation.

    harm      whether it is to be expected, the worst first
    steps     what to do next, in order
    cautions  for these steps
    """

    harm: tuple[Advised, ...]
    steps: tuple[Advised, ...]
    cautions: tuple[Advised, ...]


# What has to be put right before a card is used again.
_FIRST = {
    Kind.CARD_MIXED: "next.new-card",
    Kind.CARD_ALTERED: "next.new-card",
    Kind.CARD_UNREADABLE: "next.new-card",
    Kind.OTHER_CARD: "next.right-card",
    Kind.DISPLAY_OLD: "next.display-software",
    Kind.SECOND_DISPLAY: "next.second-display",
    Kind.OFF_NETWORK: "next.network",
    Kind.WRONG_MODEL: "next.plate",
    Kind.WRONG_START: "next.plan-anew",
    Kind.WRONG_TWIN: "next.twin",
    Kind.POWER_LOST: "next.supply",
    Kind.NOT_KNOWN_ABOARD: "next.note-handset",
}
# With these, the plan itself was made for something else.
_PLAN_ANEW = frozenset({Kind.WRONG_MODEL, Kind.WRONG_START})
_ABOUT_DISPLAYS = frozenset({Kind.DISPLAY_OLD, Kind.SECOND_DISPLAY})


def advice(
    scene: Scene, job: Job, manifest: Manifest, explanation: Explanation, observed: Observed
) -> Advice:
    """Return what follows from an explanation."""
    harm = tuple(dict.fromkeys(_harm(explanation, observed)))
    steps = tuple(dict.fromkeys(_steps(scene, explanation, harm)))
    cautions = tuple(dict.fromkeys(_cautions(scene, job, manifest, explanation, observed, steps)))
    return Advice(harm=harm, steps=steps, cautions=cautions)


# --- harm


def _harm(explanation: Explanation, observed: Observed) -> Iterator[Advised]:
    found: set[tuple[int, str, int]] = set()
    for run in explanation.runs:
        for unit, state in zip(run.vessel.units, run.states, strict=True):
            found.update(_of_state(unit, state))
        for _, number in run.refused:
            if not _old_seen(run, number, observed):
                found.add((4, "harm.none-if-seen", number))
    if not found:
        yield Advised("harm.none")
    for _, slug, number in sorted(found):
        yield Advised(slug, unit=number)


def _of_state(unit: UnitModel, state: State) -> Iterator[tuple[int, str, int]]:
    empty = _empty(unit, state)
    if "bootloader" in empty:
        yield 0, "harm.possible", unit.number
    elif empty:
        yield 2, "harm.waits", unit.number
    if unit.has_companion and any(one == EMPTY_ONLY for one in state[unit.own : -1]):
        yield 1, "harm.handset-broken-off", unit.number
    elif unit.has_companion and not state[-1]:
        yield 3, "harm.blank", unit.number


def _empty(unit: UnitModel, state: State) -> set[str]:
    return {unit.slots[slot] for slot in unit.vital if state[slot] == EMPTY_ONLY}


def _old_seen(run: Run, number: int, observed: Observed) -> bool:
    """Return whether the unit was seen running, with a version that it shows."""
    unit = run.vessel.units[number]
    if _empty(unit, run.states[number]):
        # What is said of a waiting unit says it all.
        return True
    shown = [
        observed.get(Question(Asked.VERSION, unit=number, slot=slot)) for slot in range(unit.own)
    ]
    runs = observed.get(Question(Asked.STATE, unit=number)) == "running"
    return runs and any(one not in (None, NONE_SHOWN) for one in shown)


# --- the next step


def _steps(scene: Scene, explanation: Explanation, harm: Sequence[Advised]) -> Iterator[Advised]:
    broken = [one.unit for one in harm if one.slug == "harm.possible"]
    for unit in broken:
        yield Advised("next.ask-maker", unit=unit)
    if broken:
        return
    for one in harm:
        if one.slug == "harm.none-if-seen":
            yield Advised("next.see-running", unit=one.unit)
    for departure in explanation.departures:
        yield from _first(departure)
    kinds = {one.kind for one in explanation.departures}
    if not kinds & _PLAN_ANEW:
        found = _left_to_load(scene, explanation.runs)
        yield from found[:1]
        if found:
            return
    if kinds & _PLAN_ANEW:
        return
    if not _all_done(explanation.runs):
        yield Advised("next.plan-anew")
    elif not explanation.departures:
        yield Advised("next.nothing")
    else:
        yield Advised("next.nothing-more")


def _all_done(runs: Sequence[Run]) -> bool:
    """Return whether every unit is as it was wanted, and none out of service."""
    return all(
        unit.is_done(state) and not unit.is_out_of_service(state)
        for run in runs
        for unit, state in zip(run.vessel.units, run.states, strict=True)
    )


def _first(one: Departure) -> Iterator[Advised]:
    slug = _FIRST.get(one.kind)
    if slug is None:
        return
    is_display = one.kind in _ABOUT_DISPLAYS
    yield Advised(
        slug,
        unit=one.unit,
        stage=one.stage,
        other=one.other if one.kind is Kind.WRONG_TWIN else NOBODY,
        display=one.other if is_display else NOBODY,
    )


def _left_to_load(scene: Scene, runs: Sequence[Run]) -> list[Advised]:
    """Return the steps that every run allows now and that some unit still lacks.

    What is out of service comes first, whoever it was planned for: before it is back, no
    other unit of its role is touched.
    """
    out = {
        unit.number
        for run in runs
        for unit, state in zip(run.vessel.units, run.states, strict=True)
        if unit.is_out_of_service(state)
    }
    waiting: list[Advised] = []
    other: list[Advised] = []
    for number, stage in enumerate(scene.stages):
        planned = dict.fromkeys(stage.steps)
        images = dict.fromkeys(image for _, image in stage.steps)
        further = dict.fromkeys((unit, image) for image in images for unit in sorted(out))
        for unit, image in {**planned, **further}:
            slug = _slug_of_load(scene, runs, unit, image, is_planned=(unit, image) in planned)
            if slug is not None:
                said = Advised(slug, unit=unit, stage=number, image=image, display=stage.display)
                (waiting if unit in out else other).append(said)
    return [*waiting, *other]


def _slug_of_load(
    scene: Scene, runs: Sequence[Run], unit: int, image: int, *, is_planned: bool
) -> str | None:
    """Return how a step is advised; None for one that is not allowed or brings nothing."""
    slug = "next.load"
    for run in runs:
        load = scene.load(unit, image, companion=run.vessel.units[unit].has_companion)
        if load is None or stands_in_the_way(run.vessel, run.states, unit) is not None:
            return None
        if refused(run.vessel, run.states, unit, load) is not None:
            return None
        model, state = run.vessel.units[unit], run.states[unit]
        then = after(load, state)
        helps = model.is_out_of_service(state) and not model.is_out_of_service(then)
        if not helps and not (is_planned and _lacks(model, state, load)):
            return None
        if load.carries:
            slug = "next.load-handset"
    return slug


def _lacks(model: UnitModel, state: State, load: Load) -> bool:
    """Return whether a planned step brings a unit nearer to what was wanted of it."""
    if model.is_done(state):
        return False
    if state[load.slot] != 1 << load.place:
        return True
    blank = not state[-1] and bool(load.carries)
    return blank and after(load, state) != state


# --- cautions


def _cautions(
    scene: Scene,
    job: Job,
    manifest: Manifest,
    explanation: Explanation,
    observed: Observed,
    steps: Sequence[Advised],
) -> Iterator[Advised]:
    yield from other_causes(observed)
    loads = [one for one in steps if one.slug in ("next.load", "next.load-handset")]
    if loads:
        yield Advised("care.moored")
        yield Advised("care.charts")
        yield Advised("care.supply")
    for one in loads:
        facts = manifest.model(job.units[one.unit].model)
        yield from _of_load(scene, facts, one)
    for one in loads:
        image = manifest.by_sha256(scene.vessel.images[one.image].facts.sha256)
        if image is not None and image.withdrawn is not None:
            yield Advised("care.withdrawn", image=one.image)
    yield from _out_of_service(explanation)
    yield Advised("care.maker")


def other_causes(observed: Observed) -> Iterator[Advised]:
    """Give the cautions that what is seen can have causes which no card explains."""
    for question, answer in observed.items():
        if question.asked is Asked.STATE and answer == "dark":
            yield Advised("care.dark-otherwise")
        if question.asked is Asked.HANDSET and answer == "blank":
            yield Advised("care.blank-otherwise")


def _of_load(scene: Scene, facts: ModelFacts | None, one: Advised) -> Iterator[Advised]:
    kind = None if facts is None else facts.kind
    if kind is UnitKind.RADIO:
        yield Advised("care.calling")
    role = scene.vessel.units[one.unit].role
    for other in scene.vessel.units:
        if other.number != one.unit and other.role == role:
            yield Advised("care.two", unit=one.unit, other=other.number)
    if one.slug == "next.load-handset":
        yield Advised("care.handset-off", unit=one.unit)
        yield Advised("care.handset-powered")
        yield Advised("care.alert")
    if kind is UnitKind.AUTOPILOT:
        yield Advised("care.autopilot")
    if facts is not None and facts.entered_once:
        yield Advised("care.once", unit=one.unit)
    if facts is not None and facts.read_back_after:
        yield Advised("care.read-back", unit=one.unit)
    if kind is UnitKind.RADIO:
        yield Advised("care.working-channel")


def _out_of_service(explanation: Explanation) -> Iterator[Advised]:
    for run in explanation.runs:
        for unit, state in zip(run.vessel.units, run.states, strict=True):
            if unit.is_out_of_service(state):
                yield Advised("care.tag", unit=unit.number)
