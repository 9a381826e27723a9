"""A mounted folder: what is listed, what is never opened, odd names, depth, refusals.

Both ways are held to the same: step by step through open folders, and by whole path as on
systems that know no other.
"""

from __future__ import annotations

import os
import socket
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from cardprep.errors import (
    FolderTooLargeError,
    NotAllowedError,
    NotThereError,
    ReadFailedError,
)
from cardprep.medium import folder, folder_by_path
from cardprep.medium.folder import MountedFolder
from cardprep.medium.folder_by_path import FolderByPath
from cardprep.medium.protocol import FolderEntry, Identity, MediumKind

Way = type[MountedFolder]


@pytest.fixture(
    params=[pytest.param(MountedFolder, id="steps"), pytest.param(FolderByPath, id="path")]
)
def way(request: pytest.FixtureRequest) -> Way:
    found: Way = request.param
    return found


def listed(card: MountedFolder) -> list[tuple[bytes, ...]]:
    return [entry.path for entry in card.entries()]


def content(card: MountedFolder, *path: bytes) -> bytes:
    return b"".join(bytes(block) for block in card.blocks(path))


def test_what_it_is(tmp_path: Path, way: Way) -> None:
    with way(tmp_path) as card:
        assert card.identity == Identity(name=str(tmp_path), kind=MediumKind.FOLDER)
    card.close()


def test_files_and_folders_in_byte_order(tmp_path: Path, way: Way) -> None:
    for name in ("b/two", "b/one", "b/deep/er", "a", "B", "ä"):
        (tmp_path / name).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / name).write_bytes(name.encode())
    os.utime(tmp_path / "a", (0, 1_771_076_262.9))
    card = way(tmp_path)
    assert listed(card) == [
        (b"B",),
        (b"a",),
        (b"b",),
        ("ä".encode(),),
        (b"b", b"deep"),
        (b"b", b"one"),
        (b"b", b"two"),
        (b"b", b"deep", b"er"),
    ]
    by_path = {entry.path: entry for entry in card.entries()}
    assert by_path[b"a",] == FolderEntry(
        path=(b"a",), size=1, modified=1_771_076_262, is_folder=False, is_ordinary=True
    )
    assert by_path[b"b",].is_folder
    assert by_path[b"b",].size == 0
    assert content(card, b"b", b"deep", b"er") == b"b/deep/er"


