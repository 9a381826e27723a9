"""What a run lets be seen: for each question the answers that it allows.

Source of what can be seen of which state: common practice, no published source. A unit
without an application waits and looks dead or stuck, but may still show its bootloader
at power-on; a handset left behind is blank; a unit that shows nothing shows no version.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import cache

from cardprep.vessel.acts import NO_UNIT, Acts
from cardprep.vessel.model import State, UnitModel, VesselModel
from cardprep.vessel.observe import NONE_SHOWN, Asked, Question, shown_at
from cardprep.vessel.scale import EMPTY_ONLY, Scale, places
from cardprep.vessel.scene import Scene

_ANY_SIGHT = frozenset({"waiting", "dark"})
_YES_OR_NO = frozenset({"yes", "no"})
_RUNS_OR_BLANK = frozenset({"running", "blank"})
_RUNS = frozenset({"running"})
_DARK = frozenset({"dark"})


@cache
def _only(answer: str) -> frozenset[str]:
    return frozenset({answer})


@dataclass(frozen=True, slots=True)
class Told:
    """What has happened in a run so far.

    cards    stages whose card was put in, and whether again
    steps    for each step what the display can have shown
    cut      steps that were cut off
    offered  steps of which something could be ticked
    refused  steps that were refused
    """

    cards: tuple[tuple[int, bool], ...] = ()
    steps: tuple[tuple[tuple[int, int], frozenset[str]], ...] = ()
    cut: frozenset[tuple[int, int]] = frozenset()
    offered: frozenset[tuple[int, int]] = frozenset()
    refused: frozenset[tuple[int, int]] = frozenset()

    def with_card(self, stage: int, *, again: bool) -> Told:
        """Return the same after a card was put in."""
        return replace(self, cards=(*self.cards, (stage, again)))

    def with_step(
        self,
        step: tuple[int, int],
        shown: frozenset[str],
        *,
        was_cut: bool,
        could_tick: bool,
        refused: bool,
    ) -> Told:
        """Return the same after a step was tried."""
        return Told(
            self.cards,
            (*self.steps, (step, shown)),
            self.cut | {step} if was_cut else self.cut,
            self.offered | {step} if could_tick else self.offered,
            self.refused | {step} if refused else self.refused,
        )


@dataclass(frozen=True, slots=True)
class Seen:
    """What one run lets be seen.

    absent   units that have no handset
    states   of the units at its end
    went_on  whether somebody went on after a step that failed; None where it does not tell
    """

    scene: Scene
    vessel: VesselModel
    acts: Acts
    absent: frozenset[int]
    states: tuple[State, ...]
    told: Told
    went_on: str | None
    # What was asked before; a run is asked the same for many sets of observations.
    _known: dict[Question, frozenset[str] | None] = field(
        default_factory=dict, compare=False, repr=False
    )

    def allowed(self, question: Question) -> frozenset[str] | None:
        """Return the answers that a question can have; None for any."""
        if question not in self._known:
            self._known[question] = self._allowed(question)
        return self._known[question]

    def _allowed(self, question: Question) -> frozenset[str] | None:
        if question.stage >= 0:
            if question.unit >= 0:
                return self._of_step(question)
            return self._of_stage(question)
        if question.unit >= 0:
            return self._of_unit(question)
        if question.asked is Asked.SOFTWARE:
            return _only("old" if question.display in self.acts.old else "current")
        if question.asked is Asked.SECOND_DISPLAY:
            return _only("yes") if question.display in self.acts.second else None
        if question.asked is Asked.ORDER:
            return _only("other" if self.acts.swaps else "as planned")
        return None if self.went_on is None else _only(self.went_on)

    def _of_stage(self, question: Question) -> frozenset[str]:
        stage = question.stage
        fault = self.acts.card.get(stage)
        if question.asked is Asked.CARD:
            return _only(fault or "right")
        if question.asked is Asked.INTERRUPTED:
            cuts = {self.acts.cut[step][0] for step in self.told.cut if step[0] == stage}
            return frozenset(cuts) or _only("no")
        again = (stage, True) in self.told.cards
        put_in = again or (stage, False) in self.told.cards
        if question.asked is Asked.PUT_IN:
            return _only("again" if again else "once" if put_in else "not")
        # A display usually announces such a card; no announcement proves nothing.
        may = put_in and fault not in ("mixed", "unreadable")
        announced = may and (self.scene.stages[stage].announces or fault == "other")
        return _YES_OR_NO if announced else _only("no")

    def _of_step(self, question: Question) -> frozenset[str] | None:
        step = (question.stage, question.unit)
        said = next((shown for known, shown in self.told.steps if known == step), None)
        if question.asked is Asked.SHOWN:
            return _only("nothing") if said is None else said
        if said is None:
            return None
        if question.asked is Asked.TICKED:
            if step not in self.told.offered:
                return None
            other = self.acts.ticked.get(step)
            return _only("right" if other is None else "none" if other == NO_UNIT else "other")
        if question.unit in self.absent or question.unit not in self.scene.expected_companions:
            return None
        return _only(self.acts.mode.get(step, "before"))

    def _of_unit(self, question: Question) -> frozenset[str] | None:
        number = question.unit
        unit, state = self.vessel.units[number], self.states[number]
        sight = _sight(unit, state)
        if question.asked is Asked.STATE:
            return sight
        wrong = number in self.acts.wrong_model
        if question.asked is Asked.MODEL:
            return _only("another" if wrong else "as noted")
        runs, dark = sight == _RUNS, sight == _DARK
        if question.asked is Asked.LISTED:
            if number in self.acts.off_network or dark:
                return _only("no")
            disturbed = wrong or self.acts.old or self.acts.second
            return _only("yes") if runs and unit.loads and not disturbed else None
        if question.asked is Asked.HANDSET or question.slot >= unit.own:
            return self._of_companion(question, unit, state, runs=runs)
        if wrong:
            return None
        if dark:
            return _only(NONE_SHOWN)
        return _perhaps(_versions(unit.scales[question.slot], state[question.slot]), surely=runs)

    def _of_companion(
        self, question: Question, unit: UnitModel, state: State, *, runs: bool
    ) -> frozenset[str]:
        asked_handset = question.asked is Asked.HANDSET
        if unit.number in self.absent:
            return _only("none" if asked_handset else NONE_SHOWN)
        empty = any(content == EMPTY_ONLY for content in state[unit.own : -1])
        blank = empty or (state[-1] == 0 and runs)
        if asked_handset:
            if blank:
                return _only("blank")
            return _only("running") if runs else _RUNS_OR_BLANK
        if blank:
            return _only(NONE_SHOWN)
        return _perhaps(_versions(unit.scales[question.slot], state[question.slot]), surely=runs)


def _sight(unit: UnitModel, state: State) -> frozenset[str]:
    empty = {unit.slots[slot] for slot in unit.vital if state[slot] == EMPTY_ONLY}
    if not empty:
        return _RUNS
    return _DARK if "bootloader" in empty else _ANY_SIGHT


def _versions(scale: Scale, content: int) -> frozenset[str]:
    return frozenset(shown_at(scale, place) for place in places(content))


def _perhaps(shows: frozenset[str], *, surely: bool) -> frozenset[str]:
    return shows if surely else shows | {NONE_SHOWN}
