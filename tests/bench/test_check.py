"""Cards checked: with a shop and without one, against a stage, and never written."""

from __future__ import annotations

import hashlib
import os
from pathlib import Path

import pytest

from cardprep.bench.check import Checked, Wanted, check_card, stage_of_serial
from cardprep.bench.jobs import plan_job
from cardprep.bench.open import Bench, bench_or_none, open_bench
from cardprep.bench.sign import sign_manifest
from cardprep.bench.write import CardToWrite, announce, write_card
from cardprep.errors import CardprepError, JobError, NotThereError
from cardprep.findings import Severity, Verdict
from cardprep.job.visit import JobName
from cardprep.progress import Cancel, silent
from cardprep.terms import APPLICATION, BOOTLOADER, MIB
from scripts.demo import make_card
from scripts.demo_files import application, bootloader

B1 = JobName("B", 1)


@pytest.fixture
def card(bench: Bench, tmp_path: Path) -> Path:
    """Write the card of stage 2, as it leaves the bench."""
    path = tmp_path / "card-18.img"
    to_write = CardToWrite(job=B1, stage=2, path=path, number=18)
    announced = announce(bench, to_write, silent, Cancel())
    write_card(bench, to_write, announced, lambda _: silent, Cancel())
    return path


def check(bench: Bench | CardprepError, path: Path, **against: object) -> Checked:
    wanted = Wanted(**against)  # type: ignore[arg-type]
    return check_card(bench, path, wanted=wanted, progress=silent, cancel=Cancel())


def slugs(checked: Checked) -> set[str]:
    return {finding.slug for finding in checked.judgement.findings}


def flip(path: Path, at: int) -> None:
    with path.open("r+b") as file:
        file.seek(at)
        byte = file.read(1)[0]
        file.seek(at)
        file.write(bytes((byte ^ 0xFF,)))


def test_a_card_of_ours_is_held_against_its_stage_by_itself(bench: Bench, card: Path) -> None:
    checked = check(bench, card)
    assert checked.judgement.verdict is Verdict.USE
    assert (checked.stage is not None and checked.stage.number) == 2
    assert checked.by_name
    assert slugs(checked) == {
        *("matches", "stage-complete", "as-written", "stage-before", "handset-with-it")
    }
    assert checked.cards == (18,)


def test_checking_changes_nothing_on_the_card(bench: Bench, card: Path) -> None:
    before = hashlib.sha256(card.read_bytes()).hexdigest()
    times = card.stat().st_mtime_ns
    check(bench, card)
    assert hashlib.sha256(card.read_bytes()).hexdigest() == before
    assert card.stat().st_mtime_ns == times


