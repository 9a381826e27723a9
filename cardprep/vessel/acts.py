"""A set of departures, sorted into what is done otherwise at which place of a visit."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

from cardprep.vessel.departures import NOBODY, Departure, Kind
from cardprep.vessel.model import Phase

# Of several things wrong with one card, the first decides what a display makes of it.
CARD_FAULTS = {
    Kind.CARD_UNREADABLE: "unreadable",
    Kind.CARD_MIXED: "mixed",
    Kind.OTHER_CARD: "other",
    Kind.CARD_ALTERED: "altered",
}


@dataclass(slots=True)
class Acts:
    """What is done otherwise. Keys are numbers of stages, of units, or of both.

    swaps    stages that change their places
    card     what is wrong with a stage's card
    image    that another job's card brings, NOBODY for nothing that fits
    mode     when the handset came into its mode: "late" or "no"
    ticked   the unit that was ticked instead, NOBODY for none
    cut      what cut a step off, and in which phase
    starts   places of versions that were really there, by unit and slot
    """

    swaps: list[tuple[int, int]] = field(default_factory=list)
    skipped: set[int] = field(default_factory=set)
    repeated: list[int] = field(default_factory=list)
    card: dict[int, str] = field(default_factory=dict)
    image: dict[int, int] = field(default_factory=dict)
    mode: dict[tuple[int, int], str] = field(default_factory=dict)
    ticked: dict[tuple[int, int], int] = field(default_factory=dict)
    cut: dict[tuple[int, int], tuple[str, Phase]] = field(default_factory=dict)
    starts: dict[tuple[int, int], int] = field(default_factory=dict)
    aboard: set[int] = field(default_factory=set)
    off_network: set[int] = field(default_factory=set)
    wrong_model: set[int] = field(default_factory=set)
    old: set[int] = field(default_factory=set)
    second: set[int] = field(default_factory=set)

    def order(self, count: int) -> list[tuple[int, bool]]:
        """Return the stages as they were put in, and whether it was again."""
        row = list(range(count))
        for one, other in self.swaps:
            first, second = row.index(one), row.index(other)
            row[first], row[second] = other, one
        kept = [(stage, False) for stage in row if stage not in self.skipped]
        return [*kept, *((stage, True) for stage in self.repeated)]


def acts_of(departures: Iterable[Departure]) -> Acts:
    """Sort departures; of two that exclude each other the first by order counts."""
    acts = Acts()
    faults: dict[int, set[Kind]] = {}
    for one in sorted(departures):
        if one.kind in CARD_FAULTS:
            faults.setdefault(one.stage, set()).add(one.kind)
            if one.kind is Kind.OTHER_CARD:
                acts.image.setdefault(one.stage, one.other)
        elif one.unit == NOBODY:
            _of_stage_or_display(acts, one)
        elif one.stage == NOBODY:
            _of_unit(acts, one)
        else:
            _of_step(acts, one)
    for stage, kinds in faults.items():
        acts.card[stage] = next(word for kind, word in CARD_FAULTS.items() if kind in kinds)
    return acts


def _of_stage_or_display(acts: Acts, one: Departure) -> None:
    match one.kind:
        case Kind.WRONG_ORDER:
            acts.swaps.append((one.stage, one.other))
        case Kind.SKIPPED:
            acts.skipped.add(one.stage)
        case Kind.REPEATED:
            acts.repeated.append(one.stage)
        case Kind.DISPLAY_OLD:
            acts.old.add(one.other)
        case Kind.SECOND_DISPLAY:
            acts.second.add(one.other)


def _of_unit(acts: Acts, one: Departure) -> None:
    match one.kind:
        case Kind.NOT_KNOWN_ABOARD:
            acts.aboard.add(one.unit)
        case Kind.OFF_NETWORK:
            acts.off_network.add(one.unit)
        case Kind.WRONG_MODEL:
            acts.wrong_model.add(one.unit)
        case Kind.WRONG_START:
            acts.starts.setdefault((one.unit, one.slot), one.other)


def _of_step(acts: Acts, one: Departure) -> None:
    step = (one.stage, one.unit)
    match one.kind:
        case Kind.NOT_IN_MODE:
            acts.mode.setdefault(step, "no")
        case Kind.LATE:
            acts.mode.setdefault(step, "late")
        case Kind.WRONG_TWIN | Kind.NOTHING_TICKED:
            acts.ticked.setdefault(step, one.other)
        case Kind.POWER_LOST:
            acts.cut.setdefault(step, ("power", one.phase))
        case Kind.CARD_PULLED:
            acts.cut.setdefault(step, ("card", one.phase))


NO_IMAGE = NOBODY
NO_UNIT = NOBODY
