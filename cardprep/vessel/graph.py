"""All states that one unit can get into, and how far each of them is from the end of the visit.

Here the unit is looked at alone: what other units need or forbid is left out, so
every distance is a lower bound of the true one.
"""

from __future__ import annotations

import heapq
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass

from cardprep.errors import NoPlanError
from cardprep.vessel.model import Load, State, UnitModel, VesselModel, after, refused_alone

# A unit with so many states was made to be one: no shelf of a workshop has them.
STATES_MOST = 20_000

NEVER = 1 << 30


@dataclass(frozen=True, slots=True, order=True)
class Reading:
    """What one card in one display can be: the display's number, and the types on the card."""

    display: int
    types: tuple[str, ...]


class UnitGraph:
    """The states of one unit that lead from its start to its end, with the loads between them."""

    def __init__(self, vessel: VesselModel, unit: UnitModel) -> None:
        self.unit = unit
        self._types = {image: one.type for image, one in enumerate(vessel.images)}
        edges = _explored(unit)
        self.minutes = _minutes(unit, edges)
        # Loads that lead nowhere are left out, so that no card is planned for them.
        self.edges: dict[State, tuple[tuple[Load, State], ...]] = {
            state: tuple(pair for pair in pairs if pair[1] in self.minutes)
            for state, pairs in edges.items()
            if state in self.minutes
        }

    @property
    def can_be_done(self) -> bool:
        """Whether there is any way from start to end."""
        return self.unit.start in self.minutes

    @property
    def images(self) -> frozenset[int]:
        """The images that are on some way from start to end."""
        return frozenset(load.image for pairs in self.edges.values() for load, _ in pairs)

    @property
    def necessary(self) -> frozenset[int]:
        """The images that are on every way of fewest minutes from start to end."""
        quickest = {
            state: [
                (load, following)
                for load, following in pairs
                if self.minutes[state] == load.minutes[1] + self.minutes[following]
            ]
            for state, pairs in self.edges.items()
        }
        found = []
        for image in self.images:
            seen, left = {self.unit.start}, [self.unit.start]
            while left and not any(self.unit.is_done(state) for state in seen):
                for load, following in quickest[left.pop()]:
                    if load.image != image and following not in seen:
                        seen.add(following)
                        left.append(following)
            if not any(self.unit.is_done(state) for state in seen):
                found.append(image)
        return frozenset(found)

    def type_of(self, load: Load) -> str:
        """Return the word of a load's image type."""
        return self._types[load.image]

    def counts(self, word: str) -> dict[State, int]:
        """Return for each state how many loads of one type are needed at least."""
        return _backwards(
            self.edges, self.minutes, self.unit, lambda load: int(self.type_of(load) == word)
        )

    def stages(self, readings: Iterable[Reading]) -> dict[State, int]:
        """Return for each state how many stages are needed at least."""
        reached = {
            state: [self._within(state, reading) for reading in readings] for state in self.edges
        }
        found = {state: 0 for state in self.edges if self.unit.is_done(state)}
        distance = 0
        while True:
            more = [
                state
                for state, ways in reached.items()
                if state not in found and any(not found.keys().isdisjoint(way) for way in ways)
            ]
            if not more:
                return found
            distance += 1
            found.update(dict.fromkeys(more, distance))

    def _within(self, state: State, reading: Reading) -> set[State]:
        """Return the states that are reached from one with one card."""
        seen, left = {state}, [state]
        while left:
            for load, following in self.edges[left.pop()]:
                fits = reading.display in load.displays and self.type_of(load) in reading.types
                if fits and following not in seen:
                    seen.add(following)
                    left.append(following)
        return seen


def _explored(unit: UnitModel) -> dict[State, list[tuple[Load, State]]]:
    edges: dict[State, list[tuple[Load, State]]] = {unit.start: []}
    if unit.left_alone:
        return edges
    left = [unit.start]
    while left:
        state = left.pop()
        for load in unit.loads:
            if refused_alone(unit, load, state) is not None:
                continue
            following = after(load, state)
            if following == state:
                continue
            edges[state].append((load, following))
            if following not in edges:
                if len(edges) >= STATES_MOST:
                    raise NoPlanError("plan.too-large", number=unit.number + 1, most=STATES_MOST)
                edges[following] = []
                left.append(following)
    return edges


def _minutes(unit: UnitModel, edges: dict[State, list[tuple[Load, State]]]) -> dict[State, int]:
    """Return for each state that leads to the end the fewest minutes until there."""
    return _backwards(edges, edges, unit, lambda load: load.minutes[1])


def _backwards(
    edges: Mapping[State, Sequence[tuple[Load, State]]],
    states: Iterable[State],
    unit: UnitModel,
    cost: Callable[[Load], int],
) -> dict[State, int]:
    """Return for each state that leads to the end what the cheapest way there costs."""
    states = list(states)
    into: dict[State, list[tuple[int, State]]] = {}
    for state in states:
        for load, following in edges.get(state, ()):
            into.setdefault(following, []).append((cost(load), state))
    found: dict[State, int] = {}
    left = [(0, state) for state in states if unit.is_done(state)]
    heapq.heapify(left)
    while left:
        distance, state = heapq.heappop(left)
        if state in found:
            continue
        found[state] = distance
        for step, before in into.get(state, ()):
            if before not in found:
                heapq.heappush(left, (distance + step, before))
    return found
