"""Which card went into which job."""

from __future__ import annotations

import hashlib
import sqlite3
from dataclasses import replace
from pathlib import Path

import pytest

from cardprep.bench.check import Wanted, check_card
from cardprep.bench.jobs import Visit, find_job, find_plan, open_job, plan_job
from cardprep.bench.open import Bench
from cardprep.bench.prove import last_records, seal_log, verify
from cardprep.bench.trace import Traced, trace
from cardprep.bench.write import CardToWrite, announce, write_card
from cardprep.cli import words
from cardprep.errors import JobError, LogBrokenError, NotPartitionTableError, StoppedError
from cardprep.job.visit import Display, JobName, Vessel
from cardprep.progress import Cancel, silent
from cardprep.shoplog.checkpoint import matches, parse_checkpoint
from cardprep.shoplog.sqlite import SqliteLog
from cardprep.shoplog.tree import leaf_hash
from cardprep.sshsig import public_key_line
from cardprep.terms import BOOTLOADER
from scripts.demo import make_card
from scripts.demo_files import application, bootloader

B1 = JobName("B", 1)


@pytest.fixture
def card(bench: Bench, tmp_path: Path) -> Path:
    path = tmp_path / "card-17.img"
    to_write = CardToWrite(job=B1, stage=1, path=path, number=17)
    announced = announce(bench, to_write, silent, Cancel())
    write_card(bench, to_write, announced, lambda _: silent, Cancel())
    return path


def jobs(traced: Traced) -> list[str]:
    return [str(job.name) for job in traced.jobs]


def test_a_card_is_traced_by_itself(bench: Bench, card: Path) -> None:
    traced = trace(bench, str(card))
    assert jobs(traced) == ["B1"]
    assert traced.unchanged is True
    assert [record.kind for record in traced.records] == ["write-begun", "write-ended"]


def test_a_changed_card_is_said(bench: Bench, card: Path) -> None:
    with card.open("r+b") as file:
        file.seek(4 * 1024 * 1024 + 600)
        file.write(b"x")
    assert trace(bench, str(card)).unchanged is False
    with card.open("r+b") as file:
        file.truncate(4 * 1024 * 1024 + 4096)
    assert trace(bench, str(card)).unchanged is False


@pytest.mark.parametrize(
    "what",
    [
        pytest.param("17", id="number on the card"),
        pytest.param("B1", id="job"),
        pytest.param("b1", id="job in small letters"),
        pytest.param(bootloader().name, id="file name"),
        pytest.param("Saltwhistle", id="vessel"),
        pytest.param("SALTWHISTLE", id="vessel in capitals"),
        pytest.param("211123456", id="MMSI"),
        pytest.param("V40-00317", id="serial of a unit"),
    ],
)
def test_other_ways_to_the_same_job(bench: Bench, card: Path, what: str) -> None:
    assert card.exists()
    traced = trace(bench, what)
    assert traced.records
    if what != bootloader().name:
        assert jobs(traced) == ["B1"]


def test_by_digest_of_card_and_of_image(bench: Bench, card: Path) -> None:
    assert card.exists()
    ended = trace(bench, "17").records[-1]
    sha256 = str(ended.body["sha256"])
    assert jobs(trace(bench, sha256)) == ["B1"]
    image = find_plan(bench, B1).stages[0].files[0].sha256
    assert jobs(trace(bench, image.upper())) == ["B1"]


def test_what_the_log_does_not_know(bench: Bench) -> None:
    for what in ("B77", "99", "nobody", "0" * 64, ""):
        with pytest.raises(JobError) as caught:
            trace(bench, what)
        assert caught.value.reason == "trace.nothing"


def test_what_left_the_bench_is_told_with_its_files(bench: Bench, card: Path) -> None:
    for what in (str(card), "17", "B1", "Saltwhistle", "V40-00317", bootloader().name):
        (written,) = trace(bench, what).cards
        assert (written.number, written.job, written.stage) == (17, "B1", 1)
        assert (written.outcome, written.verdict) == ("done", "use")
        (file,) = written.files
        assert (file.path, file.type, file.version) == (bootloader().name, "bootloader", "3.10")
        data = card.read_bytes()[: written.length]
        assert hashlib.sha256(data).hexdigest() == written.sha256


def test_a_label_leads_to_its_card(bench: Bench, card: Path) -> None:
    word = str(parse_checkpoint(bench.log.checkpoints()[-1].text).short())
    for typed in (word, word.lower(), f" {word} "):
        traced = trace(bench, typed)
        assert traced.asked == ("label", word)
        assert [written.number for written in traced.cards] == [17]
    last = word[-1]
    other = word[:-1] + ("A" if last != "A" else "B")
    with pytest.raises(JobError) as caught:
        trace(bench, other)
    assert caught.value.reason == "trace.label"
    assert card.exists()


def test_two_cards_with_one_stage(bench: Bench, card: Path, tmp_path: Path) -> None:
    wanted = CardToWrite(job=B1, stage=1, path=tmp_path / "card-21.img", number=21)
    announced = announce(bench, wanted, silent, Cancel())
    write_card(bench, wanted, announced, lambda _: silent, Cancel())
    assert [one.number for one in trace(bench, str(card)).cards] == [17, 21]
    assert [one.number for one in trace(bench, "21").cards] == [21]
    # The number of a card that is used for something else now is said.
    again = CardToWrite(job=B1, stage=2, path=tmp_path / "again.img", number=21)
    assert announce(bench, again, silent, Cancel()).before == ("B1", 1)
    assert announce(bench, wanted, silent, Cancel()).before is None


