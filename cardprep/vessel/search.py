"""The fewest cards, then the fewest minutes, then the fewest bytes: found, and proved.

First the number of stages: rows of cards are tried, shortest first. A row is given up
as soon as some group cannot be done in what is left of it. Then every row of that
number is gone through for minutes and bytes, until one is as cheap as a bound that
holds for all. Where that takes more than a fixed number of looks, the best that was
found is given, with the bound: the clock has no say, so that every run finds the same.

Method: iterative deepening depth-first search (Korf, "Depth-first iterative-deepening:
an optimal admissible tree search", Artificial Intelligence 27, 1985).
"""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations

from cardprep.vessel.courses import Courses, Move, size_of
from cardprep.vessel.forward import Belief, Forward
from cardprep.vessel.graph import Reading, UnitGraph
from cardprep.vessel.groups import Bundle, Group, Room, bundles_of, groups_of
from cardprep.vessel.model import VesselModel

# More cards than a job can have stages are looked for nowhere.
STAGES_MOST = 32
LOOKS_MOST = 60_000
ROWS_MOST = 4_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """A plan, and what is known of plans that would be better.

    row      what each stage is: display and types
    moves    steps: number of the stage, number of the unit, what is loaded
    cost     stages, minutes, bytes
    bound    of the same; no plan has less
    """

    row: tuple[Reading, ...]
    moves: tuple[Move, ...]
    cost: tuple[int, int, int]
    bound: tuple[int, int, int]

    @property
    def is_proved(self) -> bool:
        """Whether no plan is better."""
        return self.cost == self.bound


def readings_of(vessel: VesselModel, types: Iterable[str]) -> tuple[Reading, ...]:
    """Return what one card can be: for each display the largest choices of types that it takes."""
    known = list(types)
    found = []
    for number, display in enumerate(vessel.displays):
        count = min(display.types_per_card, len(known))
        found += [Reading(number, chosen) for chosen in combinations(known, count)]
    return tuple(found)


def search(
    vessel: VesselModel, graphs: dict[int, UnitGraph], types: Sequence[str], room: Room | None
) -> Found | None:
    """Return the best plan for the units of `graphs`, each of which can be done alone.

    types  words of the image types in their usual order: of equal plans, the one that
           comes first by it is given
    room   whether images fit on a card; None where all of them do

    Returns None if there is no plan.
    """
    bundles = bundles_of(vessel, groups_of(vessel, graphs), room)
    return _Search(vessel, bundles, readings_of(vessel, types), graphs).best()


