"""The fewest cards, then the fewest minutes, then the fewest bytes: found, and proved.

First the number of stages: rows of cards are tried, shortest first. A row is given up
as soon as some bundle cannot be done in what is left of it. Then every row of that
number is gone through for minutes and bytes, until one is as cheap as a bound that
holds for all. Where that takes more than a fixed number of looks, the best that was
found is given, with the bound: the clock has no say, so that every run finds the same.

Method: iterative deepening depth-first search (Korf, "Depth-first iterative-deepening:
an optimal admissible tree search", Artificial Intelligence 27, 1985).
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import combinations

from cardprep.vessel.courses import Courses, Move
from cardprep.vessel.graph import Reading, UnitGraph
from cardprep.vessel.groups import Bundle, Joint, Room, bundles_of, groups_of
from cardprep.vessel.model import VesselModel

# More cards than a job can have stages are looked for nowhere.
STAGES_MOST = 32
LOOKS_MOST = 60_000
ROWS_MOST = 4_000

# For each group of a bundle, where it can be by now.
_Reached = tuple[frozenset[Joint], ...]
# A bundle can be brought forward by several contents; each leads to places of its own.
_Belief = frozenset[_Reached]


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
        self._readings = readings
        self._graphs = graphs
        self._bundles = [_Forward(bundle, readings) for bundle in bundles]
        self._courses = [Courses(bundle) for bundle in bundles]
        self._relevant = {
            reading: frozenset(n for n, b in enumerate(bundles) if b.contents(reading))
            for reading in readings
        }
        self._looks = 0
        self._failed: dict[tuple[_Belief, ...], int] = {}

    def best(self) -> Found | None:
        """Return the best plan, or None."""
        start = tuple(forward.start for forward in self._bundles)
        least = max((forward.least for forward in self._bundles), default=0)
        least = max(least, self._by_types())
        bound = least
        for count in range(least, STAGES_MOST + 1):
            self._looks = 0
            row = self._row(start, count, ())
            if row is not None:
                return self._cheapest(start, row, bound)
            if self._is_hopeless():
                return None
            if self._looks < LOOKS_MOST:
                # Every row of this number was looked at.
                bound = count + 1 if bound == count else bound
        return None

    def _is_hopeless(self) -> bool:
        return any(forward.is_hopeless() for forward in self._bundles)

    def _by_types(self) -> int:
        """Return how many stages are needed because a card takes only so many types."""
        words = sorted({word for reading in self._readings for word in reading.types})
        most = max((len(reading.types) for reading in self._readings), default=1)
        needed = 0
        for word in words:
            starts = [g.counts(word)[g.unit.start] for g in self._graphs.values()]
            needed += max(starts, default=0)
        return -(-needed // max(most, 1))

    def _row(
        self, beliefs: tuple[_Belief, ...], left: int, row: tuple[Reading, ...]
    ) -> tuple[Reading, ...] | None:
        """Return the first row of cards, by the order of readings, with which all can be done."""
        pairs = list(zip(self._bundles, beliefs, strict=True))
        if all(forward.is_done(belief) for forward, belief in pairs):
            return row
        if left == 0 or self._failed.get(beliefs, -1) >= left or self._looks >= LOOKS_MOST:
            return None
        self._looks += 1
        if all(forward.can_be_done(belief, left) for forward, belief in pairs):
            for reading in self._readings:
                following = self._after(beliefs, reading)
                if following != beliefs:
                    found = self._row(following, left - 1, (*row, reading))
                    if found is not None:
                        return found
        if self._looks < LOOKS_MOST:
            self._failed[beliefs] = left
        return None

    def _after(self, beliefs: tuple[_Belief, ...], reading: Reading) -> tuple[_Belief, ...]:
        concerned = self._relevant[reading]
        return tuple(
            self._bundles[n].after(belief, reading) if n in concerned else belief
            for n, belief in enumerate(beliefs)
        )

    # --- minutes and bytes

    def _cheapest(
        self, start: tuple[_Belief, ...], first: tuple[Reading, ...], stages: int
    ) -> Found | None:
        count = len(first)
        bound = self._bound()
        best = self._costed(first)
        for looked, row in enumerate(self._rows(start, count, ())):
            if (best is not None and best[0] <= bound) or looked >= ROWS_MOST:
                break
            costed = self._costed(row)
            if costed is not None and (best is None or costed[0] < best[0]):
                best = (costed[0], costed[1], row, costed[3])
        else:
            # Every row was gone through, so what was found is the bound itself.
            if best is not None and best[3]:
                bound = best[0]
        if best is None:
            return None
        cost, moves, row, _ = best
        proved = (stages, *min(bound, cost)) if stages == count else (stages, 0, 0)
        return Found(row=row, moves=moves, cost=(count, *cost), bound=proved)

    def _costed(
        self, row: tuple[Reading, ...]
    ) -> tuple[tuple[int, int], tuple[Move, ...], tuple[Reading, ...], bool] | None:
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
        return (minutes, size), tuple(moves), row, whole

    def _bound(self) -> tuple[int, int]:
        """Return minutes and bytes that no plan is below: each unit looked at alone."""
        minutes = sum(graph.minutes[graph.unit.start] for graph in self._graphs.values())
        used = frozenset[int]().union(*(graph.necessary for graph in self._graphs.values()))
        return minutes, sum(self._vessel.images[image].size for image in used)

    def _rows(
        self, beliefs: tuple[_Belief, ...], left: int, row: tuple[Reading, ...]
    ) -> Iterable[tuple[Reading, ...]]:
        """Return every row of a number of cards with which all can be done, each once."""
        pairs = zip(self._bundles, beliefs, strict=True)
        if left == 0:
            if all(forward.is_done(belief) for forward, belief in pairs):
                yield row
            return
        if not all(forward.can_be_done(belief, left) for forward, belief in pairs):
            return
        for reading in self._readings:
            if not self._relevant[reading] or (row and self._is_swapped(row[-1], reading)):
                continue
            following = self._after(beliefs, reading)
            yield from self._rows(following, left - 1, (*row, reading))

    def _is_swapped(self, before: Reading, reading: Reading) -> bool:
        """Return whether two cards could as well be put in the other way round."""
        if self._relevant[before] & self._relevant[reading]:
            return False
        return self._readings.index(before) > self._readings.index(reading)


class _Forward:
    """How far one bundle can get, card by card."""

    def __init__(self, bundle: Bundle, readings: tuple[Reading, ...]) -> None:
        self._bundle = bundle
        self._readings = tuple(one for one in readings if bundle.contents(one))
        self._groups = bundle.groups
        self._after: dict[tuple[_Belief, Reading], _Belief] = {}
        self._reached: dict[
            tuple[int, frozenset[Joint], int, frozenset[int]], frozenset[Joint]
        ] = {}
        self._needed: dict[_Belief, tuple[int, bool]] = {}
        self._alone = [
            [(place, graph.stages(readings)) for place, graph in enumerate(group.graphs)]
            for group in self._groups
        ]
        self.start: _Belief = frozenset([tuple(frozenset([g.start]) for g in self._groups)])
        self.least = self._lower(self.start)

    def is_done(self, belief: _Belief) -> bool:
        """Return whether the bundle can be done by now."""
        return any(self._is_done(reached) for reached in belief)

    def _is_done(self, reached: _Reached) -> bool:
        return all(
            any(group.is_done(joint) for joint in joints)
            for group, joints in zip(self._groups, reached, strict=True)
        )

    def after(self, belief: _Belief, reading: Reading) -> _Belief:
        """Return how far the bundle can be after one more card."""
        key = (belief, reading)
        found = self._after.get(key)
        if found is None:
            found = self._after[key] = _furthest(
                self._with(reached, reading.display, content)
                for reached in belief
                for content in self._bundle.contents(reading)
            )
        return found

    def _with(self, reached: _Reached, display: int, content: frozenset[int]) -> _Reached:
        return tuple(
            self._of_group(number, joints, display, content)
            for number, joints in enumerate(reached)
        )

    def _of_group(
        self, number: int, joints: frozenset[Joint], display: int, content: frozenset[int]
    ) -> frozenset[Joint]:
        key = (number, joints, display, content & self._groups[number].images)
        found = self._reached.get(key)
        if found is None:
            found = self._reached[key] = self._groups[number].reached(joints, display, content)
        return found

    def can_be_done(self, belief: _Belief, left: int) -> bool:
        """Return whether the bundle, looked at alone, can be done with so many more cards."""
        known, exact = self._needed.get(belief, (0, False))
        if exact or known > left:
            return known <= left
        if self.is_done(belief):
            self._needed[belief] = (0, True)
            return True
        if self._lower(belief) > left:
            return False
        if left:
            for reading in self._readings:
                following = self.after(belief, reading)
                if following != belief and self.can_be_done(following, left - 1):
                    # Fewer were refused before, or will be found when they are asked for.
                    if known == left:
                        self._needed[belief] = (left, True)
                    return True
        self._needed[belief] = (left + 1, False)
        return False

    def is_hopeless(self) -> bool:
        """Return whether no number of cards will do: everything that can be reached was."""
        seen, left = {self.start}, [self.start]
        while left:
            belief = left.pop()
            if self.is_done(belief):
                return False
            for reading in self._readings:
                following = self.after(belief, reading)
                if following not in seen:
                    seen.add(following)
                    left.append(following)
        return True

    def _lower(self, belief: _Belief) -> int:
        """Return how many cards are needed at least, each unit looked at alone."""
        return min(
            max(
                min(
                    max(stages.get(joint[place], STAGES_MOST + 1) for place, stages in alone)
                    for joint in joints
                )
                for alone, joints in zip(self._alone, reached, strict=True)
            )
            for reached in belief
        )


def _furthest(found: Iterable[_Reached]) -> _Belief:
    """Leave out what gets nowhere that another does not get to as well."""
    kept: list[_Reached] = []
    for one in dict.fromkeys(found):
        if any(all(a <= b for a, b in zip(one, other, strict=True)) for other in kept):
            continue
        kept = [other for other in kept if not all(a <= b for a, b in zip(other, one, strict=True))]
        kept.append(one)
    return frozenset(kept)
