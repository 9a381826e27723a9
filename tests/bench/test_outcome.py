"""What came of a job, and the list of jobs that shows it."""

from __future__ import annotations

from pathlib import Path

import pytest

from cardprep.bench.job_list import list_jobs
from cardprep.bench.jobs import Visit, change_job, find_job, find_plan, plan_job
from cardprep.bench.open import Bench
from cardprep.bench.outcome import Told, record_outcome
from cardprep.bench.trace import trace
from cardprep.bench.write import CardToWrite, announce, write_card
from cardprep.cli import words
from cardprep.errors import BadValueError, JobError
from cardprep.job.listed import State
from cardprep.job.outcome import Outcome, Result
from cardprep.job.visit import JobName
from cardprep.progress import Cancel, Progress, silent
from cardprep.terms import Version

B1 = JobName("B", 1)


def quiet(what: str) -> Progress:
    del what
    return silent


def write(bench: Bench, stage: int, path: Path) -> None:
    wanted = CardToWrite(job=B1, stage=stage, path=path, number=16 + stage)
    announced = announce(bench, wanted, silent, Cancel())
    write_card(bench, wanted, announced, quiet, Cancel())


def state(bench: Bench) -> tuple[State, int | None, int]:
    (listed,) = list_jobs(bench)
    return listed.state, listed.stages, listed.written


def test_how_far_a_job_is(bench: Bench, tmp_path: Path) -> None:
    assert state(bench) == (State.PLANNED, 2, 0)
    write(bench, 1, tmp_path / "17.img")
    assert state(bench) == (State.PLANNED, 2, 1)
    write(bench, 2, tmp_path / "18.img")
    assert state(bench) == (State.PREPARED, 2, 2)
    record_outcome(bench, B1, Told(result=Result.PART, stage=1, card=17))
    assert state(bench)[0] is State.PREPARED
    record_outcome(bench, B1, Told(result=Result.NOT_DONE, note="the owner was not aboard"))
    assert state(bench)[0] is State.NOT_DONE
    job = find_job(bench, B1)
    change_job(bench, B1, Visit(vessel=job.vessel, display=job.display, units=job.units))
    assert state(bench) == (State.OPENED, None, 0)
    with pytest.raises(JobError) as caught:
        find_plan(bench, B1)
    assert caught.value.reason == "job.changed"
    plan_job(bench, B1)
    assert state(bench) == (State.PREPARED, 2, 2)


def test_a_changed_job_is_planned_anew(bench: Bench) -> None:
    job = find_job(bench, B1)
    unit = words.unit(
        "model=OV-V40; role=main radio; handset=none; has bootloader=3.10; wants application=4.30"
    )
    changed = change_job(bench, B1, Visit(vessel=job.vessel, display=job.display, units=(unit,)))
    assert changed.job.name == B1
    assert [stage.types[0].code for stage in plan_job(bench, B1).stages] == ["APPL"]
    assert find_job(bench, B1).units == (unit,)


def test_what_the_units_show(bench: Bench) -> None:
    seen = (("main radio", {"application": Version("4.30.0"), "bootloader": Version("3.10")}),)
    recorded = record_outcome(bench, B1, Told(result=Result.DONE, seen=seen, note="all well"))
    assert recorded.missing == ()
    record = bench.log.find("job", "B1")[-1]
    body = {k: v for k, v in record.body.items() if k not in ("by", "tool")}
    assert Outcome.from_record(body) == recorded.outcome
    assert record in trace(bench, "B1").records
    assert record in trace(bench, "Saltwhistle").records


def test_what_nobody_read_is_missing(bench: Bench) -> None:
    recorded = record_outcome(bench, B1, Told(result=Result.DONE))
    assert recorded.missing == ((1, "application", None, Version("4.30")),)


def test_done_and_an_old_version_contradict_each_other(bench: Bench) -> None:
    seen = (("1", {"application": Version("4.17")}),)
    with pytest.raises(JobError) as caught:
        record_outcome(bench, B1, Told(result=Result.DONE, seen=seen))
    assert caught.value.reason == "outcome.contradicts"
    told = Told(result=Result.PART, seen=seen)
    recorded = record_outcome(bench, B1, told)
    assert recorded.missing == ((1, "application", Version("4.17"), Version("4.30")),)


@pytest.mark.parametrize("who", ["1", "v40-00317", "Main  Radio", "ov-v40"])
def test_who_is_meant(bench: Bench, who: str) -> None:
    seen = ((who, {"application": Version("4.17")}),)
    recorded = record_outcome(bench, B1, Told(result=Result.PART, seen=seen))
    assert recorded.outcome.seen[0].unit == 1


@pytest.mark.parametrize(
    ("told", "reason"),
    [
        pytest.param(Told(result=Result.DONE, stage=3), "job.no-stage", id="no such stage"),
        pytest.param(Told(result=Result.DONE, card=99), "outcome.card", id="no such card"),
        pytest.param(
            Told(result=Result.PART, seen=(("1", {"aplication": Version("4.17")}),)),
            "outcome.type",
            id="no such type",
        ),
        pytest.param(
            Told(result=Result.PART, seen=(("1", {"application": Version("dark")}),)),
            "outcome.version",
            id="no version",
        ),
        pytest.param(
            Told(result=Result.PART, seen=(("wind", {"application": Version("1")}),)),
            "outcome.unit",
            id="no such unit",
        ),
    ],
)
def test_what_there_is_not(bench: Bench, told: Told, reason: str) -> None:
    with pytest.raises(JobError) as caught:
        record_outcome(bench, B1, told)
    assert caught.value.reason == reason


def test_a_card_of_another_stage(bench: Bench, tmp_path: Path) -> None:
    write(bench, 1, tmp_path / "17.img")
    with pytest.raises(JobError):
        record_outcome(bench, B1, Told(result=Result.DONE, stage=2, card=17))
    record_outcome(bench, B1, Told(result=Result.DONE, card=17))


@pytest.mark.parametrize("note", ["", "a\x1b[2Jb", "x" * 201, "\n".join(["x" * 190] * 12)])
def test_a_note_that_cannot_be_printed(note: str) -> None:
    with pytest.raises(BadValueError):
        Outcome(job=B1, result=Result.DONE, note=note)


def test_a_record_with_another_word_is_refused() -> None:
    body = Outcome(job=B1, result=Result.DONE).to_record()
    with pytest.raises(BadValueError):
        Outcome.from_record({**body, "result": "nearly"})
