"""The shelf: whole or not at all, never written again, checked whenever it is taken down."""

from __future__ import annotations

import errno
import hashlib
import os
import random
import stat
import subprocess
from collections.abc import Iterator
from io import FileIO
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cardprep.digests import ContentDigests
from cardprep.errors import (
    CardprepError,
    NotAllowedError,
    NotThereError,
    ReadFailedError,
    ShelfError,
    ShopFolderError,
    StoppedError,
)
from cardprep.progress import Cancel
from cardprep.shop.shelf import Shelf
from cardprep.texts.catalogue import refusal

CONTENT = random.Random(4).randbytes(3 * 2**20 + 17)
SHA256 = hashlib.sha256(CONTENT).hexdigest()


@pytest.fixture
def shelf(tmp_path: Path) -> Shelf:
    return Shelf(tmp_path / "shelf")


def put(shelf: Shelf, content: bytes = CONTENT) -> str:
    return shelf.put([content], len(content)).digests.sha256


def on_shelf(shelf: Shelf) -> list[str]:
    return sorted(str(path.relative_to(shelf.folder)) for path in shelf.folder.rglob("*"))


def reason(error: pytest.ExceptionInfo[CardprepError]) -> str:
    assert "(" not in refusal(error.value).message
    return error.value.reason


def test_a_file_is_copied(shelf: Shelf, tmp_path: Path) -> None:
    source = tmp_path / "OVV40_APP_430.bin"
    source.write_bytes(CONTENT)
    told: list[tuple[int, int]] = []
    stored = shelf.put_file(source, progress=lambda done, total: told.append((done, total)))
    expected = ContentDigests()
    expected.update(CONTENT)
    assert stored.digests == expected.result()
    assert not stored.already_there
    assert on_shelf(shelf) == [SHA256[:2], f"{SHA256[:2]}/{SHA256}"]
    assert shelf.path(SHA256).read_bytes() == CONTENT
    assert stat.S_IMODE(shelf.path(SHA256).stat().st_mode) == 0o444
    assert told[-1] == (len(CONTENT), len(CONTENT))
    assert [done for done, _ in told] == sorted({done for done, _ in told})


def test_the_same_again_is_said(shelf: Shelf) -> None:
    put(shelf)
    before = shelf.path(SHA256).stat()
    assert shelf.put([CONTENT[:5], CONTENT[5:]], len(CONTENT)).already_there
    after = shelf.path(SHA256).stat()
    assert (before.st_ino, before.st_mtime_ns) == (after.st_ino, after.st_mtime_ns)
    assert len(on_shelf(shelf)) == 2


def test_a_damaged_copy_is_not_hidden_by_the_same_again(shelf: Shelf) -> None:
    path = damaged(shelf)
    before = path.read_bytes()
    with pytest.raises(ShelfError) as raised:
        put(shelf)
    assert reason(raised) == "shelf.damaged"
    assert path.read_bytes() == before


def damaged(shelf: Shelf, at: int = 100) -> Path:
    """Put the content on the shelf and alter one byte of its copy."""
    path = shelf.path(put(shelf))
    altered = bytearray(CONTENT)
    altered[at] ^= 0xFF
    path.chmod(0o644)
    path.write_bytes(altered)
    return path


@pytest.mark.parametrize("at", [0, 65535, 65536, 2**20, len(CONTENT) - 1])
def test_any_altered_byte_is_seen(shelf: Shelf, at: int) -> None:
    damaged(shelf, at)
    with pytest.raises(ShelfError) as raised:
        shelf.verify(SHA256)
    assert reason(raised) == "shelf.damaged"
    with pytest.raises(ShelfError) as raised:
        shelf.open_checked(SHA256, len(CONTENT))
    assert reason(raised) == "shelf.damaged"


def test_taken_down(shelf: Shelf) -> None:
    put(shelf)
    told: list[int] = []
    with shelf.open_checked(
        SHA256, len(CONTENT), progress=lambda done, _: told.append(done)
    ) as file:
        assert file.read() == CONTENT
        assert file.seek(65536) == 65536
        assert file.read(10) == CONTENT[65536:65546]
    assert told[-1] == len(CONTENT)
    assert shelf.verify(SHA256).sha256 == SHA256