def test_checking_never_asks_for_write_access(
    bench: Bench, card: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    real, asked = os.open, []

    def watched(path: object, flags: int, *more: object, **named: object) -> int:
        if str(path) == str(card):
            asked.append(flags)
        return real(path, flags, *more, **named)  # type: ignore[arg-type]

    monkeypatch.setattr(os, "open", watched)
    check(bench, card)
    assert asked
    assert all(flags & os.O_ACCMODE == os.O_RDONLY for flags in asked)


def test_the_wrong_stage_is_said(bench: Bench, card: Path) -> None:
    checked = check(bench, card, job=B1, stage=1)
    assert checked.judgement.verdict is Verdict.DO_NOT_USE
    # One cause, one finding: it is another stage's card, and as it was written.
    assert stops(checked) == {"other-card"}
    (other,) = [f for f in checked.judgement.findings if f.slug == "other-card"]
    assert other.parameters["how"] == "other-intact"
    assert (other.parameters["job"], other.parameters["stage"]) == ("B1", 2)


def stops(checked: Checked) -> set[str]:
    return {f.slug for f in checked.judgement.findings if f.severity is Severity.STOP}


def test_a_stage_that_there_is_not(bench: Bench, card: Path) -> None:
    with pytest.raises(JobError):
        check(bench, card, job=B1, stage=7)


def test_one_altered_byte_of_the_image_is_found_and_placed(bench: Bench, card: Path) -> None:
    checked = check(bench, card)
    (file,) = checked.judgement.inspection.files
    flip(card, file.extents[0].offset + 70_000)
    again = check(bench, card)
    assert again.judgement.verdict is Verdict.DO_NOT_USE
    altered = next(f for f in again.judgement.findings if f.slug == "altered")
    assert altered.parameters["first"] == altered.parameters["last"] == 70_000
    assert altered.parameters["chunks"] == 1
    # One cause, one finding: neither the comparison nor the container says it again.
    assert stops(again) == {"altered"}
    assert "stage-complete" not in slugs(again)


def test_without_a_shop_a_card_is_looked_at_and_nothing_is_claimed(
    card: Path, tmp_path: Path, bench: Bench
) -> None:
    from dataclasses import replace

    nobody = bench_or_none(replace(bench.place, shop=tmp_path / "no shop"))
    checked = check(nobody, card)
    assert checked.judgement.verdict is Verdict.CANNOT_SAY
    assert "no-shop" in slugs(checked)
    assert checked.judgement.inspection.files[0].digests is not None


def test_a_manifest_that_was_changed_makes_no_card_good(bench: Bench, card: Path) -> None:
    manifest = bench.shop.manifest
    manifest.write_bytes(manifest.read_bytes() + b"# a word\n")
    checked = check(bench, card)
    assert checked.judgement.verdict is Verdict.CANNOT_SAY


def test_a_mixed_card(bench: Bench, tmp_path: Path) -> None:
    boot, app = bootloader(), application()
    path = tmp_path / "mixed.img"
    make_card(path, ((boot.name, boot.content, BOOTLOADER), (app.name, app.content, APPLICATION)))
    checked = check(bench, path)
    assert checked.judgement.verdict is Verdict.DO_NOT_USE
    assert stops(checked) == {"mixed-types"}


def test_an_unknown_file(bench: Bench, tmp_path: Path) -> None:
    app = application()
    path = tmp_path / "newer.img"
    make_card(path, (("OVV40_APP_431.img", b"\x27" + app.content, APPLICATION),))
    checked = check(bench, path)
    assert checked.judgement.verdict is Verdict.CANNOT_SAY
    assert slugs(checked) == {"newer-than-shelf", "no-image"}


def test_a_blank_card(bench: Bench, tmp_path: Path) -> None:
    path = tmp_path / "blank.img"
    with path.open("wb") as file:
        file.truncate(64 * MIB)
    checked = check(bench, path)
    assert checked.judgement.verdict is Verdict.DO_NOT_USE
    assert "no-volume" in slugs(checked)


def test_a_card_that_is_not_there(bench: Bench, tmp_path: Path) -> None:
    with pytest.raises(NotThereError):
        check(bench, tmp_path / "nothing.img")


def test_a_mounted_folder(bench: Bench, tmp_path: Path) -> None:
    folder = tmp_path / "mounted"
    folder.mkdir()
    app = application()
    (folder / app.name).write_bytes(app.content)
    checked = check(bench, folder)
    # Neither partition table nor volume was looked at.
    assert checked.judgement.verdict is Verdict.USE_WITH_CARE
    assert {"folder-only", "matches"} <= slugs(checked)
    (folder / bootloader().name).write_bytes(bootloader().content)
    assert check(bench, folder).judgement.verdict is Verdict.DO_NOT_USE


def test_every_check_is_in_the_log(bench: Bench, card: Path, tmp_path: Path) -> None:
    check(bench, card)
    record = list(bench.log.records())[-1]
    assert record.kind == "card-checked"
    assert (record.body["verdict"], record.body["job"], record.body["stage"]) == ("use", "B1", 2)
    assert record.body["target"] == str(card)
    folder = tmp_path / "mounted"
    folder.mkdir()
    check(bench, folder)
    assert list(bench.log.records())[-1].body["verdict"] == "cannot-say"


def test_a_serial_number_alone_makes_no_stage(bench: Bench, card: Path) -> None:
    assert stage_of_serial(bench, "0000-0000") is None
    # A record that speaks of a job which is not there any more proves nothing.
    bench.record("write-begun", {"job": "B9", "stage": 1}, [("written", "1234-5678")])
    assert stage_of_serial(bench, "1234-5678") is None
    bench.record("write-begun", {"job": "no job"}, [("written", "1234-5679")])
    assert stage_of_serial(bench, "1234-5679") is None
    assert card.exists()


def test_a_card_of_an_older_plan_is_said(bench: Bench, card: Path) -> None:
    plan_job(bench, B1)
    assert check(bench, card).judgement.verdict is Verdict.USE
    # The same file under another release date makes another card.
    manifest = bench.shop.manifest
    text = manifest.read_text("utf-8")
    manifest.write_text(text.replace("2026-05-12", "2026-05-13"), "utf-8")
    with open_bench(bench.place) as opened:
        sign_manifest(opened)
    with open_bench(bench.place) as opened:
        plan_job(opened, B1)
        checked = check(opened, card)
    assert checked.judgement.verdict is not Verdict.USE
    assert checked.judgement.verdict is Verdict.USE_WITH_CARE
    assert "plan-renewed" in slugs(checked)
