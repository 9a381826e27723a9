"""Which step may be left out, and by what is seen on board: for versions that nobody knows now.

Each version that a unit may have is tried: the plan without the step is played with that
version known and everything else still open. What still gets every unit to its end is a
reason to leave the step out.
"""

from __future__ import annotations

from collections.abc import Sequence

from cardprep.job.step import LeaveOut
from cardprep.vessel.courses import Move
from cardprep.vessel.model import State, VesselModel, after, refused, stands_in_the_way
from cardprep.vessel.scale import is_known, places


def leave_outs(vessel: VesselModel, moves: Sequence[Move]) -> tuple[tuple[LeaveOut, ...], ...]:
    """Return for each step of a plan what would have to be seen to leave it out; often nothing."""
    return tuple(_of_step(vessel, moves, number) for number in range(len(moves)))


def _of_step(vessel: VesselModel, moves: Sequence[Move], number: int) -> tuple[LeaveOut, ...]:
    unit = vessel.units[moves[number][1]]
    rest = [*moves[:number], *moves[number + 1 :]]
    found = []
    for slot, content in enumerate(unit.start[:-1]):
        if is_known(content):
            continue
        enough = [
            place for place in places(content) if _is_enough(vessel, rest, unit.number, slot, place)
        ]
        versions = unit.scales[slot].versions(sum(1 << place for place in enough))
        # A version older than all that are spoken of has no name that could be looked for.
        if not versions or len(versions) < len(enough):
            continue
        found.append(
            LeaveOut(
                type=unit.slots[slot],
                handset=slot >= unit.own,
                versions=versions,
                or_later=enough == [one for one in places(content) if one >= enough[0]],
            )
        )
    return tuple(found)


def _is_enough(
    vessel: VesselModel, moves: Sequence[Move], number: int, slot: int, place: int
) -> bool:
    """Return whether these steps will do if a unit has one version of a type."""
    states = list(vessel.start)
    known = list(states[number])
    known[slot] = 1 << place
    states[number] = tuple(known)
    return _can_be_played(vessel, moves, states)


def _can_be_played(vessel: VesselModel, moves: Sequence[Move], states: list[State]) -> bool:
    for _, number, load in moves:
        if stands_in_the_way(vessel, states, number) is not None:
            return False
        if refused(vessel, states, number, load) is not None:
            return False
        states[number] = after(load, states[number])
    return all(unit.is_done(state) for unit, state in zip(vessel.units, states, strict=True))