def test_a_large_file_comes_in_blocks(
    tmp_path: Path, way: Way, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(folder, "BLOCK", 1000)
    data = os.urandom(2500)
    (tmp_path / "f").write_bytes(data)
    (tmp_path / "empty").write_bytes(b"")
    card = way(tmp_path)
    assert [len(block) for block in card.blocks((b"f",))] == [1000, 1000, 500]
    assert content(card, b"f") == data
    assert content(card, b"empty") == b""


@pytest.mark.parametrize(
    "name",
    [
        pytest.param(b"\xff\xfe.bin", id="no UTF-8"),
        pytest.param(b"\x1b[31mred", id="control characters"),
        pytest.param("\u202egpj.bin".encode(), id="turns the direction"),
        pytest.param(b"line\nbreak", id="line break"),
        pytest.param(b" ", id="a space"),
        pytest.param(b"n" * 255, id="longest"),
    ],
)
def test_odd_names(tmp_path: Path, way: Way, name: bytes) -> None:
    place = os.fsencode(tmp_path) + b"/" + name
    Path(os.fsdecode(place)).write_bytes(b"odd")
    card = way(tmp_path)
    assert listed(card) == [(name,)]
    assert content(card, name) == b"odd"


@pytest.fixture
def odd_things(tmp_path: Path) -> Iterator[Path]:
    """Return a folder with a link out, a pipe and a socket; nothing of them may be opened."""
    outside = tmp_path / "outside"
    outside.mkdir()
    (outside / "secret").write_bytes(b"secret")
    card = tmp_path / "card"
    card.mkdir()
    (card / "file").write_bytes(b"file")
    (card / "link").symlink_to(outside / "secret")
    (card / "folder link").symlink_to(outside)
    (card / "nowhere").symlink_to(tmp_path / "none")
    os.mkfifo(card / "pipe")
    before = Path.cwd()
    # The path of a socket may be too long to be bound from elsewhere.
    os.chdir(card)
    with socket.socket(socket.AF_UNIX) as bound:
        bound.bind("socket")
        os.chdir(before)
        yield card


NOT_ORDINARY = (b"folder link", b"link", b"nowhere", b"pipe", b"socket")


def test_what_is_not_ordinary_is_listed_as_such(odd_things: Path, way: Way) -> None:
    found = {entry.path: entry for entry in way(odd_things).entries()}
    assert found.keys() == {(name,) for name in (*NOT_ORDINARY, b"file")}
    for name in NOT_ORDINARY:
        entry = found[name,]
        assert (entry.is_ordinary, entry.is_folder, entry.size) == (False, False, 0)
    assert found[b"file",].is_ordinary


@pytest.mark.parametrize("path", [*((name,) for name in NOT_ORDINARY), (b"folder link", b"secret")])
def test_what_is_not_ordinary_is_never_opened(
    odd_things: Path, way: Way, path: tuple[bytes, ...], monkeypatch: pytest.MonkeyPatch
) -> None:
    opened = []
    real = os.open

    def watching(place: str | bytes | Path, flags: int, **rest: int) -> int:
        opened.append(os.fsencode(place))
        return real(place, flags, **rest)

    monkeypatch.setattr(os, "open", watching)
    started = time.perf_counter()
    with pytest.raises(NotThereError) as caught:
        content(way(odd_things), *path)
    assert caught.value.reason == "medium.not-ordinary"
    assert time.perf_counter() - started < 5
    assert opened in ([], [os.fsencode(odd_things)])


def test_a_link_that_appears_between_looking_and_opening(
    odd_things: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    ordinary = (odd_things / "file").stat()
    monkeypatch.setattr(folder, "_entry", lambda _, path: folder.entry_of(path, ordinary))
    card = MountedFolder(odd_things)
    with pytest.raises(NotThereError):
        content(card, b"link")
    # A pipe opens at once for reading without waiting; then it is seen that it is none.
    with pytest.raises(NotThereError, match=r"medium\.not-ordinary"):
        content(card, b"pipe")


@pytest.mark.parametrize("path", [(b"none",), (b"none", b"below"), (b"file", b"below")])
def test_what_is_not_there(tmp_path: Path, way: Way, path: tuple[bytes, ...]) -> None:
    (tmp_path / "file").write_bytes(b"")
    with pytest.raises(NotThereError) as caught:
        content(way(tmp_path), *path)
    assert caught.value.reason == "medium.not-there"


def test_a_name_with_a_zero(tmp_path: Path, way: Way) -> None:
    with pytest.raises(NotThereError):
        content(way(tmp_path), b"a\0b")


def test_a_folder_that_is_gone(tmp_path: Path, way: Way) -> None:
    with pytest.raises(NotThereError, match=r"medium\.not-there"):
        listed(way(tmp_path / "none"))


def test_a_folder_that_became_a_file(tmp_path: Path, way: Way) -> None:
    (tmp_path / "file").write_bytes(b"")
    with pytest.raises(NotThereError):
        listed(way(tmp_path / "file"))


def test_a_folder_is_no_file(tmp_path: Path, way: Way) -> None:
    (tmp_path / "sub").mkdir()
    with pytest.raises(NotThereError, match=r"medium\.not-ordinary"):
        content(way(tmp_path), b"sub")


@contextmanager
def as_ordinary_user() -> Iterator[None]:
    """Be somebody whom permissions bind; root is asked to be nobody for the while."""
    if os.geteuid() != 0:
        yield
        return
    os.seteuid(65534)
    try:
        yield
    finally:
        os.seteuid(0)


@pytest.fixture
def forbidden() -> Iterator[Path]:
    """Return a folder that everybody may list, with a file and a folder that nobody may open."""
    # Not below tmp_path, whose parents are closed to other users.
    with tempfile.TemporaryDirectory() as name:
        card = Path(name)
        card.chmod(0o755)
        (card / "closed").mkdir()
        (card / "closed" / "inner").write_bytes(b"")
        (card / "file").write_bytes(b"x")
        (card / "file").chmod(0)
        (card / "closed").chmod(0)
        yield card
        (card / "closed").chmod(0o700)


def test_what_this_user_may_not_open(forbidden: Path, way: Way) -> None:
    card = way(forbidden)
    with as_ordinary_user():
        found = card.entries()
        assert [next(found).path, next(found).path] == [(b"closed",), (b"file",)]
        with pytest.raises(NotAllowedError) as caught:
            next(found)
        assert str(caught.value.parameters["name"]).endswith("closed")
        with pytest.raises(NotAllowedError, match=r"medium\.not-allowed"):
            content(card, b"file")


def test_a_file_that_cannot_be_read(
    tmp_path: Path, way: Way, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "f\x1b").write_bytes(b"x")

    def broken(*_: object) -> int:
        raise OSError(5, "Input/output error")

    monkeypatch.setattr(os, "readv", broken)
    with pytest.raises(ReadFailedError) as caught:
        content(way(tmp_path), b"f\x1b")
    assert caught.value.parameters == {"path": "f\\x1b", "cause": "Input/output error"}


def test_an_entry_that_vanishes(tmp_path: Path, way: Way, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "f").write_bytes(b"x")

    def gone(*_: object, **__: object) -> os.stat_result:
        raise FileNotFoundError(2, "No such file or directory")

    class Listing:
        """A list with one file, which is gone when it is asked about."""

        name = "f"
        stat = gone

        def __enter__(self) -> Iterator[Listing]:
            return iter((self,))

        def __exit__(self, *_: object) -> None: ...

    if way is FolderByPath:
        monkeypatch.setattr(os, "scandir", lambda _: Listing())
    else:
        monkeypatch.setattr(os, "stat", gone)
    with pytest.raises(NotThereError):
        listed(way(tmp_path))


# --- bounds


def test_folders_in_folders(tmp_path: Path, way: Way, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(folder, "DEPTH_LIMIT", 5)
    (tmp_path / "1/2/3/4/5").mkdir(parents=True)
    assert len(listed(way(tmp_path))) == 5
    (tmp_path / "1/2/3/4/5/6").mkdir()
    with pytest.raises(FolderTooLargeError) as caught:
        listed(way(tmp_path))
    assert caught.value.parameters["depth"] == 5


def test_the_real_limit_of_depth(tmp_path: Path, way: Way) -> None:
    place = tmp_path
    for _ in range(64):
        place /= "d"
    place.mkdir(parents=True)
    assert len(listed(way(tmp_path))) == 64
    (place / "d").mkdir()
    with pytest.raises(FolderTooLargeError):
        listed(way(tmp_path))


def test_more_entries_than_are_read(
    tmp_path: Path, way: Way, monkeypatch: pytest.MonkeyPatch
) -> None:
    for number in range(20):
        (tmp_path / str(number)).write_bytes(b"")
    for module in (folder, folder_by_path):
        monkeypatch.setattr(module, "ENTRY_LIMIT", 20)
    assert len(listed(way(tmp_path))) == 20
    for module in (folder, folder_by_path):
        monkeypatch.setattr(module, "ENTRY_LIMIT", 19)
    with pytest.raises(FolderTooLargeError, match="entries=19"):
        listed(way(tmp_path))


def test_no_descriptor_is_left_open(odd_things: Path, way: Way) -> None:
    def count() -> int:
        return len(list(Path("/proc/self/fd").iterdir()))

    before = count()
    card = way(odd_things)
    listed(card)
    content(card, b"file")
    for path in (b"link", b"pipe", b"none"):
        with pytest.raises(NotThereError):
            content(card, path)
    abandoned = card.blocks((b"file",))
    next(abandoned)
    abandoned.close()  # type: ignore[attr-defined]
    assert count() == before


def test_a_system_without_the_better_call(
    tmp_path: Path, way: Way, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "f").write_bytes(b"content")
    monkeypatch.delattr(os, "readv")
    assert content(way(tmp_path), b"f") == b"content"
