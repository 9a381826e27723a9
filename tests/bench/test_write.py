"""Cards written: intent first, outcome after, and nothing claimed that is not on the card."""

from __future__ import annotations

import hashlib
import os
import subprocess
from pathlib import Path

import pytest

from cardprep.bench.check import check_card
from cardprep.bench.jobs import plan_job
from cardprep.bench.open import Bench, open_bench
from cardprep.bench.sign import sign_manifest
from cardprep.bench.write import CardToWrite, Written, announce, write_card
from cardprep.errors import (
    CardprepError,
    JobError,
    ShelfError,
    StoppedError,
    WriteFailedError,
    WriteRefusedError,
)
from cardprep.findings import Verdict
from cardprep.job.visit import JobName
from cardprep.progress import Cancel, Progress, silent
from cardprep.shoplog.verify import verify_log

B1 = JobName("B", 1)


def wanted(card: Path, stage: int = 1, number: int = 17) -> CardToWrite:
    return CardToWrite(job=B1, stage=stage, path=card, number=number)


def steps(what: str) -> Progress:
    del what
    return silent


def write(bench: Bench, card: Path, stage: int = 1, number: int = 17) -> Written:
    to_write = wanted(card, stage, number)
    announced = announce(bench, to_write, silent, Cancel())
    return write_card(bench, to_write, announced, steps, Cancel())


def kinds(bench: Bench) -> list[str]:
    return [record.kind for record in bench.log.records()]


@pytest.mark.parametrize("stage", [1, 2])
def test_a_written_card_is_what_was_announced(bench: Bench, tmp_path: Path, stage: int) -> None:
    card = tmp_path / "card.img"
    written = write(bench, card, stage)
    assert written.judgement.verdict is Verdict.USE
    layout = written.announced.layout
    # Anyone can check it with what every desktop has.
    head = subprocess.run(  # noqa: S602 - the very line that is printed for people
        f"head -c {layout.length} {card} | sha256sum",
        shell=True,
        capture_output=True,
        text=True,
        check=True,
    )
    assert head.stdout.split()[0] == written.announced.sha256
    assert card.stat().st_size == layout.card_size


def test_intent_and_outcome_are_logged_around_it(bench: Bench, tmp_path: Path) -> None:
    before = bench.log.size()
    written = write(bench, tmp_path / "card.img")
    begun, ended = list(bench.log.records(before))
    assert (begun.kind, ended.kind) == ("write-begun", "write-ended")
    assert begun.body["manifest"] == bench.trusted().sha256
    assert ended.body["begun"] == begun.sequence
    assert (ended.body["outcome"], ended.body["verdict"]) == ("done", "use")
    for record in (begun, ended):
        assert record.body["sha256"] == written.announced.sha256
        assert record.body["length"] == written.announced.layout.length
    state = verify_log(bench.log, bench.pin.public_key)
    assert state.sealed == state.size


def test_the_same_command_again_gives_the_same_card(bench: Bench, tmp_path: Path) -> None:
    card = tmp_path / "card.img"
    write(bench, card)
    first = card.read_bytes()
    assert write(bench, card).judgement.verdict is Verdict.USE
    assert card.read_bytes() == first


def test_another_stages_card_is_not_written_over(bench: Bench, tmp_path: Path) -> None:
    card = tmp_path / "card.img"
    write(bench, card, 2)
    content = card.read_bytes()
    before = kinds(bench)
    with pytest.raises(WriteRefusedError) as caught:
        write(bench, card, 1)
    assert caught.value.reason == "guard.content"
    assert card.read_bytes() == content
    assert kinds(bench) == before


def test_a_stage_that_there_is_not(bench: Bench, tmp_path: Path) -> None:
    with pytest.raises(JobError) as caught:
        write(bench, tmp_path / "card.img", 3)
    assert caught.value.reason == "job.no-stage"


def test_a_missing_image_is_found_before_the_card_is_touched(bench: Bench, tmp_path: Path) -> None:
    for sha256 in bench.shelf.digests():
        bench.shelf.path(sha256).unlink()
    with pytest.raises(ShelfError):
        write(bench, tmp_path / "card.img")
    assert not (tmp_path / "card.img").exists()


def test_an_altered_image_is_found_before_the_card_is_touched(bench: Bench, tmp_path: Path) -> None:
    for sha256 in bench.shelf.digests():
        path = bench.shelf.path(sha256)
        data = bytearray(path.read_bytes())
        data[-1] ^= 0xFF
        path.chmod(0o644)
        path.write_bytes(data)
    with pytest.raises(ShelfError):
        write(bench, tmp_path / "card.img")
    assert not (tmp_path / "card.img").exists()


def stopping_after(blocks: int, cancel: Cancel) -> Progress:
    count = 0

    def progress(done: int, total: int, /) -> None:
        nonlocal count
        del done, total
        count += 1
        if count >= blocks:
            cancel.ask()

    return progress


def test_a_write_that_was_stopped_is_in_the_log_and_can_be_finished(
    bench: Bench, tmp_path: Path
) -> None:
    card = tmp_path / "card.img"
    to_write = wanted(card)
    announced = announce(bench, to_write, silent, Cancel())
    cancel = Cancel()
    with pytest.raises(StoppedError):
        write_card(bench, to_write, announced, lambda _: stopping_after(1, cancel), cancel)
    last = list(bench.log.records())[-1]
    assert (last.kind, last.body["outcome"], last.body["reason"]) == (
        "write-ended",
        "failed",
        "stopped",
    )
    checked = check_card(bench, card, progress=silent, cancel=Cancel())
    assert checked.judgement.verdict is not Verdict.USE
    assert write(bench, card).judgement.verdict is Verdict.USE


