"""Which images a vessel needs, and in which order: the plan of a job.

Pure: a job and a manifest in, stages and their steps out. What a step does stands in
``model.py``; how the best order is found, in ``search.py``. Best is: the fewest cards,
then the fewest minutes, then the fewest bytes.

Rules that hold for every plan: a step is allowed whatever the versions are that nobody
knows; units that stand in for each other are never out of service together, unless the
job allows it; a card carries as many image types as its display takes, and never two
versions of one type for one model; nothing ends at a lower version, empty, or with a
handset left behind.

Source: common practice, no published source.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from cardprep.errors import NoPlanError
from cardprep.job.step import LeaveOut
from cardprep.job.visit import Job
from cardprep.manifest.model import ImageFacts, Manifest
from cardprep.terms import ImageType, Version
from cardprep.vessel.card_room import fits
from cardprep.vessel.compiled import compiled, rank
from cardprep.vessel.courses import Move
from cardprep.vessel.graph import UnitGraph
from cardprep.vessel.groups import Room
from cardprep.vessel.model import Load, State, VesselModel, after
from cardprep.vessel.no_plan import told, unlocks
from cardprep.vessel.scale import EMPTY_ONLY, at_least, is_known
from cardprep.vessel.search import Found, search
from cardprep.vessel.skips import leave_outs


@dataclass(frozen=True, slots=True)
class Step:
    """One image loaded into one unit.

    unit       its number in the job, from 0
    now        the version that the image takes the place of, None for unknown
    needed_by  the image that needs it, or None if it was asked for
    leave_out  what would have to be seen on board to leave it out
    """

    unit: int
    image: ImageFacts
    now: Version | None = None
    needed_by: ImageFacts | None = None
    leave_out: tuple[LeaveOut, ...] = ()


@dataclass(frozen=True, slots=True)
class PlannedStage:
    """The steps that are made with one card in one display.

    display  its number among the job's, from 0
    """

    steps: tuple[Step, ...]
    display: int = 0

    @property
    def images(self) -> tuple[ImageFacts, ...]:
        """The images on the card, each once, in the order of the steps."""
        return tuple({step.image.sha256: step.image for step in self.steps}.values())

    @property
    def image_type(self) -> ImageType:
        """The image type on the card, the first of them where there are several."""
        return self.steps[0].image.type


@dataclass(frozen=True, slots=True)
class Plan:
    """The stages of a job, in order; none if everything is as it should be.

    cost   stages, minutes, bytes
    bound  of the same: no plan has less; where it equals the cost, the plan is proved best
    """

    stages: tuple[PlannedStage, ...]
    cost: tuple[int, int, int] = (0, 0, 0)
    bound: tuple[int, int, int] = (0, 0, 0)


def plan(job: Job, manifest: Manifest) -> Plan:
    """Return the stages that bring every unit to its wanted versions.

    Raises NoPlanError with the facts that forbid it.
    """
    vessel = vessel_of(job, manifest)
    found = best(vessel, job, manifest)
    if found is None:
        reasons = unlocks(vessel, job, manifest, _can_be_done)
        raise NoPlanError("plan.none", job=str(job.name), ways=told(reasons, job))
    return Plan(tuple(_stages(job, vessel, found)), cost=found.cost, bound=found.bound)


def _can_be_done(facts: tuple[Job, Manifest], unit: int | None) -> bool:
    job, manifest = facts
    vessel = vessel_of(job, manifest)
    if unit is not None:
        return UnitGraph(vessel, vessel.units[unit]).can_be_done
    return best(vessel, job, manifest) is not None


def vessel_of(job: Job, manifest: Manifest) -> VesselModel:
    """Return the vessel of a job as a state model; NoPlanError as `compiled` has it."""
    facts = {}
    for display in job.displays:
        known = manifest.display(display.model)
        if known is None:
            raise NoPlanError("plan.unknown-display", display=display.model)
        facts[display.model] = known
    return compiled(job, manifest, fits=lambda display, images: fits(facts[display.model], images))


def best(vessel: VesselModel, job: Job, manifest: Manifest) -> Found | None:
    """Return the best plan, or None if there is none."""
    graphs = {unit.number: UnitGraph(vessel, unit) for unit in vessel.units if not unit.left_alone}
    if not all(graph.can_be_done for graph in graphs.values()):
        return None
    images = frozenset[int]().union(*(graph.images for graph in graphs.values()))
    types = {vessel.images[image].facts.type for image in images}
    words = [one.word for one in sorted(types, key=lambda one: (rank(one), one.word))]
    return search(vessel, graphs, words, _room(vessel, job, manifest, images))


def _room(vessel: VesselModel, job: Job, manifest: Manifest, images: frozenset[int]) -> Room | None:
    """Return whether images fit on a card, or None where all of them would fit on any."""
    displays = [manifest.display(display.model) for display in job.displays]
    known: dict[tuple[int, frozenset[int]], bool] = {}

    def room(display: int, content: frozenset[int]) -> bool:
        key = (display, content)
        if key not in known:
            facts = displays[display]
            chosen = [vessel.images[image].facts for image in sorted(content)]
            known[key] = facts is not None and fits(facts, _of_different_names(chosen))
        return known[key]

    everything = all(room(number, images) for number in range(len(displays)))
    return None if everything else room


def _of_different_names(images: Sequence[ImageFacts]) -> list[ImageFacts]:
    """Return the images under names that can stand together; room is all that is asked."""
    names: set[str] = set()
    found = []
    for number, image in enumerate(images):
        name = image.file.upper()
        found.append(replace(image, file=f"{number}.BIN") if name in names else image)
        names.add(name)
    return found


def _stages(job: Job, vessel: VesselModel, found: Found) -> list[PlannedStage]:
    """Return what was found as stages whose steps are in an order in which they can be made."""
    states = list(vessel.start)
    moves = sorted(found.moves, key=lambda move: move[0])
    conditions = leave_outs(vessel, moves)
    steps: list[list[Step]] = [[] for _ in found.row]
    for place, (stage, number, load) in enumerate(moves):
        unit = vessel.units[number]
        before = states[number]
        # What an earlier card of the plan emptied is told as what the unit came with.
        content = before[load.slot]
        content = unit.start[load.slot] if content == EMPTY_ONLY else content
        known = unit.scales[load.slot].versions(content)
        asked = job.units[number].wanted.get(unit.slots[load.slot])
        is_asked = asked is not None and unit.goal[load.slot] == 1 << load.place
        needed_by = (
            None if is_asked else _needed_by(vessel, moves[place + 1 :], number, load, before)
        )
        steps[stage].append(
            Step(
                unit=number,
                image=vessel.images[load.image].facts,
                now=known[0] if is_known(content) and known else None,
                needed_by=needed_by,
                leave_out=conditions[place],
            )
        )
        states[number] = after(load, before)
    return [
        PlannedStage(tuple(some), reading.display)
        for some, reading in zip(steps, found.row, strict=True)
    ]


def _needed_by(
    vessel: VesselModel, later: Sequence[Move], number: int, load: Load, before: State
) -> ImageFacts | None:
    """Return the first image that could not be loaded, had this step not been made."""
    for _, other, following in later:
        needs = (
            need
            for need in following.needs
            if need.slot == load.slot and (number if need.unit is None else need.unit) == number
        )
        missed = any(
            not at_least(before[need.slot], need.place)
            for need in needs
            if need.unit is not None or other == number
        )
        over = other == number and following.slot == load.slot
        if missed or (over and before[load.slot] & ~following.starts):
            return vessel.images[following.image].facts
    return None