def test_another_size(shelf: Shelf) -> None:
    put(shelf)
    for take in (shelf.open_checked, shelf.open_unchecked):
        with pytest.raises(ShelfError) as raised:
            take(SHA256, len(CONTENT) + 1)
        assert reason(raised) == "shelf.size"


def test_taken_down_by_one_who_digests_it_anyway(shelf: Shelf) -> None:
    path = damaged(shelf)
    with shelf.open_unchecked(SHA256, len(CONTENT)) as file:
        assert file.read() == path.read_bytes()
    path.unlink()
    with pytest.raises(ShelfError):
        shelf.open_unchecked(SHA256, len(CONTENT))


def test_not_there(shelf: Shelf) -> None:
    for look in (shelf.verify, lambda sha256: shelf.open_checked(sha256, 1)):
        with pytest.raises(ShelfError) as raised:
            look("a" * 64)
        assert reason(raised) == "shelf.missing"
    assert not shelf.holds("a" * 64)
    assert shelf.digests() == []


@pytest.mark.parametrize(
    "name", ["", "a" * 63, "A" * 64, "../" * 20 + "etc/passwd", "a" * 64 + "\n", "\x1b" * 64]
)
def test_no_digest(shelf: Shelf, name: str) -> None:
    for look in (
        shelf.path,
        shelf.verify,
        shelf.holds,
        lambda sha256: shelf.open_checked(sha256, 1),
    ):
        with pytest.raises(ShelfError) as raised:
            look(name)
        assert raised.value.reason == "shelf.name"


def test_list(shelf: Shelf) -> None:
    stored = [put(shelf, bytes([number])) for number in range(20)]
    (shelf.folder / "remarks.txt").write_bytes(b"")
    (shelf.folder / "00").mkdir(exist_ok=True)
    (shelf.folder / "00" / "thumbs").write_bytes(b"")
    assert shelf.digests() == sorted(stored)
    assert all(shelf.holds(sha256) for sha256 in stored)


def test_links_and_pipes_on_the_shelf(shelf: Shelf, tmp_path: Path) -> None:
    path = shelf.path(put(shelf))
    path.rename(tmp_path / "elsewhere")
    path.symlink_to(tmp_path / "elsewhere")
    with pytest.raises(ShelfError) as raised:
        shelf.verify(SHA256)
    assert raised.value.reason == "shelf.cannot-read"
    path.unlink()
    for make in (os.mkfifo, Path.mkdir):
        make(path)
        with pytest.raises(ShelfError) as raised:
            shelf.verify(SHA256)
        assert reason(raised) == "shelf.kind"
        assert shelf.holds(SHA256)
        path.rename(tmp_path / make.__name__)


def test_a_shelf_that_cannot_be_read(shelf: Shelf, monkeypatch: pytest.MonkeyPatch) -> None:
    put(shelf)

    monkeypatch.setattr("cardprep.shop.shelf.FileIO", BrokenSource)
    with pytest.raises(ShelfError) as raised:
        shelf.verify(SHA256)
    assert reason(raised) == "shelf.cannot-read"
    assert raised.value.parameters["cause"] == "Input/output error"


class BrokenSource(FileIO):
    """A file on a medium that gives its first block and then an error."""

    def readinto(self, buffer: bytearray) -> int:  # type: ignore[override]
        if self.tell():
            raise OSError(errno.EIO, "Input/output error")
        return super().readinto(buffer) or 0


