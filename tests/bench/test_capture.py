"""Capturing: the card untouched, nothing half under the final name, the log told of it."""

from __future__ import annotations

import errno
import os
import random
import stat
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from cardprep.bench import capture as bench_capture
from cardprep.bench.capture import capture_card, verify_capture
from cardprep.bench.check import check_card
from cardprep.bench.inspect import inspect
from cardprep.bench.open import Bench, Place, open_bench
from cardprep.bench.trace import trace
from cardprep.errors import (
    CaptureBrokenError,
    CaptureRefusedError,
    NotThereError,
    StoppedError,
)
from cardprep.medium.open import open_card
from cardprep.progress import Cancel, silent
from tests.bench.evening import STAGE, environment, planned_evening, write_words
from tests.captures import capture, card_of, index_of, opened_capture, parts_of, wanted
from tests.cards import ENVIRONMENT, MIB, MemorySectors, run
from tests.hostile import hostile_volume

ROOT = Path(__file__).resolve().parents[2]


def names(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


@pytest.fixture
def card(tmp_path: Path) -> Path:
    path = tmp_path / "card.img"
    path.write_bytes(bytes(hostile_volume().data))
    return path


def test_the_card_is_not_changed_and_the_capture_is_read_only(card: Path, tmp_path: Path) -> None:
    before, content = card.stat(), card.read_bytes()
    found = capture(card, tmp_path / "c.zip")
    assert (card.stat().st_mtime_ns, card.stat().st_ctime_ns) == (
        before.st_mtime_ns,
        before.st_ctime_ns,
    )
    assert card.read_bytes() == content == card_of(tmp_path / "c.zip")
    assert names(tmp_path) == ["c.zip", "card.img"]
    status = (tmp_path / "c.zip").stat()
    assert (stat.S_IMODE(status.st_mode), status.st_nlink) == (0o444, 1)
    assert (found.path, found.length) == (tmp_path / "c.zip", status.st_size)
    again = verify_capture(tmp_path / "c.zip", silent, Cancel())
    assert again == found


def test_a_file_system_without_links(
    card: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def no_links(_source: object, _target: object) -> None:
        raise PermissionError(errno.EPERM, "Operation not permitted")

    monkeypatch.setattr(os, "link", no_links)
    capture(card, tmp_path / "c.zip")
    assert names(tmp_path) == ["c.zip", "card.img"]


@pytest.mark.parametrize("links", [True, False])
def test_a_file_that_came_in_between_stays(
    card: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, links: bool
) -> None:
    target = tmp_path / "c.zip"

    def no_links(_source: object, _target: object) -> None:
        raise PermissionError(errno.EPERM, "Operation not permitted")

    if not links:
        monkeypatch.setattr(os, "link", no_links)

    def progress(_done: int, _total: int, /) -> None:
        target.write_bytes(b"somebody's")

    with pytest.raises(CaptureRefusedError) as caught:
        capture(card, target, progress=progress)
    assert caught.value.reason == "capture.exists"
    assert target.read_bytes() == b"somebody's"
    assert names(tmp_path) == ["c.zip", "card.img"]


@pytest.mark.parametrize("at", [1, 2, 9])
def test_stopped_it_leaves_nothing(card: Path, tmp_path: Path, at: int) -> None:
    card.write_bytes(random.Random(0).randbytes(6 * MIB))
    cancel = Cancel()
    told: list[int] = []

    def progress(done: int, _total: int, /) -> None:
        told.append(done)
        if len(told) == at:
            cancel.ask()

    with pytest.raises(StoppedError):
        capture(card, tmp_path / "c.zip", progress=progress, cancel=cancel)
    assert names(tmp_path) == ["card.img"]


def test_a_full_disk_leaves_nothing(
    card: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    whole = os.write
    count: list[int] = []

    def full(descriptor: int, data: bytes) -> int:
        count.append(1)
        if len(count) > 2:
            raise OSError(errno.ENOSPC, "No space left on device")
        return whole(descriptor, data)

    monkeypatch.setattr(os, "write", full)
    with pytest.raises(CaptureRefusedError) as caught:
        capture(card, tmp_path / "c.zip")
    assert caught.value.reason == "capture.cannot-write"
    assert caught.value.parameters["cause"] == "No space left on device"
    assert names(tmp_path) == ["card.img"]


def test_what_was_written_wrongly_gets_no_name(
    card: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    whole = os.write
    monkeypatch.setattr(
        os,
        "write",
        lambda descriptor, data: whole(descriptor, bytes(data).replace(b"\x07", b"\x08")),
    )
    with pytest.raises(CaptureBrokenError):
        capture(card, tmp_path / "c.zip")
    assert names(tmp_path) == ["card.img"]


def test_what_cannot_be_captured(card: Path, tmp_path: Path) -> None:
    (tmp_path / "empty").write_bytes(b"")
    (tmp_path / "folder").mkdir()
    target = tmp_path / "c.zip"
    for name, reason in (("empty", "capture.empty"), ("folder", "capture.folder")):
        with pytest.raises(CaptureRefusedError) as caught:
            capture(tmp_path / name, target)
        assert caught.value.reason == reason
    with pytest.raises(CaptureRefusedError) as caught:
        capture(card, card)
    assert caught.value.reason == "capture.exists"
    with pytest.raises(NotThereError):
        capture(tmp_path / "none", target)
    with pytest.raises(CaptureRefusedError) as caught:
        capture(MemorySectors(bytes(MIB), bad=[(0, MIB)]), target)
    assert (caught.value.reason, caught.value.parameters["cause"]) == (
        "capture.nothing-read",
        "EIO",
    )

    class Huge(MemorySectors):
        @property
        def size(self) -> int:
            return 2**50

    with pytest.raises(CaptureRefusedError) as caught:
        capture(Huge(b""), target)
    assert caught.value.reason == "capture.too-large"
    with pytest.raises(CaptureBrokenError):
        verify_capture(card, silent, Cancel())
    assert names(tmp_path) == ["card.img", "empty", "folder"]


# --- the capture is a card like any other


@pytest.mark.oracle
def test_all_findings_are_those_of_the_card(planned: tuple[Bench, Path], tmp_path: Path) -> None:
    bench, written = planned
    hostile = tmp_path / "hostile.img"
    hostile.write_bytes(bytes(hostile_volume().data))
    for number, path in enumerate((written, hostile)):
        target = tmp_path / f"{number}.zip"
        capture_card(bench, wanted(path, target), lambda _step: silent, Cancel())
        one = check_card(bench, path, progress=silent, cancel=Cancel())
        other = check_card(bench, target, progress=silent, cancel=Cancel())
        assert one.judgement.findings == other.judgement.findings
        assert one.judgement.verdict is other.judgement.verdict
        assert (one.compared, one.held, one.cards, one.key) == (
            other.compared,
            other.held,
            other.cards,
            other.key,
        )
        seen, again = (inspect(place, progress=silent, cancel=Cancel()) for place in (path, target))
        assert (seen.files, seen.content, seen.findings) == (
            again.files,
            again.content,
            again.findings,
        )


@pytest.fixture
def planned(tmp_path: Path) -> Iterator[tuple[Bench, Path]]:
    """Return a bench, and a card of its job."""
    place = planned_evening(tmp_path / "evening", tmp_path / "downloads")
    path = tmp_path / "card.img"
    subprocess.run(
        [sys.executable, "-m", "cardprep", *write_words(place, path, 17)],
        env=environment(place, tmp_path),
        stdin=subprocess.DEVNULL,
        capture_output=True,
        check=True,
    )
    with open_bench(place) as bench:
        yield bench, path


@pytest.mark.oracle
def test_the_log_tells_of_it_and_trace_finds_the_card(
    planned: tuple[Bench, Path], tmp_path: Path
) -> None:
    bench, path = planned
    target = tmp_path / "c.zip"
    found = capture_card(bench, wanted(path, target), lambda _step: silent, Cancel())
    (record,) = bench.log.find("digest", found.sha256)
    assert record.kind == "card-captured"
    body = record.body
    assert (body["capture"], body["sha256"]) == (str(target), found.sha256)
    assert (body["card_sha256"], body["card_size"]) == (found.index.sha256, path.stat().st_size)
    assert (body["unreadable"], body["unreadable_bytes"]) == ([], 0)
    assert bench.log.find("digest", found.index.sha256) == [record]
    traced = trace(bench, str(target))
    assert traced.unchanged is True
    assert [card.stage for card in traced.cards] == [STAGE]
    assert record in traced.records
    # An altered capture is no card that was changed.
    altered = bytearray(target.read_bytes())
    blocks = [one.packed for one in found.index.runs for _ in range(one.count)]
    assert blocks[5] > 100_000
    altered[parts_of(target)[1].data + sum(blocks[:5]) + 1000] ^= 0xFF
    (tmp_path / "altered.zip").write_bytes(altered)
    with pytest.raises(CaptureBrokenError):
        trace(bench, str(tmp_path / "altered.zip"))


def test_unreadable_places_stand_in_the_log(
    shop: Place, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    medium = MemorySectors(b"x" * MIB, bad=[(512, 1024)])
    target = tmp_path / "c.zip"
    monkeypatch.setattr(
        bench_capture, "open_card", lambda path: medium if path == tmp_path else open_card(path)
    )
    with open_bench(shop) as bench:
        found = capture_card(bench, wanted(tmp_path, target), lambda _step: silent, Cancel())
        (record,) = bench.log.find("digest", found.sha256)
    assert record.body["unreadable"] == [
        {"offset": 512, "length": 512, "cause": "EIO", "tried": True}
    ]
    assert record.body["unreadable_bytes"] == 512


# --- killed, and large cards

KILLING = """
import os, signal, sys
from pathlib import Path
from tests.captures import capture
def progress(done, total):
    if done >= 3 << 20:
        os.kill(os.getpid(), signal.SIGKILL)
capture(Path(sys.argv[1]), Path(sys.argv[2]), progress=progress)
"""


def test_killed_in_the_middle_there_is_nothing_under_the_name(tmp_path: Path) -> None:
    (tmp_path / "card.img").write_bytes(random.Random(0).randbytes(6 * MIB))
    words = [str(tmp_path / "card.img"), str(tmp_path / "c.zip")]
    done = subprocess.run([sys.executable, "-c", KILLING, *words], cwd=ROOT, check=False)
    assert done.returncode == -9
    assert not (tmp_path / "c.zip").exists()
    capture(Path(words[0]), Path(words[1]))


@pytest.mark.oracle
@pytest.mark.parametrize("call", ["write", "fsync", "link", "linkat", "unlink", "fchmod"])
def test_killed_at_every_call_there_is_nothing_or_all(tmp_path: Path, call: str) -> None:
    card, target = tmp_path / "card.img", tmp_path / "c.zip"
    card.write_bytes(bytes(MIB) + random.Random(0).randbytes(MIB))
    asked = f"inject={call}:signal=KILL:when="
    words = [sys.executable, "-m", "cardprep", "capture", str(card), str(target)]
    home = {**ENVIRONMENT, "HOME": str(tmp_path)}
    for when in range(1, 60):
        tried = subprocess.run(
            [
                "strace",
                "-f",
                "-o",
                os.devnull,
                "-e",
                f"trace={call}",
                "-e",
                f"{asked}{when}",
                *words,
            ],
            env=home,
            stdin=subprocess.DEVNULL,
            capture_output=True,
            check=False,
        )
        if b"strace" in tried.stderr:
            pytest.skip("this system does not let a program be traced")
        if target.exists():
            verify_capture(target, silent, Cancel())
            target.unlink()
        if tried.returncode == 0:
            break
        for left in tmp_path.glob(".cardprep-*"):
            left.unlink()
    else:
        pytest.fail("the command has more calls than are tried")


MEASURING = """
import resource, subprocess, sys
words = [sys.argv[1], "-m", "cardprep", "capture", *sys.argv[2:]]
subprocess.run(words, check=True, stdout=subprocess.DEVNULL)
print(resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss)
"""


@pytest.mark.oracle
def test_a_large_and_nearly_empty_card_in_bounded_memory_and_time(tmp_path: Path) -> None:
    card, target = tmp_path / "card.img", tmp_path / "c.zip"
    with card.open("wb") as file:
        file.truncate(512 * MIB)
        file.seek(100 * MIB)
        file.write(random.Random(0).randbytes(10 * MIB))
    begun = time.monotonic()
    # A small program in between: a child's peak counts what its parent had when it forked.
    done = subprocess.run(
        [sys.executable, "-c", MEASURING, sys.executable, str(card), str(target)],
        env={**ENVIRONMENT, "HOME": str(tmp_path)},
        capture_output=True,
        text=True,
        check=True,
    )
    assert int(done.stdout) * 1024 < 100 * MIB
    assert time.monotonic() - begun < 30
    assert target.stat().st_size < 12 * MIB


# --- errors of a kernel's own


@pytest.fixture
def failing_device(tmp_path: Path) -> Iterator[Path]:
    """Return a device whose sectors 100 and 2050 to 2051 cannot be read, by a device mapper."""
    image = tmp_path / "card.img"
    image.write_bytes(random.Random(7).randbytes(4 * MIB))
    made = subprocess.run(
        ["losetup", "--read-only", "--find", "--show", str(image)],
        env=ENVIRONMENT,
        capture_output=True,
        text=True,
        check=False,
    )
    if made.returncode:
        pytest.skip("this user may not make a block device")
    loop = made.stdout.strip()
    table = (
        f"0 100 linear {loop} 0\n100 1 error\n101 1949 linear {loop} 101\n2050 2 error\n"
        f"2052 6140 linear {loop} 2052\n"
    )
    name = f"cardprep-test-{os.getpid()}"
    mapped = subprocess.run(
        ["dmsetup", "create", "--readonly", name],
        env=ENVIRONMENT,
        input=table,
        capture_output=True,
        text=True,
        check=False,
    )
    if mapped.returncode:
        run("losetup", "--detach", loop)
        pytest.skip("this system has no device mapper")
    yield Path("/dev/mapper") / name
    run("dmsetup", "remove", name)
    run("losetup", "--detach", loop)


def test_a_device_that_fails(failing_device: Path, tmp_path: Path) -> None:
    found = capture(failing_device, tmp_path / "c.zip")
    assert [(one.offset, one.length, one.cause) for one in found.index.unreadable] == [
        (100 * 512, 512, "EIO"),
        (2050 * 512, 1024, "EIO"),
    ]
    data = bytearray((tmp_path / "card.img").read_bytes())
    data[100 * 512 : 101 * 512] = bytes(512)
    data[2050 * 512 : 2052 * 512] = bytes(1024)
    assert card_of(tmp_path / "c.zip") == data


def test_the_kernels_own_errors_are_a_map(tmp_path: Path) -> None:
    """Two reads of the program fail as those of a bad card do: a block, and a piece of it."""
    card, target = tmp_path / "card.img", tmp_path / "c.zip"
    card.write_bytes(random.Random(7).randbytes(2 * MIB))
    asked = ["-P", str(card), "-e", "trace=preadv,preadv2", "-e"]
    # Two looks at both ends; then the first block, its 16 pieces, 16 of a piece, 8 sectors.
    inject = "inject=preadv,preadv2:error=EIO:when=3..8"
    words = [sys.executable, "-m", "cardprep", "capture", str(card), str(target), "--json"]
    done = subprocess.run(
        ["strace", "-f", "-o", os.devnull, *asked, inject, *words],
        env={**ENVIRONMENT, "HOME": str(tmp_path)},
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        check=False,
    )
    if "strace" in done.stderr:
        pytest.skip("this system does not let a program be traced")
    assert done.returncode == 3, done.stderr
    lost = index_of(target)["unreadable"]
    assert [(one["offset"], one["length"], one["cause"]) for one in lost] == [(0, 1536, "EIO")]
    with opened_capture(target) as sectors:
        assert sectors.size == 2 * MIB