def test_a_write_that_was_killed_can_be_finished_by_the_same_command(
    bench: Bench, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    card = tmp_path / "card.img"
    to_write = wanted(card)
    announced = announce(bench, to_write, silent, Cancel())

    class KilledError(BaseException):
        pass

    def killed(*_: object) -> None:
        raise KilledError

    with monkeypatch.context() as patch:
        patch.setattr("cardprep.bench.write.put", killed)
        with pytest.raises(KilledError):
            write_card(bench, to_write, announced, steps, Cancel())
    assert kinds(bench)[-1] == "write-begun"
    # Something of it is on the card: not blank, and no volume yet.
    with card.open("r+b") as file:
        file.write(announced.layout.regions[0].content)
    assert write(bench, card).judgement.verdict is Verdict.USE


def test_what_was_withdrawn_since_the_plan_is_not_written(bench: Bench, tmp_path: Path) -> None:
    announced = announce(bench, wanted(tmp_path / "card.img"), silent, Cancel())
    (file,) = announced.stage.files
    text = bench.shop.manifest.read_text("utf-8")
    line = f'sha256 = "{file.sha256}"'
    bench.shop.manifest.write_text(text.replace(line, f'{line}\nwithdrawn = "burns"'), "utf-8")
    with open_bench(bench.place) as opened:
        sign_manifest(opened)
    with open_bench(bench.place) as opened:
        before = opened.log.size()
        with pytest.raises(WriteRefusedError) as caught:
            write_card(opened, wanted(tmp_path / "card.img"), announced, steps, Cancel())
        assert caught.value.reason == "write.withdrawn"
        assert opened.log.size() == before
    assert not (tmp_path / "card.img").exists()


def test_what_stands_in_the_place_of_a_broken_off_card_is_not_overwritten(
    bench: Bench, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The log knows a card by its number and place, and neither proves what is there now."""
    card = tmp_path / "card.img"
    to_write = wanted(card)
    announced = announce(bench, to_write, silent, Cancel())

    def stopped(*_: object) -> None:
        raise StoppedError("stopped")

    with monkeypatch.context() as patch:
        patch.setattr("cardprep.bench.write.put", stopped)
        with pytest.raises(StoppedError):
            write_card(bench, to_write, announced, steps, Cancel())
    size = card.stat().st_size
    card.unlink()
    card.write_bytes(b"somebody's charts" * 1000)
    os.truncate(card, size)
    before = card.read_bytes()
    with pytest.raises(WriteRefusedError):
        write_card(bench, to_write, announced, steps, Cancel())
    assert card.read_bytes() == before


def test_a_card_that_does_not_keep_what_was_written_is_never_use(
    bench: Bench, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    import cardprep.write.put as put_module

    real = put_module._write_fully

    def lossy(descriptor: int, offset: int, block: memoryview) -> None:
        # A worn card: it says yes and keeps zeros where the file is.
        real(descriptor, offset, block if offset else memoryview(bytes(len(block))))

    monkeypatch.setattr(put_module, "_write_fully", lossy)
    written = write(bench, tmp_path / "card.img")
    assert written.judgement.verdict is Verdict.DO_NOT_USE
    last = list(bench.log.records())[-1]
    assert (last.body["outcome"], last.body["verdict"]) == ("differs", "do-not-use")


def test_a_card_that_fails_is_in_the_log(
    bench: Bench, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def failing(*_: object) -> None:
        raise OSError(5, "Input/output error")

    monkeypatch.setattr("cardprep.write.put._write_fully", failing)
    with pytest.raises(WriteFailedError) as caught:
        write(bench, tmp_path / "card.img")
    assert caught.value.parameters["cause"] == "EIO"
    last = list(bench.log.records())[-1]
    assert (last.body["outcome"], last.body["reason"]) == ("failed", "write.failed")


def test_a_manifest_that_may_not_be_believed_writes_no_card(bench: Bench, tmp_path: Path) -> None:
    to_write = wanted(tmp_path / "card.img")
    announced = announce(bench, to_write, silent, Cancel())
    manifest = bench.shop.manifest
    manifest.write_bytes(manifest.read_bytes() + b"# a word\n")
    with pytest.raises(CardprepError) as caught:
        write_card(bench, to_write, announced, steps, Cancel())
    assert caught.value.reason == "manifest.changed"
    assert not (tmp_path / "card.img").exists()


def test_a_key_that_cannot_sign_is_found_before_the_card_is_touched(
    bench: Bench, tmp_path: Path
) -> None:
    bench.shop.key.chmod(0o644)
    with pytest.raises(CardprepError) as caught:
        write(bench, tmp_path / "card.img")
    assert caught.value.reason == "shop.key-mode"
    assert not (tmp_path / "card.img").exists()


def test_a_plan_made_anew_takes_the_place_of_the_one_before(bench: Bench, tmp_path: Path) -> None:
    first = write(bench, tmp_path / "one.img").announced.sha256
    plan_job(bench, B1)
    assert write(bench, tmp_path / "two.img").announced.sha256 == first


def test_the_card_digest_is_over_every_byte(bench: Bench, tmp_path: Path) -> None:
    card = tmp_path / "card.img"
    written = write(bench, card)
    data = card.read_bytes()[: written.announced.layout.length]
    assert hashlib.sha256(data).hexdigest() == written.announced.sha256
