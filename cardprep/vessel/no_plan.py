"""Why there is no plan: every smallest set of changed facts that would give one.

Facts are changed in thought, one, then two, then three at a time, and the planner itself
says each time whether there is a plan. Units that cannot be done even alone are looked at
one by one; where each can be done alone, the whole job is.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from itertools import combinations

from cardprep.errors import CardprepError
from cardprep.job.visit import Job
from cardprep.manifest.model import Manifest
from cardprep.texts.catalogue import screen
from cardprep.vessel.change import Change, Facts
from cardprep.vessel.changes import changes_of_unit, together
from cardprep.vessel.model import VesselModel

CHANGES_MOST = 3
# Each trial is a plan of one unit, or one of the whole job, which takes longer.
TRIALS_MOST = 400
TRIALS_OF_JOB_MOST = 80
SETS_SHOWN = 8

# Whether there is a plan for these facts: for one unit alone, or with None for the whole job.
CanBeDone = Callable[[Facts, int | None], bool]


@dataclass(frozen=True, slots=True, kw_only=True)
class Unlocks:
    """What would have to be otherwise.

    unit   number of the unit that cannot be done even alone, from 0; None for the whole job
    sets   each gives a plan, and no smaller one does; none if none was found
    whole  whether every set of this size was tried
    """

    unit: int | None
    sets: tuple[tuple[Change, ...], ...]
    whole: bool


def unlocks(
    vessel: VesselModel, job: Job, manifest: Manifest, can_be_done: CanBeDone
) -> tuple[Unlocks, ...]:
    """Return what would have to be otherwise, for each unit that cannot be done alone, or for all.

    There is no plan for these facts as they are.
    """
    facts = (job, manifest)
    stuck = [
        unit.number
        for unit in vessel.units
        if not unit.left_alone and not can_be_done(facts, unit.number)
    ]
    if stuck:
        return tuple(
            _smallest(changes_of_unit(vessel, job, manifest, number), facts, number, can_be_done)
            for number in stuck
        )
    candidates = [] if job.together else [together()]
    for unit in vessel.units:
        if not unit.left_alone:
            candidates += changes_of_unit(vessel, job, manifest, unit.number)
    known = {change.key: change for change in candidates}
    return (_smallest(list(known.values()), facts, None, can_be_done),)


def _smallest(
    candidates: Sequence[Change], facts: Facts, unit: int | None, can_be_done: CanBeDone
) -> Unlocks:
    trials = 0
    for count in range(1, CHANGES_MOST + 1):
        found: list[tuple[Change, ...]] = []
        for chosen in combinations(candidates, count):
            if trials >= (TRIALS_OF_JOB_MOST if unit is None else TRIALS_MOST):
                return Unlocks(unit=unit, sets=tuple(found), whole=False)
            trials += 1
            if _gives_a_plan(chosen, facts, unit, can_be_done):
                found.append(chosen)
        if found:
            return Unlocks(unit=unit, sets=tuple(found), whole=True)
    return Unlocks(unit=unit, sets=(), whole=True)


def _gives_a_plan(
    chosen: Sequence[Change], facts: Facts, unit: int | None, can_be_done: CanBeDone
) -> bool:
    job, manifest = facts
    for change in chosen:
        job, manifest = change.apply(job, manifest)
    try:
        return can_be_done((job, manifest), unit)
    except CardprepError:
        # In thought, facts may contradict each other.
        return False


def told(found: Sequence[Unlocks], job: Job) -> str:
    """Return what would have to be otherwise as lines for a person."""
    lines = []
    for unlock in found:
        if unlock.unit is not None:
            unit = job.units[unlock.unit]
            lines.append(screen("change.unit", unit=f"{unit.role} ({unit.model})"))
        sets = _merged(unlock.sets)
        lines += [screen("change.set", changes=_words(one)) for one in sets[:SETS_SHOWN]]
        if len(sets) > SETS_SHOWN:
            lines.append(screen("change.more", count=len(sets) - SETS_SHOWN))
        if not sets:
            lines.append(screen("change.none", most=CHANGES_MOST))
        if not unlock.whole:
            lines.append(screen("change.not-all"))
    return "\n".join(lines)


def _merged(sets: Sequence[tuple[Change, ...]]) -> list[tuple[Change, ...]]:
    """Put the versions of one question together: which it is matters less than that it is asked."""
    merged: dict[object, tuple[Change, ...]] = {}
    # Nothing is left to do where a unit has what is wanted already; that is said only alone.
    other = [one for one in sets if not any(c.parameters.get("is_wanted") for c in one)]
    for chosen in other or sets:
        (first, *rest) = chosen
        is_question = not rest and first.slug in ("change.known", "change.known-handset")
        key: object = tuple(change.key for change in chosen)
        if is_question:
            key = (first.slug, first.unit, first.parameters["type"])
        before = merged.get(key)
        if before is None:
            merged[key] = chosen
        else:
            versions = screen("change.or").join(
                (str(before[0].parameters["version"]), str(first.parameters["version"]))
            )
            parameters = {**first.parameters, "version": versions}
            merged[key] = (replace(first, parameters=parameters),)
    return list(merged.values())


def _words(chosen: Sequence[Change]) -> str:
    words = []
    for change in chosen:
        parameters = dict(change.parameters)
        if parameters.get("now") == "":
            parameters["now"] = screen("change.unknown-now")
        words.append(screen(change.slug, **parameters))
    return screen("change.and").join(words)
