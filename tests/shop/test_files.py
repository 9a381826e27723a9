"""The shop's small files: whole or not at all, and whatever stands there is a refusal at worst."""

from __future__ import annotations

import errno
import os
import stat
import threading
from pathlib import Path

import pytest

from cardprep.errors import ShopFolderError
from cardprep.shop import files
from cardprep.shop.files import (
    make_folder,
    part_file,
    read_if_there,
    read_whole,
    refusals,
    remove_parts,
    write_whole,
)
from cardprep.texts.catalogue import refusal


def names(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


def test_written_and_read(tmp_path: Path) -> None:
    path = tmp_path / "a"
    write_whole(path, b"first")
    write_whole(path, b"second, longer", mode=0o600)
    assert read_whole(path, 14) == b"second, longer"
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    assert names(tmp_path) == ["a"]


def test_mode_does_not_depend_on_the_user(tmp_path: Path) -> None:
    before = os.umask(0o077)
    try:
        write_whole(tmp_path / "a", b"")
    finally:
        os.umask(before)
    assert stat.S_IMODE((tmp_path / "a").stat().st_mode) == 0o644


def test_secret_from_the_first_byte(tmp_path: Path) -> None:
    with part_file(tmp_path) as part:
        part.write(b"secret")
        (path,) = tmp_path.iterdir()
        assert stat.S_IMODE(path.stat().st_mode) == 0o600


def test_short_writes_are_continued(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    whole = os.write
    monkeypatch.setattr(os, "write", lambda descriptor, data: whole(descriptor, data[:3]))
    write_whole(tmp_path / "a", b"0123456789")
    assert (tmp_path / "a").read_bytes() == b"0123456789"


@pytest.mark.parametrize("step", ["write", "fsync", "fchmod"])
def test_a_full_disk_leaves_the_old_one(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, step: str
) -> None:
    path = tmp_path / "a"
    write_whole(path, b"old")

    def full(*_: object) -> int:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(os, step, full)
    with pytest.raises(ShopFolderError) as raised:
        write_whole(path, b"new")
    assert raised.value.reason == "shop.file-refused"
    assert "No space left on device" in refusal(raised.value).message
    assert path.read_bytes() == b"old"
    assert names(tmp_path) == ["a"]


def test_the_order_that_survives_a_power_cut(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    done: list[str] = []
    sync, move = os.fsync, Path.replace

    def syncing(descriptor: int) -> None:
        kind = "folder" if stat.S_ISDIR(os.fstat(descriptor).st_mode) else "file"
        done.append(f"sync {kind}")
        sync(descriptor)

    def moving(self: Path, target: Path) -> Path:
        done.append("rename")
        return move(self, target)

    monkeypatch.setattr(os, "fsync", syncing)
    monkeypatch.setattr(Path, "replace", moving)
    write_whole(tmp_path / "a", b"x")
    assert done == ["sync file", "rename", "sync folder"]


def test_a_part_that_is_not_kept_is_gone(tmp_path: Path) -> None:
    with part_file(tmp_path) as part:
        part.write(memoryview(b"abcd").cast("I"))
        assert len(names(tmp_path)) == 1
    assert names(tmp_path) == []


def test_two_parts_at_once(tmp_path: Path) -> None:
    with part_file(tmp_path) as one, part_file(tmp_path) as two:
        one.write(b"1")
        two.write(b"2")
        two.keep_as(tmp_path / "two", 0o644)
        one.keep_as(tmp_path / "one", 0o644)
    assert (tmp_path / "one").read_bytes() + (tmp_path / "two").read_bytes() == b"12"


def test_many_threads_write_one_file(tmp_path: Path) -> None:
    path = tmp_path / "a"
    threads = [
        threading.Thread(target=write_whole, args=(path, bytes([number]) * 50_000))
        for number in range(8)
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    content = path.read_bytes()
    assert content in [bytes([number]) * 50_000 for number in range(8)]
    assert names(tmp_path) == ["a"]


def test_parts_of_a_power_cut(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(files, "_COUNTED", iter(["x", "x"]))
    left = tmp_path / f".cardprep-{os.getpid()}-{threading.get_ident()}-x.part"
    left.write_bytes(b"left")
    with part_file(tmp_path) as part:
        part.keep_as(tmp_path / "a", 0o644)
    assert (tmp_path / "a").read_bytes() == b""
    left.write_bytes(b"left")
    (tmp_path / ".cardprep").write_bytes(b"other")
    (tmp_path / "x.part").write_bytes(b"other")
    assert remove_parts(tmp_path) == 1
    assert names(tmp_path) == [".cardprep", "a", "x.part"]
    assert remove_parts(tmp_path) == 0


def test_limits(tmp_path: Path) -> None:
    path = tmp_path / "a"
    path.write_bytes(b"0123456789")
    assert read_whole(path, 10) == b"0123456789"
    with pytest.raises(ShopFolderError) as raised:
        read_whole(path, 9)
    assert raised.value.reason == "shop.file-large"


@pytest.mark.parametrize(
    ("kind", "reason"),
    [
        pytest.param("none", "shop.file-missing", id="nothing there"),
        pytest.param("folder", "shop.file-kind", id="folder"),
        pytest.param("pipe", "shop.file-kind", id="pipe that nobody writes to"),
        pytest.param("link", "shop.file-missing", id="link to nothing"),
        pytest.param("zero", "shop.file-refused", id="zero byte in the name"),
        pytest.param("long", "shop.file-refused", id="name too long"),
        pytest.param("under", "shop.file-refused", id="file for a folder"),
    ],
)
def test_what_cannot_be_read(tmp_path: Path, kind: str, reason: str) -> None:
    path = tmp_path / "\x1b[2J"
    if kind == "folder":
        path.mkdir()
    if kind == "pipe":
        os.mkfifo(path)
    if kind == "link":
        path.symlink_to(tmp_path / "nowhere")
    if kind == "under":
        path.write_bytes(b"")
    other = {"zero": "\x00", "long": "n" * 300, "under": "\x1b[2J/a"}
    with pytest.raises(ShopFolderError) as raised:
        read_whole(tmp_path / other.get(kind, path.name), 10)
    assert raised.value.reason == reason
    assert "\x1b" not in str(raised.value.parameters["path"])
    assert refusal(raised.value).message


def test_a_read_error(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "a").write_bytes(b"x")

    def broken(*_: object) -> bytes:
        raise OSError(errno.EIO, "Input/output error")

    monkeypatch.setattr(os, "read", broken)
    with pytest.raises(ShopFolderError) as raised:
        read_whole(tmp_path / "a", 10)
    assert raised.value.parameters["cause"] == "Input/output error"


def test_there_or_not(tmp_path: Path) -> None:
    assert read_if_there(tmp_path / "a", 10) is None
    (tmp_path / "a").write_bytes(b"x")
    assert read_if_there(tmp_path / "a", 10) == b"x"
    (tmp_path / "b").mkdir()
    with pytest.raises(ShopFolderError):
        read_if_there(tmp_path / "b", 10)


def test_what_may_not_be_looked_into_is_not_absent(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def denied(*_: object) -> int:
        raise PermissionError(errno.EACCES, "Permission denied")

    monkeypatch.setattr(os, "open", denied)
    with pytest.raises(ShopFolderError) as raised:
        read_if_there(tmp_path / "a", 10)
    assert raised.value.reason == "shop.file-refused"


def test_folders(tmp_path: Path) -> None:
    make_folder(tmp_path / "a" / "b" / "c")
    make_folder(tmp_path / "a" / "b" / "c")
    assert (tmp_path / "a" / "b" / "c").is_dir()
    (tmp_path / "file").write_bytes(b"")
    for path in (tmp_path / "file", tmp_path / "file" / "b"):
        with pytest.raises(ShopFolderError):
            make_folder(path)
    with pytest.raises(ShopFolderError):
        write_whole(tmp_path / "nowhere" / "a", b"")
    with pytest.raises(ShopFolderError):
        remove_parts(tmp_path / "nowhere")


def test_an_error_without_words(tmp_path: Path) -> None:
    with pytest.raises(ShopFolderError) as raised, refusals(tmp_path):
        raise OSError
    assert raised.value.parameters["cause"] == "OSError"


def test_systems_where_folders_cannot_be_synced(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(os, "name", "nt")
    monkeypatch.delattr(os, "fchmod")
    write_whole(tmp_path / "a", b"x")
    assert (tmp_path / "a").read_bytes() == b"x"


def test_a_new_file_is_never_put_over_another(tmp_path: Path) -> None:
    with part_file(tmp_path) as part:
        part.write(b"__23456789")
        part.write_at(0, b"01")
        part.write(b"!")
        assert part.sync().read_bytes() == b"0123456789!"
        (tmp_path / "a").write_bytes(b"other")
        assert not part.keep_as_new(tmp_path / "a", 0o444)
    assert (tmp_path / "a").read_bytes() == b"other"
    assert names(tmp_path) == ["a"]
    with part_file(tmp_path) as part:
        part.write(b"new")
        assert part.keep_as_new(tmp_path / "b", 0o444)
    assert names(tmp_path) == ["a", "b"]
    status = (tmp_path / "b").stat()
    assert (stat.S_IMODE(status.st_mode), status.st_nlink) == (0o444, 1)
