"""Play a visit with a set of departures: what every unit is then, and all that was to be seen.

A visit with departures can go several ways, because a version is not known, because
somebody stopped after a step that failed or went on, or because a handset may be aboard.
Each way is one *run*. It says for every question which answers it allows; a question
of which it says nothing may have any answer.

What holds (common practice, no published source): a refused step changes nothing; a
mixed card is not taken, an unreadable one not read; a unit of another model or off the
network is not offered; power lost or a card pulled leaves the slot empty that was being
written; an altered image is refused, or breaks off while it is written; whether a
display reports a handset that was left behind differs.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from itertools import product
from typing import NamedTuple

from cardprep.vessel.acts import NO_IMAGE, NO_UNIT, Acts, acts_of
from cardprep.vessel.departures import Departure
from cardprep.vessel.model import (
    Load,
    Phase,
    State,
    UnitModel,
    VesselModel,
    after,
    interrupted,
    refused,
)
from cardprep.vessel.observe import Question
from cardprep.vessel.scale import EMPTY_ONLY, is_known, places
from cardprep.vessel.scene import Scene
from cardprep.vessel.seen import Seen, Told

# In more ways than this no visit is played; so much is unknown of none that is worth it.
WAYS_MOST = 512
UNKNOWN_MOST = 5

States = tuple[State, ...]


class _Result(NamedTuple):
    """What can come of one step.

    shown    what the display can show of it
    failed   whether it can be seen that it did not work
    refused  whether the unit refused it, so that nothing was changed
    """

    shown: frozenset[str]
    states: States
    failed: bool = True
    refused: bool = False


_DONE = frozenset({"done"})
_REFUSED = frozenset({"refused"})
_NOT_OFFERED = frozenset({"not offered"})
_NOTHING = frozenset({"nothing"})
_NOT_READ = frozenset({"not offered", "nothing"})
_DISTURBED = frozenset({"not offered", "refused"})
_CUT = frozenset({"refused", "nothing"})


# By unit, whether it lacks its handset, image and state: the states in which it is sure whether
# the image is refused, and whether it is.
_Decided = dict[tuple[int, bool, int, State], list[tuple[State, bool]]]


@dataclass(frozen=True, slots=True)
class Run:
    """One way in which a visit can have gone."""

    seen: Seen

    @property
    def vessel(self) -> VesselModel:
        """The vessel, with the handsets that are aboard in this run."""
        return self.seen.vessel

    @property
    def states(self) -> States:
        """The units at its end."""
        return self.seen.states

    @property
    def refused(self) -> frozenset[tuple[int, int]]:
        """Stages and units of the steps that were refused."""
        return self.seen.told.refused

    def allowed(self, question: Question) -> frozenset[str] | None:
        """Return the answers that a question can have; None for any."""
        return self.seen.allowed(question)

    def allows(self, question: Question, answer: str) -> bool:
        """Return whether a question can have this answer."""
        allowed = self.seen.allowed(question)
        return allowed is None or answer in allowed


@dataclass(frozen=True, slots=True)
class _Way:
    """A run as far as it has come."""

    states: States
    told: Told
    went_on: bool = False
    failed: bool = False


class Player:
    """Plays a scene, with any departures."""

    def __init__(self, scene: Scene) -> None:
        self._scene = scene
        self._vessels: dict[frozenset[int], VesselModel] = {}
        self._decided: _Decided = {}

    def play(self, departures: Iterable[Departure]) -> tuple[Run, ...]:
        """Return every way in which the visit can have gone with exactly these departures.

        None at all if there are more of them than are played.
        """
        acts = acts_of(departures)
        runs: list[Run] = []
        for absent in self._worlds(acts):
            visit = _Visit(self._scene, self._vessel(absent), acts, absent, self._decided)
            further = visit.runs()
            if further is None or len(runs) + len(further) > WAYS_MOST:
                return ()
            runs += further
        return tuple(runs)

    def _worlds(self, acts: Acts) -> Iterator[frozenset[int]]:
        """Give the sets of units that have no handset, of those that may have none."""
        scene = self._scene
        # Of more units it is taken that their handsets are aboard, as they were planned.
        unknown = sorted(scene.without.keys() - scene.told_none)[:UNKNOWN_MOST]
        none = scene.told_none - acts.aboard
        for chosen in product((False, True), repeat=len(unknown)):
            lacking = (unit for unit, lacks in zip(unknown, chosen, strict=True) if lacks)
            yield none | frozenset(lacking)

    def _vessel(self, absent: frozenset[int]) -> VesselModel:
        vessel = self._vessels.get(absent)
        if vessel is None:
            units = tuple(
                self._scene.without[unit.number] if unit.number in absent else unit
                for unit in self._scene.vessel.units
            )
            vessel = self._vessels[absent] = replace(self._scene.vessel, units=units)
        return vessel


class _Visit:
    """One visit: it is known which handsets are aboard."""

    def __init__(
        self,
        scene: Scene,
        vessel: VesselModel,
        acts: Acts,
        absent: frozenset[int],
        known: _Decided,
    ) -> None:
        self._scene = scene
        self._vessel = vessel
        self._acts = acts
        self._absent = absent
        self._known = known

    def runs(self) -> list[Run] | None:
        """Return the ways in which it can have gone; None if they are too many."""
        ways = [_Way(tuple(self._start(unit) for unit in self._vessel.units), Told())]
        ended: list[_Way] = []
        order = self._acts.order(len(self._scene.stages))
        for place, (stage, again) in enumerate(order):
            following = []
            for way in ways:
                then = self._card(way, stage, again=again)
                if then is None:
                    return None
                for one in then:
                    if one.failed and not way.failed and place + 1 < len(order):
                        ended.append(one)
                        following.append(replace(one, went_on=True))
                    else:
                        following.append(one)
            ways = following
            if len(ways) + len(ended) > WAYS_MOST:
                return None
        stopped = [self._run(way, "no") for way in dict.fromkeys(ended)]
        return stopped + [
            self._run(way, "yes" if way.went_on else None) for way in dict.fromkeys(ways)
        ]

    def _run(self, way: _Way, went_on: str | None) -> Run:
        return Run(
            Seen(
                self._scene,
                self._vessel,
                self._acts,
                self._absent,
                way.states,
                way.told,
                went_on,
            )
        )

    def _start(self, unit: UnitModel) -> State:
        state = list(unit.start)
        for (number, slot), place in self._acts.starts.items():
            if number == unit.number and slot < len(unit.slots):
                state[slot] = 1 << place
        return tuple(state)

    def _card(self, way: _Way, stage: int, *, again: bool) -> list[_Way] | None:
        """Return the ways after a card was put in and everything was done with it.

        None if they are too many.
        """
        ways = [replace(way, told=way.told.with_card(stage, again=again))]
        for unit, image in self._scene.stages[stage].steps:
            if len(ways) > WAYS_MOST:
                return None
            ways = [one for before in ways for one in self._step(before, stage, unit, image, again)]
        return ways

    def _step(self, way: _Way, stage: int, unit: int, image: int, again: bool) -> list[_Way]:
        found: dict[_Way, None] = {}
        for result in self._results(way.states, stage, unit, image, again=again):
            shown = result.shown
            told = way.told
            if not again:
                told = told.with_step(
                    (stage, unit),
                    shown,
                    was_cut=self._is_cut(stage, unit) and shown == _CUT,
                    could_tick=shown not in (_NOT_READ, _NOT_OFFERED, _DISTURBED),
                    refused=result.refused,
                )
            failed = way.failed or result.failed
            found[replace(way, states=result.states, told=told, failed=failed)] = None
        return list(found)

    def _is_cut(self, stage: int, unit: int) -> bool:
        return (stage, unit) in self._acts.cut

    def _results(
        self, states: States, stage: int, unit: int, image: int, *, again: bool
    ) -> list[_Result]:
        """Return what can come of one step."""
        acts, scene = self._acts, self._scene
        display = scene.stages[stage].display
        fault = acts.card.get(stage)
        if fault in ("mixed", "unreadable"):
            return [_Result(_NOT_READ, states)]
        if fault == "other":
            image = acts.image[stage]
        newer = scene.needs_newer.get(display, frozenset())
        if image == NO_IMAGE or (display in acts.old and (not newer or image in newer)):
            return [_Result(_NOT_READ, states)]
        if display in acts.second:
            return [_Result(_DISTURBED, states)]
        target = unit if again else acts.ticked.get((stage, unit), unit)
        if target == NO_UNIT:
            # Nothing is ticked of what is not offered.
            offered = self._offered(unit, image) is not None
            return [_Result(_NOTHING if offered else _NOT_OFFERED, states)]
        load = self._offered(target, image)
        if load is None:
            return [_Result(_NOT_OFFERED, states)]
        results = [_Result(_NOT_OFFERED, states)] if self._is_dark(states, target) else []
        if fault == "altered":
            broken = _with(states, target, interrupted(load, states[target], Phase.UNIT))
            unharmed = _Result(_REFUSED, states, refused=True)
            return [*results, unharmed, _Result(_REFUSED, broken)]
        for sure, is_refused in self._sorted_out(states, target, load):
            if is_refused:
                results.append(_Result(_REFUSED, sure, refused=True))
            else:
                results += self._loaded(sure, stage, unit, target, load, again=again)
        return results

    def _sorted_out(self, states: States, unit: int, load: Load) -> list[tuple[States, bool]]:
        """Return what ``decided`` does, remembered where no other unit has a say."""
        if any(need.unit is not None for need in load.needs):
            return decided(self._vessel, states, unit, load)
        key = (unit, unit in self._absent, load.image, states[unit])
        known = self._known.get(key)
        if known is None:
            found = decided(self._vessel, states, unit, load)
            known = self._known[key] = [(sure[unit], answer) for sure, answer in found]
        return [(_with(states, unit, state), answer) for state, answer in known]

    def _offered(self, unit: int, image: int) -> Load | None:
        """Return what an image would do to a unit; None where a display does not offer it."""
        if unit in self._acts.off_network or unit in self._acts.wrong_model:
            return None
        return self._scene.load(unit, image, companion=unit not in self._absent)

    def _is_dark(self, states: States, unit: int) -> bool:
        """Return whether a unit has no bootloader, so that it may not even be offered."""
        model = self._vessel.units[unit]
        return any(
            model.slots[slot] == "bootloader" and states[unit][slot] == EMPTY_ONLY
            for slot in model.vital
        )

    def _loaded(
        self, states: States, stage: int, unit: int, target: int, load: Load, *, again: bool
    ) -> Iterator[_Result]:
        """Give what can come of a step that is not refused."""
        state = states[target]
        carries = bool(load.carries) and target not in self._absent
        cut = None if again else self._acts.cut.get((stage, unit))
        if cut is not None and (cut[1] is Phase.UNIT or carries):
            yield _Result(_CUT, _with(states, target, interrupted(load, state, cut[1])))
            return
        in_mode = carries and target not in self._acts.aboard
        if in_mode and not again:
            in_mode = (stage, unit) not in self._acts.mode
        for sure in _companion_known(load, state, in_mode=in_mode):
            then = _with(states, target, after(load, sure, in_mode=in_mode))
            yield _Result(_DONE, then, failed=False)
            if carries and not in_mode:
                yield _Result(_REFUSED, then)


def _with(states: States, number: int, state: State) -> States:
    return (*states[:number], state, *states[number + 1 :])


def _companion_known(load: Load, state: State, *, in_mode: bool) -> list[State]:
    """Return the state divided by whether the companion's version runs with the new one."""
    if load.runs_with is None:
        return [state]
    slot, runs = load.runs_with
    carried = in_mode and any(slot == one for one, _ in load.carries)
    parts = [state[slot] & runs, state[slot] & ~runs]
    if carried or not all(parts):
        return [state]
    return [(*state[:slot], part, *state[slot + 1 :]) for part in parts]


