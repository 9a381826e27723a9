"""A visit played with departures: what becomes of the units, and what is to be seen.

Source: common practice, no published source; see ``play.py``.
"""

from __future__ import annotations

from cardprep.vessel.departures import Departure, Kind
from cardprep.vessel.model import Phase
from cardprep.vessel.observe import Asked, Question
from cardprep.vessel.play import Player, Run
from cardprep.vessel.scale import EMPTY_ONLY
from cardprep.vessel.scene import Scene
from tests.vessel.evenings import evening, radio, scene, shelf
from tests.vessel.visits import job

BOOT, APP, HANDSET = 0, 1, 2


def played(*departures: Departure, of: Scene | None = None) -> tuple[Run, ...]:
    return Player(of or evening()).play(departures)


def versions(run: Run) -> list[str | None]:
    unit, state = run.vessel.units[0], run.states[0]
    shown = []
    for slot, content in enumerate(state[:-1]):
        known = unit.scales[slot].versions(content)
        shown.append("-" if content == EMPTY_ONLY else known[0].text if known else None)
    return shown


def test_as_planned() -> None:
    (run,) = played()
    assert versions(run) == ["3.10", "4.30", "2.41"]
    assert run.allowed(Question(Asked.SHOWN, stage=1, unit=0)) == frozenset({"done"})
    # No announcement proves nothing, and a bootloader card is not announced.
    assert run.allowed(Question(Asked.ANNOUNCED, stage=0)) == frozenset({"no"})
    assert run.allowed(Question(Asked.ANNOUNCED, stage=1)) == frozenset({"yes", "no"})
    assert run.allowed(Question(Asked.WENT_ON)) is None


def test_a_refused_step_changes_nothing() -> None:
    stopped, went_on = played(Departure(Kind.WRONG_ORDER, stage=0, other=1))
    assert versions(stopped) == ["3.02", "4.17", "2.30"]
    assert stopped.refused == {(1, 0)}
    # Whoever goes on loads the bootloader, and then the application is gone.
    assert versions(went_on) == ["3.10", "-", "2.30"]
    assert stopped.allowed(Question(Asked.WENT_ON)) == frozenset({"no"})
    assert went_on.allowed(Question(Asked.WENT_ON)) == frozenset({"yes"})


def test_what_is_being_written_is_empty_after_power_was_lost() -> None:
    first = played(Departure(Kind.POWER_LOST, stage=0, unit=0))[0]
    assert versions(first) == ["-", "-", "2.30"]
    assert first.allowed(Question(Asked.STATE, unit=0)) == frozenset({"dark"})
    (second,) = played(Departure(Kind.CARD_PULLED, stage=1, unit=0))
    assert versions(second) == ["3.10", "-", "2.30"]
    assert second.allowed(Question(Asked.STATE, unit=0)) == frozenset({"waiting", "dark"})
    assert second.allowed(Question(Asked.INTERRUPTED, stage=1)) == frozenset({"card"})
    (third,) = played(Departure(Kind.POWER_LOST, stage=1, unit=0, phase=Phase.COMPANION))
    assert versions(third) == ["3.10", "4.30", "-"]


def test_a_handset_left_behind_is_blank_whatever_the_display_says() -> None:
    runs = played(Departure(Kind.NOT_IN_MODE, stage=1, unit=0))
    assert [versions(run) for run in runs] == [["3.10", "4.30", "2.30"]] * 2
    shown = [run.allowed(Question(Asked.SHOWN, stage=1, unit=0)) for run in runs]
    assert shown == [frozenset({"done"}), frozenset({"refused"})]
    assert all(run.allowed(Question(Asked.HANDSET, unit=0)) == frozenset({"blank"}) for run in runs)
    assert all(run.refused == frozenset() for run in runs)


def test_what_nobody_knows_is_divided_where_it_matters() -> None:
    unknown = scene(job(radio(boot=None, app=None)), shelf())
    runs = played(Departure(Kind.SKIPPED, stage=0), of=unknown)
    assert sorted(tuple(map(str, versions(run))) for run in runs) == [
        ("3.10", "4.30", "2.41"),
        ("None", "4.30", "2.30"),
    ]


def test_a_mixed_card_is_not_taken_and_an_unreadable_one_not_read() -> None:
    for kind in (Kind.CARD_MIXED, Kind.CARD_UNREADABLE):
        stopped, _ = played(Departure(kind, stage=0))
        assert versions(stopped) == ["3.02", "4.17", "2.30"]
        assert stopped.allowed(Question(Asked.SHOWN, stage=0, unit=0)) == frozenset(
            {"not offered", "nothing"}
        )


def test_a_unit_off_the_network_is_not_offered() -> None:
    run = played(Departure(Kind.OFF_NETWORK, unit=0))[0]
    assert run.allowed(Question(Asked.SHOWN, stage=0, unit=0)) == frozenset({"not offered"})
    assert run.allowed(Question(Asked.LISTED, unit=0)) == frozenset({"no"})


def test_an_altered_image_is_refused_or_breaks_off() -> None:
    runs = played(Departure(Kind.CARD_ALTERED, stage=1))
    assert {tuple(map(str, versions(run))) for run in runs} == {("3.10", "-", "2.30")}
    first = played(Departure(Kind.CARD_ALTERED, stage=0))
    assert ["3.02", "4.17", "2.30"] in [versions(run) for run in first]
    assert ["-", "-", "2.30"] in [versions(run) for run in first]


def test_the_same_card_again_cures_a_handset_left_behind() -> None:
    runs = played(Departure(Kind.NOT_IN_MODE, stage=1, unit=0), Departure(Kind.REPEATED, stage=1))
    assert ["3.10", "4.30", "2.41"] in [versions(run) for run in runs]


def test_a_bootloader_put_in_again_takes_the_application_away() -> None:
    (run,) = played(Departure(Kind.REPEATED, stage=0))
    assert versions(run) == ["3.10", "-", "2.41"]