class _Search:
    def __init__(
        self,
        vessel: VesselModel,
        bundles: Sequence[Bundle],
        readings: tuple[Reading, ...],
        graphs: dict[int, UnitGraph],
    ) -> None:
        self._vessel = vessel
        self._graphs = graphs
        self._courses = [Courses(bundle) for bundle in bundles]
        groups = [group for bundle in bundles for group in bundle.groups]
        self._forwards = [Forward(group, readings) for group in _different(groups)]
        self._readings = tuple(
            reading for reading in readings if any(c.concerns(reading) for c in self._courses)
        )
        self._relevant = {
            reading: frozenset(
                number for number, one in enumerate(self._courses) if one.concerns(reading)
            )
            for reading in self._readings
        }
        self._looks = 0
        self._failed: dict[tuple[Belief, ...], int] = {}

    def best(self) -> Found | None:
        """Return the best plan, or None."""
        start = tuple(forward.start for forward in self._forwards)
        if any(forward.needed is None for forward in self._forwards):
            return None
        least = max((forward.needed or 0 for forward in self._forwards), default=0)
        least = bound = max(least, self._by_types())
        for count in range(least, STAGES_MOST + 1):
            found = self._cheapest(start, count, bound)
            if found is not None:
                return found
            if self._looks >= LOOKS_MOST:
                return None
            if bound == count:
                # Every row of this number was looked at.
                bound = count + 1
        return None

    def _by_types(self) -> int:
        """Return how many stages are needed because a card takes only so many types."""
        words = sorted({word for reading in self._readings for word in reading.types})
        most = max((len(reading.types) for reading in self._readings), default=1)
        needed = 0
        for word in words:
            starts = [graph.counts(word)[graph.unit.start] for graph in self._graphs.values()]
            # Where a card takes several types, one type can be loaded twice from one card.
            counted = max(starts, default=0)
            needed += counted if most == 1 else min(counted, 1)
        return -(-needed // most)

    # --- rows of cards

    def _rows(
        self, beliefs: tuple[Belief, ...], left: int, row: tuple[Reading, ...]
    ) -> Iterator[tuple[Reading, ...]]:
        """Return every row of so many cards with which each group alone can be done, each once."""
        pairs = list(zip(self._forwards, beliefs, strict=True))
        if left == 0:
            if all(forward.is_done(belief) for forward, belief in pairs):
                yield row
            return
        if self._failed.get(beliefs, -1) >= left or self._looks >= LOOKS_MOST:
            return
        self._looks += 1
        some = False
        if all(forward.can_be_done(belief, left) for forward, belief in pairs):
            for reading in self._readings:
                if row and self._is_swapped(row[-1], reading):
                    some = True
                    continue
                following = tuple(forward.after(belief, reading) for forward, belief in pairs)
                for found in self._rows(following, left - 1, (*row, reading)):
                    some = True
                    yield found
        if not some and self._looks < LOOKS_MOST:
            self._failed[beliefs] = left

    def _is_swapped(self, before: Reading, reading: Reading) -> bool:
        """Return whether two cards could as well be put in the other way round."""
        if self._relevant[before] & self._relevant[reading]:
            return False
        return self._readings.index(before) > self._readings.index(reading)

    # --- minutes and bytes

    def _cheapest(self, start: tuple[Belief, ...], count: int, bound: int) -> Found | None:
        """Return the cheapest plan of so many cards; None if there is none."""
        least = self._least()
        best: _Costed | None = None
        whole = True
        for looked, row in enumerate(self._rows(start, count, ())):
            if looked >= ROWS_MOST:
                whole = False
                break
            costed = self._costed(row)
            if costed is None:
                continue
            whole = whole and costed.whole
            if best is None or costed.cost < best.cost:
                best = costed
            if best.cost <= least:
                break
        if best is None:
            return None
        if whole and self._looks < LOOKS_MOST:
            least = best.cost
        proved = (bound, *min(least, best.cost)) if bound == count else (bound, 0, 0)
        return Found(row=best.row, moves=best.moves, cost=(count, *best.cost), bound=proved)

    def _costed(self, row: tuple[Reading, ...]) -> _Costed | None:
        """Return the cheapest course of every bundle through one row, put together."""
        minutes = size = 0
        moves: list[Move] = []
        whole = True
        for courses in self._courses:
            course = courses.of(row)
            if course is None:
                return None
            minutes += course.minutes
            size += course.size
            whole = whole and course.whole
            moves += course.moves
        return _Costed((minutes, size), tuple(moves), row, whole)

    def _least(self) -> tuple[int, int]:
        """Return minutes and bytes that no plan is below: each unit looked at alone."""
        minutes = sum(graph.minutes[graph.unit.start] for graph in self._graphs.values())
        used = frozenset[int]().union(*(graph.necessary for graph in self._graphs.values()))
        return minutes, size_of(self._vessel, used)


@dataclass(frozen=True, slots=True)
class _Costed:
    """One row with the cheapest course of every bundle through it."""

    cost: tuple[int, int]
    moves: tuple[Move, ...]
    row: tuple[Reading, ...]
    whole: bool


def _different(groups: Sequence[Group]) -> list[Group]:
    """Return the groups without those that are like another one for the number of cards."""
    kept: dict[Hashable, Group] = {}
    for group in groups:
        kept.setdefault(group.likeness, group)
    return list(kept.values())