def decided(
    vessel: VesselModel, states: States, number: int, load: Load
) -> list[tuple[States, bool]]:
    """Return the states in which a step is allowed or refused for sure, and which of both.

    What nobody knows is divided until the answer is the same for all of it.
    """
    if refused(vessel, states, number, load) is None:
        return [(states, False)]
    unknown = next(
        (
            (unit, slot)
            for unit, slot in _involved(vessel, number, load)
            if not is_known(states[unit][slot])
        ),
        None,
    )
    if unknown is None:
        return [(states, True)]
    unit, slot = unknown
    merged: dict[tuple[States, bool], int] = {}
    state = states[unit]
    for place in places(state[slot]):
        one = _with(states, unit, (*state[:slot], 1 << place, *state[slot + 1 :]))
        for sure, answer in decided(vessel, one, number, load):
            rest = sure[unit]
            key = (_with(sure, unit, (*rest[:slot], 0, *rest[slot + 1 :])), answer)
            merged[key] = merged.get(key, 0) | rest[slot]
    return [
        (_with(sure, unit, (*sure[unit][:slot], mask, *sure[unit][slot + 1 :])), answer)
        for (sure, answer), mask in merged.items()
    ]


def _involved(vessel: VesselModel, number: int, load: Load) -> list[tuple[int, int]]:
    """Return the slots on which it depends whether a step is refused."""
    unit = vessel.units[number]
    found = [(number, load.slot)]
    found += [(number if need.unit is None else need.unit, need.slot) for need in load.needs]
    for (slot, _), needs in unit.standing.items():
        found.append((number, slot))
        found += [(number if need.unit is None else need.unit, need.slot) for need in needs]
    slots = [len(one.slots) for one in vessel.units]
    return [(one, slot) for one, slot in dict.fromkeys(found) if slot < slots[one]]
