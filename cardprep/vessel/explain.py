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

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from cardprep.vessel.acts import CARD_FAULTS
from cardprep.vessel.departures import COMMONNESS, Departure, Kind, candidates
from cardprep.vessel.observe import Asked, Observed, Question
from cardprep.vessel.play import Player, Run
from cardprep.vessel.scene import Scene

DEPARTURES_MOST = 3
# More sets are not played; what is found then is right, and there may be more.
PLAYS_MOST = 30_000

_Set = tuple[Departure, ...]

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

    departures: _Set
    weight: float
    runs: tuple[Run, ...]

    def allowed(self, question: Question) -> frozenset[str] | None:
        """Return the answers that a question can have; None for any."""
        found: frozenset[str] = frozenset()
        for run in self.runs:
            allowed = run.implied.get(question)
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
        plays_most: int = PLAYS_MOST,
    ) -> None:
        self.scene = scene
        self.candidates = candidates(scene)
        self._commonness = commonness
        self._most = most
        self._plays_most = plays_most
        self._player = Player(scene)
        self._played: dict[_Set, tuple[Run, ...]] = {}
        self._reach = _Reach(scene)

    def runs(self, departures: Iterable[Departure]) -> tuple[Run, ...]:
        """Return every way in which the visit can have gone with exactly these departures."""
        key = tuple(sorted(departures))
        found = self._played.get(key)
        if found is None:
            found = self._played[key] = self._player.play(key)
        return found

    def explain(self, observed: Observed) -> Explained:
        """Return the smallest sets that explain what was seen."""
        found: list[Explanation] = []
        layer: dict[_Set, None] = {(): None}
        whole = True
        for size in range(self._most + 1):
            following: dict[_Set, None] = {}
            for departures in layer:
                if departures not in self._played and len(self._played) >= self._plays_most:
                    whole = False
                    continue
                runs = self.runs(departures)
                fitting = tuple(run for run in runs if fits(run, observed))
                if fitting:
                    weight = self._weight(departures)
                    found.append(Explanation(departures=departures, weight=weight, runs=fitting))
                elif size < self._most:
                    following.update(dict.fromkeys(self._grown(departures, runs, observed)))
            known = [frozenset(one.departures) for one in found]
            layer = {one: None for one in following if not _holds_one(frozenset(one), known)}
        found.sort(key=lambda one: (len(one.departures), -one.weight, one.departures))
        return Explained(explanations=tuple(found), whole=whole, most=self._most)

    def _grown(self, departures: _Set, runs: tuple[Run, ...], observed: Observed) -> Iterable[_Set]:
        """Give the sets with one departure more that could explain what these do not."""
        # Of each way one answer that it does not allow; best one that few things can change.
        violated = {
            min(
                (question for question, told in observed.items() if not run.allows(question, told)),
                key=lambda question: (question.asked not in _CHANGED_BY, question.order),
            )
            for run in runs
        }
        for one in self.candidates:
            if one in departures:
                continue
            if any(self._reach.matters(one, question, departures) for question in violated):
                yield tuple(sorted((*departures, one)))

    def _weight(self, departures: _Set) -> float:
        weight = 1.0
        for one in departures:
            weight *= self._commonness[one.kind] / 1000
        return weight


def fits(run: Run, observed: Observed) -> bool:
    """Return whether a run allows every answer."""
    return all(run.allows(question, answer) for question, answer in observed.items())


def _holds_one(departures: frozenset[Departure], known: list[frozenset[Departure]]) -> bool:
    return any(one <= departures for one in known)


class _Reach:
    """Whether a departure can change the answer to a question at all.

    It can at its own stages and units, at units that need a version on them, and, since
    somebody may stop after a step that failed, at everything that comes later.
    """

    def __init__(self, scene: Scene) -> None:
        self._scene = scene

    def matters(self, one: Departure, question: Question, others: Iterable[Departure]) -> bool:
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
        stages, units = self._concerned(one)
        if question.stage >= 0:
            return min(stages, default=0) <= question.stage or question.stage in stages
        # A twin that was ticked is concerned by what happens in the other's stages.
        own = {question.unit, *self._scene.depends.get(question.unit, ())}
        if own & units:
            return True
        last = max((s for unit in own for s in self._scene.planned.get(unit, ())), default=-1)
        twins = [d for d in others if d.kind is Kind.WRONG_TWIN and d.other in own]
        last = max([last, *(twin.stage for twin in twins)])
        return min(stages, default=0) <= last

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