@pytest.mark.parametrize(
    "statement",
    [
        pytest.param(
            "UPDATE index_entry SET value = '17' WHERE field = 'card' AND value = '18'", id="index"
        ),
        pytest.param("UPDATE record SET line = edited(line)", id="lines"),
        pytest.param(
            "UPDATE record SET line = edited(line), leaf_hash = leaf(edited(line))",
            id="lines and hashes",
        ),
    ],
)
def test_an_edited_log_is_not_believed(
    bench: Bench, card: Path, tmp_path: Path, statement: str
) -> None:
    assert card.exists()
    wanted = CardToWrite(job=B1, stage=2, path=tmp_path / "card-18.img", number=18)
    write_card(bench, wanted, announce(bench, wanted, silent, Cancel()), lambda _: silent, Cancel())
    edited = sqlite3.connect(bench.shop.log)
    (trigger,) = edited.execute(
        "SELECT sql FROM sqlite_schema WHERE name = 'record_stays'"
    ).fetchone()
    edited.execute("DROP TRIGGER record_stays")
    edited.create_function("leaf", 1, leaf_hash)
    edited.create_function("edited", 1, lambda line: line.replace(b"18", b"17"))
    assert edited.execute(statement).rowcount > 0
    # Whoever knows the tables puts the lock back, so that only the content tells.
    edited.execute(trigger)
    edited.commit()
    edited.close()
    with pytest.raises(LogBrokenError):
        trace(bench, "17")


def test_a_card_that_was_only_checked_is_in_no_job(
    bench: Bench, card: Path, tmp_path: Path
) -> None:
    assert card.exists()
    other = tmp_path / "other.img"
    make_card(other, ((bootloader().name, bootloader().content, BOOTLOADER),))
    wanted = Wanted(job=B1)
    check_card(bench, other, wanted=wanted, progress=silent, cancel=Cancel())
    traced = trace(bench, str(other))
    assert (traced.jobs, traced.cards, traced.outcomes) == ((), (), ())
    assert [record.kind for record in traced.records] == ["card-checked"]


def test_a_makers_file_of_that_name_may_lie_here(
    bench: Bench, card: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert card.exists()
    name = bootloader().name
    (tmp_path / name).write_bytes(bootloader().content)
    monkeypatch.chdir(tmp_path)
    assert trace(bench, name).asked == ("file", name)


def test_a_write_that_failed_is_no_card(bench: Bench, card: Path, tmp_path: Path) -> None:
    wanted = CardToWrite(job=B1, stage=1, path=tmp_path / "x.img", number=80)
    announced = announce(bench, wanted, silent, Cancel())
    stopped = Cancel()
    stopped.ask()
    with pytest.raises(StoppedError):
        write_card(bench, wanted, announced, lambda _: silent, stopped)
    assert check_card(bench, card, progress=silent, cancel=Cancel()).cards == (17,)


def test_a_word_that_cannot_be_printed_is_known_nowhere(bench: Bench) -> None:
    with pytest.raises(JobError) as caught:
        trace(bench, "M\udcf6we")
    assert caught.value.reason == "trace.nothing"


def test_a_card_without_a_number_of_ours(bench: Bench, tmp_path: Path) -> None:
    other = tmp_path / "other.img"
    make_card(other, ((bootloader().name, bootloader().content, BOOTLOADER),))
    with pytest.raises(JobError) as caught:
        trace(bench, str(other))
    assert caught.value.reason == "trace.nothing-card"


def test_what_is_no_card(bench: Bench, tmp_path: Path) -> None:
    with pytest.raises(JobError) as caught:
        trace(bench, str(tmp_path))
    assert caught.value.reason == "trace.folder"
    noise = tmp_path / "noise"
    noise.write_bytes(b"\x01" * 4096)
    with pytest.raises(NotPartitionTableError):
        trace(bench, str(noise))


def test_jobs_are_counted_up_and_found_again(bench: Bench) -> None:
    unit = words.unit("model=OV-V40; role=main radio; handset=none; has application=4.30")
    vessel = Vessel(name="Second Vessel")
    visit = Visit(vessel=vessel, display=Display(model="OV-D9"), units=(unit,))
    second = open_job(bench, visit).job
    assert str(second.name) == "B2"
    assert find_job(bench, second.name) == second
    with pytest.raises(JobError) as caught:
        find_plan(bench, second.name)
    assert caught.value.reason == "job.not-planned"
    with pytest.raises(JobError):
        find_job(bench, JobName("B", 3))
    planned = plan_job(bench, second.name)
    assert planned.stages == ()
    assert find_plan(bench, second.name).stages == ()


def test_the_plan_of_the_evening(bench: Bench) -> None:
    stages = find_plan(bench, B1).stages
    assert [stage.types[0].word for stage in stages] == ["bootloader", "application"]
    assert stages[1].files[0].path == (application().name,)


def test_the_log_is_proved_and_signed(bench: Bench, card: Path) -> None:
    assert card.exists()
    state = verify(bench)
    assert state.size == bench.log.size() == state.sealed
    bench.record("note", {"text": "a word"})
    assert verify(bench).sealed == state.size
    sealed = seal_log(bench)
    assert sealed.checkpoint.size == state.size + 1
    assert matches(sealed.checkpoint.short(), sealed.checkpoint)
    assert [record.kind for record in last_records(bench, 1)] == ["note"]
    assert len(last_records(bench, 1000)) == bench.log.size()


def test_a_log_that_begins_with_another_key_is_not_the_shops(bench: Bench) -> None:
    begun_elsewhere = SqliteLog.create(bench.shop.folder / "other.sqlite3", "B")
    body = {"public_key": public_key_line(bytes(32))}
    begun_elsewhere.append("shop-opened", 1, body, "2026-11-25T20:00:00Z")
    with pytest.raises(LogBrokenError) as caught:
        verify(replace(bench, log=begun_elsewhere))
    assert caught.value.reason == "log.first-key"
    begun_elsewhere.close()
