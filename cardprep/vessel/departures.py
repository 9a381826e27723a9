"""What can be done otherwise than planned on board, and how common each is.

A *departure* is one thing that went otherwise than planned: a value, so that sets of
them can be played (``play.py``) and compared. Which departures can be of any matter
for a visit follows from its stages and units (``candidates``).

How common each departure is: common practice, no published source. The numbers are
how often it is met in a thousand visits that went wrong, and only their relations
matter; the shop can set its own.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from enum import StrEnum

from cardprep.vessel.model import Phase
from cardprep.vessel.scale import EMPTY, is_known, places
from cardprep.vessel.scene import Scene

NOBODY = -1


class Kind(StrEnum):
    """What sort of thing went otherwise."""

    WRONG_ORDER = "wrong-order"
    SKIPPED = "skipped"
    REPEATED = "repeated"
    OTHER_CARD = "other-card"
    NOT_IN_MODE = "handset-not-in-mode"
    LATE = "handset-late"
    NOT_KNOWN_ABOARD = "handset-not-known"
    WRONG_TWIN = "wrong-unit-ticked"
    NOTHING_TICKED = "nothing-ticked"
    DISPLAY_OLD = "display-too-old"
    SECOND_DISPLAY = "second-display"
    CARD_MIXED = "card-mixed"
    CARD_ALTERED = "card-altered"
    CARD_UNREADABLE = "card-unreadable"
    POWER_LOST = "power-lost"
    CARD_PULLED = "card-pulled"
    OFF_NETWORK = "off-network"
    WRONG_MODEL = "wrong-model"
    WRONG_START = "wrong-start"


COMMONNESS: Mapping[Kind, int] = {
    Kind.WRONG_ORDER: 40,
    Kind.SKIPPED: 30,
    Kind.REPEATED: 5,
    Kind.OTHER_CARD: 10,
    Kind.NOT_IN_MODE: 80,
    Kind.LATE: 30,
    Kind.NOT_KNOWN_ABOARD: 30,
    Kind.WRONG_TWIN: 20,
    Kind.NOTHING_TICKED: 20,
    Kind.DISPLAY_OLD: 25,
    Kind.SECOND_DISPLAY: 15,
    Kind.CARD_MIXED: 30,
    Kind.CARD_ALTERED: 15,
    Kind.CARD_UNREADABLE: 25,
    Kind.POWER_LOST: 20,
    Kind.CARD_PULLED: 10,
    Kind.OFF_NETWORK: 25,
    Kind.WRONG_MODEL: 10,
    Kind.WRONG_START: 15,
}
COMMONNESS_MOST = 999


@dataclass(frozen=True, slots=True, order=True)
class Departure:
    """One thing that went otherwise. All numbers count from 0; NOBODY where there is none.

    stage  whose card it is about
    unit   that it is about
    other  the other stage of a wrong order; the image on another job's card; the twin
           that was ticked; the display; or the place of the version that was really there
    slot   of a wrong starting version
    phase  in which power was lost or the card pulled
    """

    kind: Kind
    stage: int = NOBODY
    unit: int = NOBODY
    other: int = NOBODY
    slot: int = NOBODY
    phase: Phase = Phase.UNIT


def with_shops_own(own: Mapping[Kind, int]) -> Mapping[Kind, int]:
    """Return how common each departure is, the shop's own numbers before the usual ones."""
    return {**COMMONNESS, **own}


def candidates(scene: Scene) -> tuple[Departure, ...]:
    """Return every departure that can be of any matter for these stages and units, in order."""
    found = (
        *_of_stages(scene),
        *_of_steps(scene),
        *_of_displays(scene),
        *_of_units(scene),
    )
    return tuple(sorted(set(found)))


def _of_stages(scene: Scene) -> Iterator[Departure]:
    count = len(scene.stages)
    for number in range(count):
        for later in range(number + 1, count):
            yield Departure(Kind.WRONG_ORDER, stage=number, other=later)
        for kind in (
            *(Kind.SKIPPED, Kind.REPEATED, Kind.OTHER_CARD),
            *(Kind.CARD_MIXED, Kind.CARD_ALTERED, Kind.CARD_UNREADABLE),
        ):
            yield Departure(kind, stage=number)
        for image in scene.other_images(number):
            yield Departure(Kind.OTHER_CARD, stage=number, other=image)


def _of_steps(scene: Scene) -> Iterator[Departure]:
    for number, stage in enumerate(scene.stages):
        for unit, image in stage.steps:
            yield Departure(Kind.NOTHING_TICKED, stage=number, unit=unit)
            for twin in scene.twins(number, unit, image):
                yield Departure(Kind.WRONG_TWIN, stage=number, unit=unit, other=twin)
            for kind in (Kind.POWER_LOST, Kind.CARD_PULLED):
                yield Departure(kind, stage=number, unit=unit)
            if scene.carries(unit, image):
                if unit in scene.expected_companions:
                    yield Departure(Kind.NOT_IN_MODE, stage=number, unit=unit)
                    yield Departure(Kind.LATE, stage=number, unit=unit)
                for kind in (Kind.POWER_LOST, Kind.CARD_PULLED):
                    yield Departure(kind, stage=number, unit=unit, phase=Phase.COMPANION)


def _of_displays(scene: Scene) -> Iterator[Departure]:
    for display in sorted({stage.display for stage in scene.stages}):
        yield Departure(Kind.DISPLAY_OLD, other=display)
        yield Departure(Kind.SECOND_DISPLAY, other=display)


def _of_units(scene: Scene) -> Iterator[Departure]:
    for number in sorted({unit for stage in scene.stages for unit, _ in stage.steps}):
        yield Departure(Kind.OFF_NETWORK, unit=number)
        yield Departure(Kind.WRONG_MODEL, unit=number)
        if number in scene.told_none:
            yield Departure(Kind.NOT_KNOWN_ABOARD, unit=number)
        unit = scene.widest(number)
        for slot, content in enumerate(unit.start[:-1]):
            if not is_known(content) or content >> EMPTY & 1:
                continue
            for place in places(unit.scales[slot].unknown & ~content):
                yield Departure(Kind.WRONG_START, unit=number, slot=slot, other=place)
