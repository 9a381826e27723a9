"""Which smallest sets of departures explain what was seen.

A set of departures *explains* what was seen if the visit, played with exactly these,
can have gone so that every answer is allowed. Only sets of which no part explains it
already are given, so that what leaves no trace is never offered.

Sets are grown breadth first. Of a set that does not explain, only what has to do with
an answer that it does not allow is added: one of those must be in any larger set that
explains (a conflict, and its hitting sets).

Method: R. Reiter, "A theory of diagnosis from first principles", Artificial
Intelligence 32, 1987.
"""

from __future__ import annotations

from collections.abc import Container, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations
from math import prod

from cardprep.vessel.acts import CARD_FAULTS
from cardprep.vessel.departures import COMMONNESS, Departure, Kind, candidates
from cardprep.vessel.observe import Asked, Observed, Question
from cardprep.vessel.play import WAYS_MOST, Player, Run
from cardprep.vessel.scene import Scene

DEPARTURES_MOST = 3
# More sets are not looked at, the most common first; what is found then is right, and there
# may be more.
SETS_MOST = 12_000
# The same of steps that are played in them, where units are many or much is unknown.
STEPS_MOST = 500_000

# Numbers of candidates, lowest first.
_Numbers = tuple[int, ...]
# With these, things happen at other times or to other units than was planned.
_WIDENING = frozenset({Kind.WRONG_ORDER, Kind.REPEATED, Kind.WRONG_TWIN})

