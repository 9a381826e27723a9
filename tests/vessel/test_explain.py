"""Which departures explain what was seen, on the demonstration's vessel.

What units and displays show (that a refused start leaves the old versions, that a
waiting unit looks dead, that a handset left behind is blank): common practice, no
published source. The values of the demonstration are invented.
"""

from __future__ import annotations

import pytest

from cardprep.job.visit import Found
from cardprep.vessel.departures import COMMONNESS, Departure, Kind, candidates, with_shops_own
from cardprep.vessel.explain import Explained, Explainer
from cardprep.vessel.model import Phase
from cardprep.vessel.observe import Asked, Question, questions
from cardprep.vessel.scene import Scene
from tests.vessel.evenings import evening, observed, radio, scene, shelf, two_radios
from tests.vessel.visits import job


def explained(of: Scene, **told: str) -> Explained:
    return Explainer(of).explain(observed(of, **told))


def kinds(found: Explained) -> list[list[str]]:
    return [[one.kind.value for one in some.departures] for some in found.explanations]


def test_nothing_told_needs_no_explanation() -> None:
    assert kinds(explained(evening())) == [[]]


def test_all_as_planned_needs_no_explanation() -> None:
    found = explained(
        evening(), state="running", boot="3.10", app="4.30", handset="running", handset_app="2.41"
    )
    assert kinds(found) == [[]]


def test_wrong_order_is_refused_and_nothing_happened() -> None:
    found = explained(
        evening(), state="running", boot="3.02", app="4.17", shown2="refused", order="other"
    )
    first = found.explanations[0]
    assert first.departures == (Departure(Kind.WRONG_ORDER, stage=0, other=1),)
    # They stopped after the refusal: going on would have loaded the bootloader.
    assert all(run.allowed(Question(Asked.WENT_ON)) == frozenset({"no"}) for run in first.runs)


def test_wrong_order_and_gone_on_leaves_the_radio_waiting() -> None:
    found = explained(evening(), state="waiting", order="other", went_on="yes")
    assert kinds(found)[0] == ["wrong-order"]


def test_handset_left_behind() -> None:
    found = explained(evening(), state="running", app="4.30", handset="blank")
    assert kinds(found) == [
        ["handset-not-in-mode"],
        ["handset-late"],
        ["power-lost"],
        ["card-pulled"],
    ]
    assert {one.departures[0].phase for one in found.explanations[2:]} == {Phase.COMPANION}
    late = explained(evening(), state="running", app="4.30", handset="blank", sign2="late")
    assert kinds(late)[0] == ["handset-late"]


def test_handset_that_nobody_knew_of() -> None:
    without = scene(job(radio(handset="none")), shelf())
    found = explained(without, state="running", app="4.30", handset="blank")
    assert kinds(found) == [["handset-not-known"]]


def test_handset_of_which_nobody_knows_whether_it_is_aboard() -> None:
    maybe = scene(job(radio(handset="unknown")), shelf())
    assert kinds(explained(maybe, handset="none", app="4.30")) == [[]]
    assert kinds(explained(maybe, handset="blank", state="running"))[0] == ["handset-not-in-mode"]


def test_bootloader_loaded_and_application_not_yet() -> None:
    found = explained(evening(), boot="3.10", app="none", put_in2="not")
    assert ["skipped"] in kinds(found)


def test_wrong_twin_ticked() -> None:
    both = two_radios()
    seen = dict(observed(both, state="running", boot="3.02", app="4.17", shown1="done"))
    seen[Question(Asked.VERSION, unit=1, slot=0)] = "3.10"
    found = Explainer(both).explain(seen)
    assert found.explanations[0].departures[0] == Departure(
        Kind.WRONG_TWIN, stage=0, unit=0, other=1
    )


def test_power_lost_while_the_bootloader_was_written() -> None:
    found = explained(evening(), state="dark", boot="none", interrupted1="power")
    assert kinds(found)[0] == ["power-lost"]
    assert found.explanations[0].departures[0].stage == 0


@pytest.mark.parametrize("fault", ["mixed", "altered", "unreadable", "other"])
def test_a_fresh_look_at_a_card_is_an_observation(fault: str) -> None:
    found = explained(evening(), card1=fault)
    kind = "other-card" if fault == "other" else f"card-{fault}"
    assert kinds(found)[0] == [kind]


def test_nothing_in_the_model_explains_it() -> None:
    found = explained(evening(), state="dark", put_in1="not", put_in2="not")
    assert found.explanations == ()
    assert found.whole


def test_a_departure_without_a_trace_is_not_offered() -> None:
    # A card that was put in again after it had worked changes nothing.
    found = explained(evening(), state="running", app="4.30", handset="running")
    assert kinds(found) == [[]]


def test_unknown_versions_are_divided() -> None:
    unknown = scene(job(radio(boot=None, app=None)), shelf())
    found = explained(unknown, state="running", boot="3.10", app="4.30", put_in1="not")
    # It had 3.10 all the time, so that the application took without the first card.
    assert kinds(found)[0] == ["skipped"]


def test_a_version_that_nobody_had_planned_with() -> None:
    seen = (("OV-V40", "bootloader", "3.05"),)
    found = explained(scene(job(radio()), shelf(), seen), boot="3.05", app="4.17", state="running")
    assert any("wrong-start" in some for some in kinds(found))


def test_a_unit_off_the_network_is_not_offered() -> None:
    found = explained(evening(), shown1="not offered", listed="no", boot="3.02")
    assert ["off-network"] in kinds(found)[:2]


def test_a_unit_that_waited_before() -> None:
    from dataclasses import replace

    waiting = replace(radio(boot="3.10", app=None), found=Found.WAITING)
    of = scene(job(waiting), shelf())
    assert kinds(explained(of, state="waiting"))[0] != []


def test_the_shop_says_how_common_a_departure_is() -> None:
    of = evening()
    seen = observed(of, state="dark")
    usual = Explainer(of).explain(seen)
    own = Explainer(of, with_shops_own({Kind.CARD_PULLED: 900})).explain(seen)
    assert usual.explanations[0].departures[0].kind is Kind.WRONG_ORDER
    assert own.explanations[0].departures[0].kind is Kind.CARD_PULLED
    assert COMMONNESS.keys() == set(Kind)


def test_what_is_not_tried_is_said() -> None:
    of = evening()
    found = Explainer(of, sets_most=50).explain(observed(of, state="dark", boot="3.02"))
    assert not found.whole


def test_every_departure_is_looked_for() -> None:
    seen = {one.kind for of in (evening(), two_radios()) for one in candidates(of)}
    assert seen == set(Kind)


def test_a_twin_off_the_network_matters_before_its_own_steps() -> None:
    # Its own steps come later than the one for which it was ticked.
    first, second = radio("main", "none"), radio("main", "none")
    of = scene(job(first, second), shelf())
    assert [stage.steps[0][0] for stage in of.stages] == [0, 0, 1, 1]
    twin = Departure(Kind.WRONG_TWIN, stage=1, unit=0, other=1)
    off = Departure(Kind.OFF_NETWORK, unit=1)
    explainer = Explainer(of)
    run = next(
        run
        for run in explainer.runs((twin, off))
        if run.allowed(Question(Asked.WENT_ON)) == frozenset({"no"})
    )
    seen = {}
    for question in questions(of):
        allowed = run.allowed(question)
        if allowed is not None and question.asked not in (Asked.TICKED, Asked.LISTED):
            seen[question] = min(allowed)
    found = [set(one.departures) for one in explainer.explain(seen).explanations]
    assert any(one <= {twin, off} for one in found)
