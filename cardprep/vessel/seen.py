"""What a run lets be seen: for each question the answers that it allows.

Source of what can be seen of which state: common practice, no published source. A unit
without an application waits and looks dead or stuck, but may still show its bootloader
at power-on; a handset left behind is blank; a unit that shows nothing shows no version.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace

from cardprep.vessel.acts import NO_UNIT, Acts
from cardprep.vessel.model import State, UnitModel, VesselModel
from cardprep.vessel.observe import NONE_SHOWN, Asked, Question, shown_at
from cardprep.vessel.scale import EMPTY_ONLY, Scale, places
from cardprep.vessel.scene import Scene

_ANY_SIGHT = frozenset({"waiting", "dark"})
_YES_OR_NO = frozenset({"yes", "no"})


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


def implied(
    scene: Scene,
    vessel: VesselModel,
    acts: Acts,
    absent: frozenset[int],
    states: tuple[State, ...],
    told: Told,
    went_on: frozenset[str] | None,
) -> Mapping[Question, frozenset[str]]:
    """Return the possible answers of each question; one that may have any is left out."""
    found = dict(_of_stages(scene, acts, told))
    found.update(_of_steps(scene, acts, absent, told))
    for display in {stage.display for stage in scene.stages}:
        software = "old" if display in acts.old else "current"
        found[Question(Asked.SOFTWARE, display=display)] = _only(software)
        if display in acts.second:
            found[Question(Asked.SECOND_DISPLAY, display=display)] = _only("yes")
    for unit, state in zip(vessel.units, states, strict=True):
        found.update(_of_unit(scene, unit, state, acts, absent))
    if went_on is not None:
        found[Question(Asked.WENT_ON)] = went_on
    if len(scene.stages) > 1:
        found[Question(Asked.ORDER)] = _only("other" if acts.swaps else "as planned")
    return found


def _of_stages(scene: Scene, acts: Acts, told: Told) -> Iterator[tuple[Question, frozenset[str]]]:
    put_in = {stage for stage, again in told.cards if not again}
    again = {stage for stage, repeated in told.cards if repeated}
    for number, stage in enumerate(scene.stages):
        fault = acts.card.get(number)
        yield Question(Asked.CARD, stage=number), _only(fault or "right")
        times = "again" if number in again else "once" if number in put_in else "not"
        yield Question(Asked.PUT_IN, stage=number), _only(times)
        may = number in put_in | again and fault not in ("mixed", "unreadable")
        # A display usually announces such a card; no announcement proves nothing.
        announced = may and (stage.announces or fault == "other")
        yield Question(Asked.ANNOUNCED, stage=number), _YES_OR_NO if announced else _only("no")
        cuts = {acts.cut[step][0] for step in told.cut if step[0] == number}
        yield Question(Asked.INTERRUPTED, stage=number), frozenset(cuts) or _only("no")


def _of_steps(
    scene: Scene, acts: Acts, absent: frozenset[int], told: Told
) -> Iterator[tuple[Question, frozenset[str]]]:
    shown = dict(told.steps)
    for number, stage in enumerate(scene.stages):
        for unit, image in stage.steps:
            step = (number, unit)
            said = shown.get(step)
            yield Question(Asked.SHOWN, number, unit), _only("nothing") if said is None else said
            if said is None:
                continue
            if step in told.offered:
                other = acts.ticked.get(step)
                word = "right" if other is None else "none" if other == NO_UNIT else "other"
                yield Question(Asked.TICKED, number, unit), _only(word)
            expected = unit in scene.expected_companions and unit not in absent
            if expected and scene.carries(unit, image):
                yield Question(Asked.SIGN, number, unit), _only(acts.mode.get(step, "before"))


def _of_unit(
    scene: Scene, unit: UnitModel, state: State, acts: Acts, absent: frozenset[int]
) -> Iterator[tuple[Question, frozenset[str]]]:
    number = unit.number
    sight = _sight(unit, state)
    yield Question(Asked.STATE, unit=number), sight
    wrong = number in acts.wrong_model
    yield Question(Asked.MODEL, unit=number), _only("another" if wrong else "as noted")
    if number in acts.off_network or sight == _only("dark"):
        yield Question(Asked.LISTED, unit=number), _only("no")
    elif not (wrong or acts.old or acts.second) and sight == _only("running") and unit.loads:
        yield Question(Asked.LISTED, unit=number), _only("yes")
    runs = sight == _only("running")
    if not wrong:
        for slot in range(unit.own):
            shows = _versions(unit.scales[slot], state[slot])
            yield (
                Question(Asked.VERSION, unit=number, slot=slot),
                (_only(NONE_SHOWN) if sight == _only("dark") else _perhaps(shows, surely=runs)),
            )
    widest = scene.vessel.units[number]
    if widest.has_companion:
        yield from _of_companion(widest, state, runs=runs, aboard=number not in absent)


def _of_companion(
    unit: UnitModel, state: State, *, runs: bool, aboard: bool
) -> Iterator[tuple[Question, frozenset[str]]]:
    handset = Question(Asked.HANDSET, unit=unit.number)
    empty = aboard and any(content == EMPTY_ONLY for content in state[unit.own : -1])
    blank = aboard and (empty or state[-1] == 0)
    if not aboard:
        yield handset, _only("none")
    elif empty or (blank and runs):
        yield handset, _only("blank")
    else:
        yield handset, _only("running") if runs else frozenset({"running", "blank"})
    for slot in range(unit.own, len(unit.slots)):
        question = Question(Asked.VERSION, unit=unit.number, slot=slot)
        if not aboard or (blank and (empty or runs)):
            yield question, _only(NONE_SHOWN)
        else:
            yield question, _perhaps(_versions(unit.scales[slot], state[slot]), surely=runs)


def _sight(unit: UnitModel, state: State) -> frozenset[str]:
    empty = {unit.slots[slot] for slot in unit.vital if state[slot] == EMPTY_ONLY}
    if not empty:
        return _only("running")
    return _only("dark") if "bootloader" in empty else _ANY_SIGHT


def _versions(scale: Scale, content: int) -> frozenset[str]:
    return frozenset(shown_at(scale, place) for place in places(content))


def _perhaps(shows: frozenset[str], *, surely: bool) -> frozenset[str]:
    return shows if surely else shows | {NONE_SHOWN}
