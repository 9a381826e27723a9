"""The planner against one that tries everything, on a sample; scripts/plan_laws takes thousands."""

from __future__ import annotations

import pytest

from cardprep.manifest.model import Leaves
from cardprep.terms import APPLICATION, BOOTLOADER
from cardprep.vessel.plan import best, plan, vessel_of
from tests.vessel.exhaustive import cheapest
from tests.vessel.random_vessels import fleet, random_visit
from tests.vessel.visits import image, job, manifest, unit


def test_the_judge_knows_the_usual_evening() -> None:
    shelf = manifest(
        image(BOOTLOADER, "3.10", leaves=Leaves.WAITING),
        image(APPLICATION, "4.30", needs=((None, BOOTLOADER, "3.10"),)),
    )
    radio = unit({"bootloader": "3.02", "application": "4.17"}, {"application": "4.30"})
    assert cheapest(job(radio), shelf) == (2, 4, 2000)
    # Two of one role: one after the other.
    assert cheapest(job(radio, radio), shelf) == (4, 8, 4000)
    assert cheapest(job(radio), manifest(shelf.images[1])) is None


@pytest.mark.parametrize("start", range(0, 160, 20))
def test_stages_minutes_and_bytes_are_those_of_trying_everything(start: int) -> None:
    for seed in range(start, start + 20):
        visit, shelf = random_visit(seed)
        try:
            wanted = cheapest(visit, shelf, most=2_000)
        except OverflowError:
            continue
        found = best(vessel_of(visit, shelf), visit, shelf)
        assert (None if found is None else found.cost) == wanted, seed
        assert found is None or found.is_proved, seed


@pytest.mark.parametrize("seed", [1569, 1731])
def test_one_type_may_be_loaded_twice_from_a_card_that_takes_several(seed: int) -> None:
    visit, shelf = random_visit(seed)
    found = best(vessel_of(visit, shelf), visit, shelf)
    assert found is not None
    assert found.cost == cheapest(visit, shelf)
    assert found.cost[0] == 1


@pytest.mark.parametrize("size", [5, 10, 20])
def test_large_vessels_are_planned_and_proved(size: int) -> None:
    for seed in (1, 2):
        planned = plan(*fleet(size, seed))
        assert planned.cost == planned.bound
        assert planned.cost[0] >= 5
