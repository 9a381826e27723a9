"""What follows from an explanation: harm, the next safe step, its cautions.

Source: common practice, no published source (a refused start does no harm; a waiting
unit is not damaged; a bootloader that was broken off may be; two radios are not taken
out of service together; a handset is proved off before any keys are held).
"""

from __future__ import annotations

import pytest

from cardprep.job.visit import Job
from cardprep.vessel.advice import Advice, advice
from cardprep.vessel.departures import Departure, Kind
from cardprep.vessel.explain import Explainer, Explanation
from cardprep.vessel.model import Phase
from cardprep.vessel.scene import Scene
from tests.vessel.evenings import evening, observed, radio, scene, shelf, two_radios
from tests.vessel.visits import job


def advised(of: Scene, opened: Job, *departures: Departure, **seen: str) -> Advice:
    """Return the advice if exactly this was so."""
    told = observed(of, **seen)
    runs = tuple(
        run
        for run in Explainer(of).runs(departures)
        if all(run.allows(question, answer) for question, answer in told.items())
    )
    explanation = Explanation(departures=departures, weight=1.0, runs=runs)
    return advice(of, opened, shelf(), explanation, told)


def slugs(some: tuple[object, ...]) -> list[str]:
    return [getattr(one, "slug", "") for one in some]


EVENING, OPENED = evening(), job(radio())


@pytest.mark.parametrize(
    ("departure", "seen", "harm", "steps"),
    [
        pytest.param(
            Departure(Kind.POWER_LOST, stage=0, unit=0),
            {"went_on": "no"},
            ["harm.possible"],
            ["next.ask-maker"],
            id="bootloader broken off",
        ),
        pytest.param(
            Departure(Kind.POWER_LOST, stage=1, unit=0),
            {},
            ["harm.waits"],
            ["next.supply", "next.load-handset"],
            id="application broken off",
        ),
        pytest.param(
            Departure(Kind.POWER_LOST, stage=1, unit=0, phase=Phase.COMPANION),
            {},
            ["harm.handset-broken-off"],
            ["next.supply", "next.load-handset"],
            id="handset broken off",
        ),
        pytest.param(
            Departure(Kind.NOT_IN_MODE, stage=1, unit=0),
            {},
            ["harm.blank"],
            ["next.load-handset"],
            id="handset left behind",
        ),
        pytest.param(
            Departure(Kind.SKIPPED, stage=1),
            {},
            ["harm.waits"],
            ["next.load-handset"],
            id="application not yet loaded",
        ),
        pytest.param(
            Departure(Kind.SKIPPED, stage=0),
            {"shown2": "refused"},
            ["harm.none-if-seen"],
            ["next.see-running", "next.load"],
            id="refused, old version not seen",
        ),
        pytest.param(
            Departure(Kind.SKIPPED, stage=0),
            {"shown2": "refused", "state": "running", "boot": "3.02"},
            ["harm.none"],
            ["next.load"],
            id="refused, old version seen",
        ),
        pytest.param(
            Departure(Kind.CARD_MIXED, stage=0),
            {"went_on": "no"},
            ["harm.none"],
            ["next.new-card", "next.load"],
            id="mixed card",
        ),
        pytest.param(
            Departure(Kind.WRONG_MODEL, unit=0),
            {"went_on": "no"},
            ["harm.none"],
            ["next.plate"],
            id="another model",
        ),
    ],
)
def test_what_follows(
    departure: Departure, seen: dict[str, str], harm: list[str], steps: list[str]
) -> None:
    found = advised(EVENING, OPENED, departure, **seen)
    assert slugs(found.harm) == harm
    assert slugs(found.steps) == steps


def test_all_as_planned() -> None:
    found = advised(EVENING, OPENED)
    assert slugs(found.harm) == ["harm.none"]
    assert slugs(found.steps) == ["next.nothing"]
    assert slugs(found.cautions) == ["care.maker"]


def test_before_any_keys_are_held_the_handset_is_proved_off() -> None:
    found = advised(EVENING, OPENED, Departure(Kind.NOT_IN_MODE, stage=1, unit=0))
    said = slugs(found.cautions)
    assert said.index("care.calling") < said.index("care.handset-off") < said.index("care.alert")
    assert {"care.moored", "care.supply", "care.handset-powered", "care.maker"} <= set(said)


def test_the_twin_that_waits_is_brought_back_before_the_other_radio_is_touched() -> None:
    both, opened = two_radios(), job(radio(handset="none"), radio(handset="none"))
    found = advised(
        both, opened, Departure(Kind.WRONG_TWIN, stage=0, unit=0, other=1), went_on="no"
    )
    assert slugs(found.steps) == ["next.see-running", "next.twin", "next.load"]
    load = found.steps[2]
    # The application into the twin, which waits for it; not the bootloader into the first.
    assert (load.unit, load.stage) == (1, 1)
    assert "care.two" in slugs(found.cautions)


def test_a_handset_that_nobody_knew_of_is_noted_and_loaded() -> None:
    without = scene(job(radio(handset="none")), shelf())
    found = advised(
        without,
        job(radio(handset="none")),
        Departure(Kind.NOT_KNOWN_ABOARD, unit=0),
        handset="blank",
        state="running",
    )
    assert slugs(found.harm) == ["harm.blank"]
    assert slugs(found.steps) == ["next.note-handset", "next.load-handset"]
