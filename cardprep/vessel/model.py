"""Units, their images and displays as one small state model: what a step does, and when it may be.

Pure and small, and used three ways: to plan, to rehearse, to diagnose. Everything
that the shop's manifest and the job say is compiled into numbers once (``compiled.py``);
here are only states, steps and what follows from them.

Words: a *slot* is the place of one image type in a unit or in its companion (the
handset that is updated through its radio). Its content is a mask (``scale.py``).
A *state* of a unit is the content of its slots, its own first and its companion's
behind them, and whether unit and companion run together (the last entry, 1 or 0).

What holds of steps (common practice, no published source): a bootloader that leaves
its unit waiting empties the application; carried code goes into every companion that
is in its mode; a companion with a version that the application does not run with is
left behind and has a blank screen; a step that is refused changes nothing; a step
that is interrupted leaves the slot empty that was being written.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from enum import StrEnum

from cardprep.manifest.model import ImageFacts
from cardprep.vessel.scale import EMPTY_ONLY, Scale, at_least, none_above

# The contents of a unit's slots as masks, its companion's behind them, then 1 if they run together.
State = tuple[int, ...]


class Refusal(StrEnum):
    """Why a step is not allowed in a state. The first that holds is named."""

    STARTS = "starts"
    FALLS = "falls"
    NEEDS = "needs"
    OTHER_NEEDS = "other-needs"
    BREAKS = "breaks"


class Phase(StrEnum):
    """Which part of a step is going on: the unit is written first, then its companion."""

    UNIT = "unit"
    COMPANION = "companion"


@dataclass(frozen=True, slots=True)
class Floor:
    """A version that has to be in a slot, at least. `unit` is None for the unit itself."""

    slot: int
    place: int
    unit: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Load:
    """One image as it acts on one unit.

    image      its number among the vessel's images
    slot       that it is loaded into
    place      of its version on the slot's scale
    starts     mask of what it may be loaded over
    may_fall   whether a newer version may be there
    needs      of the unit itself and its companion
    displays   numbers of the displays that can load it
    erases     slots that it empties besides
    carries    the companion's slots that it writes, and the places of what it brings
    runs_with  the companion's slot and the mask of versions with which it runs; None where
               it says nothing of the companion
    minutes    low and high
    size       bytes
    """

    image: int
    slot: int
    place: int
    starts: int
    may_fall: bool
    needs: tuple[Floor, ...]
    displays: frozenset[int]
    erases: tuple[int, ...]
    carries: tuple[tuple[int, int], ...]
    runs_with: tuple[int, int] | None
    minutes: tuple[int, int]
    size: int


@dataclass(frozen=True, slots=True, kw_only=True)
class UnitModel:
    """One unit aboard, with its companion, and every image that could be loaded into it.

    number     in the job, from 0
    slots      words of the image types, its own first
    own        how many slots are its own
    scales     one for each slot
    vital      slots without which the unit is out of service
    start      the state in which it is found
    goal       for each slot the mask of what may be there at the end
    loads      what can be loaded, the newest of each slot first
    standing   by slot and place: what an image needs of its unit as long as it is installed
    role       units of one role stand in for each other
    left_alone whether the job names nothing for it
    """

    number: int
    slots: tuple[str, ...]
    own: int
    scales: tuple[Scale, ...]
    vital: tuple[int, ...]
    start: State
    goal: tuple[int, ...]
    loads: tuple[Load, ...]
    standing: Mapping[tuple[int, int], tuple[Floor, ...]] = field(default_factory=dict)
    role: str
    left_alone: bool

    @property
    def has_companion(self) -> bool:
        """Whether a companion is aboard, or may be."""
        return len(self.slots) > self.own

    def is_done(self, state: State) -> bool:
        """Return whether unit and companion are as they ought to be at the end."""
        if self.left_alone:
            return True
        return bool(state[-1]) and all(
            content & ~allowed == 0 for content, allowed in zip(state, self.goal, strict=False)
        )

    def is_out_of_service(self, state: State) -> bool:
        """Return whether the unit may be waiting for an image or dead."""
        return any(state[slot] & EMPTY_ONLY for slot in self.vital)


@dataclass(frozen=True, slots=True, kw_only=True)
class DisplayModel:
    """A display that reads cards.

    types_per_card  how many image types it takes on one card
    """

    model: str
    types_per_card: int


@dataclass(frozen=True, slots=True, kw_only=True)
class ImageOnCard:
    """What of an image decides with which others it may share a card."""

    type: str
    models: frozenset[str]
    file: str
    size: int
    facts: ImageFacts


@dataclass(frozen=True, slots=True, kw_only=True)
class VesselModel:
    """A vessel as the planner sees her: her units, her displays, and the images of the shelf.

    together  whether units of one role may be out of service together
    """

    units: tuple[UnitModel, ...]
    displays: tuple[DisplayModel, ...]
    images: tuple[ImageOnCard, ...]
    together: bool

    @property
    def start(self) -> tuple[State, ...]:
        """The states in which the units are found."""
        return tuple(unit.start for unit in self.units)


def refused(
    vessel: VesselModel, states: Sequence[State], number: int, load: Load
) -> Refusal | None:
    """Return why a unit would not take an image, whoever offers it; None if it would.

    Which display offers it, and whether the operator ought to load it just now, are other
    questions: see `stands_in_the_way`.
    """
    for need in load.needs:
        if need.unit is not None and not at_least(states[need.unit][need.slot], need.place):
            return Refusal.OTHER_NEEDS
    return refused_alone(vessel.units[number], load, states[number])


def refused_alone(unit: UnitModel, load: Load, state: State) -> Refusal | None:
    """Return the same where only the unit itself is looked at."""
    content = state[load.slot]
    if content & ~load.starts:
        return Refusal.STARTS
    if not load.may_fall and not none_above(content, load.place):
        return Refusal.FALLS
    for need in load.needs:
        if need.unit is None and not at_least(state[need.slot], need.place):
            return Refusal.NEEDS
    return Refusal.BREAKS if breaks(unit, load, state) else None


def breaks(unit: UnitModel, load: Load, state: State) -> bool:
    """Return whether a step may take away what an image that stays installed needs."""
    if not unit.standing:
        return False
    changed = {load.slot, *load.erases}
    then: State | None = None
    for (slot, place), needs in unit.standing.items():
        if slot in changed or not state[slot] >> place & 1:
            continue
        then = then or after(load, state)
        for need in needs:
            # What is not changed holds afterwards wherever it held before.
            if state[need.slot] == then[need.slot]:
                continue
            may_hold = state[need.slot] >> need.place
            if may_hold and not at_least(then[need.slot], need.place):
                return True
    return False


def stands_in_the_way(vessel: VesselModel, states: Sequence[State], number: int) -> int | None:
    """Return the number of a unit of the same role that is out of service; None if there is none.

    While one is, no other of its role is touched.
    """
    if vessel.together:
        return None
    role = vessel.units[number].role
    for other in vessel.units:
        stands_in = other.number != number and other.role == role
        if stands_in and other.is_out_of_service(states[other.number]):
            return other.number
    return None


def after(load: Load, state: State, *, in_mode: bool = True) -> State:
    """Return the state of the unit after a step that went well.

    in_mode  whether the companion was in its mode, so that it took what the image carries
    """
    slots = list(state)
    slots[load.slot] = 1 << load.place
    for slot in load.erases:
        slots[slot] = EMPTY_ONLY
    if in_mode:
        for slot, place in load.carries:
            slots[slot] = 1 << place
    if load.runs_with is not None:
        slot, runs = load.runs_with
        slots[-1] = 1 if slots[slot] & ~runs == 0 else 0
    return tuple(slots)


def interrupted(load: Load, state: State, phase: Phase) -> State:
    """Return the state after power was lost, or the card pulled, in a phase of a step."""
    slots = list(state)
    if phase is Phase.UNIT:
        slots[load.slot] = EMPTY_ONLY
        for slot in load.erases:
            slots[slot] = EMPTY_ONLY
        return tuple(slots)
    slots = list(after(load, state, in_mode=False))
    for slot, _ in load.carries:
        slots[slot] = EMPTY_ONLY
    if load.carries:
        slots[-1] = 0
    return tuple(slots)


def excludes(one: ImageOnCard, other: ImageOnCard) -> bool:
    """Return whether two images never share a card: two versions for one model, or one name."""
    if one is other:
        return False
    two_versions = one.type == other.type and not one.models.isdisjoint(other.models)
    return two_versions or one.file == other.file