def test_a_source_that_breaks_off(
    shelf: Shelf, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    source = tmp_path / "a.bin"
    source.write_bytes(CONTENT)
    monkeypatch.setattr("cardprep.shop.shelf.FileIO", BrokenSource)
    with pytest.raises(ReadFailedError) as raised:
        shelf.put_file(source)
    assert reason(raised) == "shelf.source-read"
    assert on_shelf(shelf) == []


def test_sources_that_are_no_files(shelf: Shelf, tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")
    for name, expected in [
        ("nowhere", "shelf.source-not-there"),
        ("\x00", "shelf.source-not-there"),
        ("pipe", "shelf.source-kind"),
        (".", "shelf.source-kind"),
    ]:
        with pytest.raises(NotThereError) as raised:
            shelf.put_file(tmp_path / name)
        assert reason(raised) == expected
    with pytest.raises(NotThereError):
        shelf.put_file(Path("/dev/zero"))
    assert not shelf.folder.exists()


def test_a_source_that_may_not_be_read(
    shelf: Shelf, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def denied(*_: object) -> int:
        raise PermissionError(errno.EACCES, "Permission denied")

    monkeypatch.setattr(os, "open", denied)
    with pytest.raises(NotAllowedError) as raised:
        shelf.put_file(tmp_path / "a")
    assert reason(raised) == "shelf.source-not-allowed"


@pytest.mark.parametrize(
    ("blocks", "size", "why"),
    [
        pytest.param([b"abc"], 4, "shelf.source-changed", id="fewer bytes"),
        pytest.param([b"abc", b"d"], 3, "shelf.source-changed", id="more bytes"),
        pytest.param([], 0, "shelf.source-empty", id="no bytes"),
        pytest.param([b""], 0, "shelf.source-empty", id="an empty block"),
    ],
)
def test_contents_that_are_not_taken(
    shelf: Shelf, blocks: list[bytes], size: int, why: str
) -> None:
    with pytest.raises(ShelfError) as raised:
        shelf.put(blocks, size)
    assert reason(raised) == why
    assert on_shelf(shelf) == []


def test_endless_blocks(shelf: Shelf) -> None:
    def endless() -> Iterator[bytes]:
        while True:
            yield b"x" * 1000

    with pytest.raises(ShelfError):
        shelf.put(endless(), 2500)
    assert on_shelf(shelf) == []


def test_stopped(shelf: Shelf) -> None:
    cancel = Cancel()

    def stop(done: int, _total: int) -> None:
        if done > 1000:
            cancel.ask()

    with pytest.raises(StoppedError):
        shelf.put([b"x" * 1000] * 9, 9000, progress=stop, cancel=cancel)
    assert on_shelf(shelf) == []
    put(shelf)
    with pytest.raises(StoppedError):
        shelf.open_checked(SHA256, len(CONTENT), cancel=cancel)
    with pytest.raises(StoppedError):
        shelf.verify(SHA256, cancel=cancel)


def test_blocks_that_fail(shelf: Shelf) -> None:
    def failing() -> Iterator[bytes]:
        yield b"x"
        raise ReadFailedError("shelf.source-read", name="a", cause="b")

    with pytest.raises(ReadFailedError):
        shelf.put(failing(), 2)
    assert on_shelf(shelf) == []


def test_a_full_disk(shelf: Shelf, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(*_: object) -> int:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(os, "write", full)
    with pytest.raises(ShopFolderError):
        put(shelf)
    assert on_shelf(shelf) == []


@settings(deadline=None, max_examples=40)
@given(
    blocks=st.lists(st.binary(max_size=90_000), min_size=1, max_size=5).filter(any),
)
def test_any_content(tmp_path_factory: pytest.TempPathFactory, blocks: list[bytes]) -> None:
    shelf = Shelf(tmp_path_factory.getbasetemp() / "any" / "shelf")
    content = b"".join(blocks)
    stored = shelf.put(iter(blocks), len(content))
    with shelf.open_checked(stored.digests.sha256, len(content)) as file:
        assert file.read() == content
    assert shelf.verify(stored.digests.sha256) == stored.digests


@pytest.mark.oracle
def test_sha256sum_agrees(shelf: Shelf) -> None:
    stored = [put(shelf), put(shelf, b"abc"), put(shelf, b"\x00" * 70_000)]
    lines = "".join(f"{sha256}  {shelf.path(sha256)}\n" for sha256 in stored)
    command = ["sha256sum", "-c", "--strict", "--quiet"]
    assert subprocess.run(command, input=lines, text=True, check=False).returncode == 0
    shelf.path(SHA256).chmod(0o644)
    shelf.path(SHA256).write_bytes(CONTENT[:-1])
    changed = subprocess.run(command, input=lines, text=True, check=False, capture_output=True)
    assert changed.returncode == 1