# What alone can change the answer to a question, of the same stage, unit and display.
_CHANGED_BY: Mapping[Asked, frozenset[Kind]] = {
    Asked.CARD: frozenset(CARD_FAULTS),
    Asked.SOFTWARE: frozenset({Kind.DISPLAY_OLD}),
    Asked.SECOND_DISPLAY: frozenset({Kind.SECOND_DISPLAY}),
    Asked.MODEL: frozenset({Kind.WRONG_MODEL}),
    Asked.ORDER: frozenset({Kind.WRONG_ORDER}),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Explanation:
    """A smallest set of departures that explains what was seen.

    departures  in a fixed order; none, if all that was seen is as planned
    weight      how common it is, compared with the others
    runs        the ways in which the visit can have gone so
    """

    departures: tuple[Departure, ...]
    weight: float
    runs: tuple[Run, ...]

    def allowed(self, question: Question) -> frozenset[str] | None:
        """Return the answers that a question can have; None for any."""
        found: frozenset[str] = frozenset()
        for run in self.runs:
            allowed = run.allowed(question)
            if allowed is None:
                return None
            found |= allowed
        return found


@dataclass(frozen=True, slots=True, kw_only=True)
class Explained:
    """All explanations, the smallest first, then the most common; none if nothing explains it.

    whole  whether every set of up to `most` departures was tried
    """

    explanations: tuple[Explanation, ...]
    whole: bool
    most: int


class Explainer:
    """Explains what was seen of one scene; what was played once is kept."""

    def __init__(
        self,
        scene: Scene,
        commonness: Mapping[Kind, int] = COMMONNESS,
        *,
        most: int = DEPARTURES_MOST,
        sets_most: int = SETS_MOST,
    ) -> None:
        self.scene = scene
        self.candidates = candidates(scene)
        self._numbers = {one: number for number, one in enumerate(self.candidates)}
        self._common = [commonness[one.kind] / 1000 for one in self.candidates]
        self._most = most
        self._sets_most = sets_most
        self._player = Player(scene)
        self._steps = sum(len(stage.steps) for stage in scene.stages)
        self._played: dict[_Numbers, tuple[Run, ...]] = {}
        self._reach = _Reach(scene, self.candidates)

    def runs(self, departures: Iterable[Departure]) -> tuple[Run, ...]:
        """Return every way in which the visit can have gone with exactly these departures."""
        return self._runs(tuple(sorted(self._numbers[one] for one in departures)))

    def _runs(self, numbers: _Numbers) -> tuple[Run, ...]:
        found = self._played.get(numbers)
        if found is None:
            departures = [self.candidates[number] for number in numbers]
            found = self._played[numbers] = self._player.play(departures)
        return found

    def explain(self, observed: Observed) -> Explained:
        """Return the smallest sets that explain what was seen."""
        found: dict[_Numbers, tuple[Run, ...]] = {}
        layer: list[_Numbers] = [()]
        looked, played, whole = 0, 0, True
        for size in range(self._most + 1):
            following: set[_Numbers] = set()
            for numbers in layer:
                if size > 1 and played > STEPS_MOST:
                    whole = False
                    break
                runs = self._runs(numbers)
                looked, played = looked + 1, played + (len(runs) or WAYS_MOST) * self._steps
                # Too much is unknown to play it.
                whole = whole and bool(runs)
                fitting = tuple(run for run in runs if fits(run, observed))
                if fitting:
                    found[numbers] = fitting
                elif runs and size < self._most:
                    following.update(self._grown(numbers, runs, observed))
            left = [one for one in following if not _holds_one(one, found)]
            left.sort(key=lambda one: (-self._weight(one), one))
            whole = whole and looked + len(left) <= self._sets_most
            layer = left[: max(self._sets_most - looked, 0)]
        explanations = [
            Explanation(
                departures=tuple(self.candidates[number] for number in numbers),
                weight=self._weight(numbers),
                runs=runs,
            )
            for numbers, runs in found.items()
        ]
        explanations.sort(key=lambda one: (len(one.departures), -one.weight, one.departures))
        return Explained(explanations=tuple(explanations), whole=whole, most=self._most)

    def _grown(
        self, numbers: _Numbers, runs: tuple[Run, ...], observed: Observed
    ) -> Iterator[_Numbers]:
        """Give the sets with one departure more that could explain what these do not."""
        # Of each way one answer that it does not allow; best one that few things can change.
        violated = {
            min(
                (question for question, told in observed.items() if not run.allows(question, told)),
                key=lambda question: (question.asked not in _CHANGED_BY, question.order),
            )
            for run in runs
        }
        further = set[int]().union(*(self._reach.of(question, numbers) for question in violated))
        for number in further.difference(numbers):
            yield tuple(sorted((*numbers, number)))

    def _weight(self, numbers: _Numbers) -> float:
        return prod(self._common[number] for number in numbers)


def _holds_one(numbers: _Numbers, known: Container[_Numbers]) -> bool:
    """Return whether a part of a set, or all of it, is among those known."""
    return any(
        part in known for size in range(len(numbers) + 1) for part in combinations(numbers, size)
    )


def fits(run: Run, observed: Observed) -> bool:
    """Return whether a run allows every answer."""
    return all(run.allows(question, answer) for question, answer in observed.items())


class _Reach:
    """Whether a departure can change the answer to a question at all.

    It can at its own stages and units, at units that need a version on them, and, since
    somebody may stop after a step that failed, at everything that comes later.
    """

    def __init__(self, scene: Scene, known: Sequence[Departure]) -> None:
        self._scene = scene
        self._candidates = known
        self._found: dict[tuple[Question, _Numbers], frozenset[int]] = {}

    def of(self, question: Question, others: _Numbers) -> frozenset[int]:
        """Return the numbers of the departures that can change what a question is answered.

        others  those that are there already; some of these widen what can
        """
        wide = tuple(n for n in others if self._candidates[n].kind in _WIDENING)
        key = (question, wide)
        if key not in self._found:
            there = [self._candidates[number] for number in wide]
            self._found[key] = frozenset(
                number
                for number, one in enumerate(self._candidates)
                if self._matters(one, question, there)
            )
        return self._found[key]

    def _matters(self, one: Departure, question: Question, others: Sequence[Departure]) -> bool:
        """Return False only if the departure cannot change what the question is answered."""
        kinds = _CHANGED_BY.get(question.asked)
        if kinds is not None:
            wanted = (question.stage, question.unit, question.display)
            about = (one.stage, one.unit, one.other if question.display >= 0 else -1)
            return one.kind in kinds and (question.asked is Asked.ORDER or about == wanted)
        if question.asked is Asked.WENT_ON:
            return True
        moved = one.kind is Kind.WRONG_ORDER or any(d.kind is Kind.WRONG_ORDER for d in others)
        repeated = any(d.kind is Kind.REPEATED for d in others)
        if moved or repeated:
            return True
        twins = [other for other in (*others, one) if other.kind is Kind.WRONG_TWIN]
        stages, units = self._concerned(one)
        last = question.stage
        if last < 0:
            own = {question.unit, *self._scene.depends.get(question.unit, ())}
            if own & units:
                return True
            # A twin that was ticked is concerned by what happens in the other's stages.
            last = max(
                (
                    *(stage for unit in own for stage in self._scene.planned.get(unit, ())),
                    *(twin.stage for twin in twins if twin.other in own),
                    -1,
                )
            )
        if one.stage < 0 and one.unit >= 0:
            # What a unit is from the beginning matters from its first step on, whoever was
            # meant by that, and wherever another unit needs a version on it.
            return one.unit in self._touched(last, twins)
        return min(stages, default=0) <= last or question.stage in stages

    def _touched(self, last: int, twins: Sequence[Departure]) -> set[int]:
        """Return the units that have a say in the stages up to one."""
        found = {twin.other for twin in twins if twin.stage <= last}
        found.update(unit for stage in self._scene.stages[: last + 1] for unit, _ in stage.steps)
        return found.union(*(self._scene.depends.get(unit, ()) for unit in found))

    def _concerned(self, one: Departure) -> tuple[set[int], set[int]]:
        scene = self._scene
        if one.kind in (Kind.DISPLAY_OLD, Kind.SECOND_DISPLAY):
            stages = {n for n, stage in enumerate(scene.stages) if stage.display == one.other}
            return stages, {unit.number for unit in scene.vessel.units}
        if one.stage < 0:
            return set(scene.planned.get(one.unit, ())), {one.unit}
        units = {unit for unit, _ in scene.stages[one.stage].steps}
        if one.kind is Kind.WRONG_TWIN:
            units.add(one.other)
        return {one.stage}, units
