"""A card as a mounted folder: its files, what it cannot show, and where its list breaks off."""

from __future__ import annotations

import hashlib
import random
from collections.abc import Iterator
from pathlib import Path

import pytest

from cardprep.errors import NotAllowedError, NotThereError, ReadFailedError, StoppedError
from cardprep.inspection.folder import _utc, inspect_folder
from cardprep.inspection.model import Inspection
from cardprep.medium.folder import MountedFolder
from cardprep.medium.protocol import FolderEntry
from cardprep.progress import Cancel
from cardprep.terms import MIB
from tests.stages import Files

FILES: Files = [
    (("LARGE.BIN",), random.Random(1).randbytes(9 * MIB + 5)),
    (("d", "small.bin"), b"small"),
    (("d", "EMPTY.BIN"), b""),
    (("d", "e", "MIDDLE.BIN"), random.Random(2).randbytes(70_000)),
]
WANTED = {path: hashlib.sha256(content).hexdigest() for path, content in FILES}


def digests(inspection: Inspection) -> dict[tuple[str, ...], str | None]:
    return {
        file.path: None if file.digests is None else file.digests.sha256
        for file in inspection.files
    }


def slugs(inspection: Inspection) -> list[str]:
    return [finding.slug for finding in inspection.findings]


@pytest.fixture
def tree(tmp_path: Path) -> Path:
    for path, content in FILES:
        file = tmp_path.joinpath(*path)
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_bytes(content)
    return tmp_path


def test_a_folder_shows_its_files_and_what_it_cannot_show(tree: Path) -> None:
    (tree / "link").symlink_to("/etc/passwd")
    inspection = inspect_folder(MountedFolder(tree))
    assert digests(inspection) == {**WANTED, ("link",): None}
    assert set(slugs(inspection)) == {"folder-only", "not-a-file"}
    assert set(inspection.folders) == {("d",), ("d", "e")}
    assert inspection.volumes == ()
    assert inspection.partitions == ()
    assert not inspection.past_the_cache
    assert inspection.bytes_read == sum(len(content) for _, content in FILES)


class Odd(MountedFolder):
    """A folder in which reading a file goes otherwise than its list says."""

    def __init__(self, path: Path, odd: str, content: bytes | None) -> None:
        super().__init__(path)
        self.odd = odd
        self.content = content

    def blocks(self, path: tuple[bytes, ...]) -> Iterator[memoryview]:
        if path[-1].decode() != self.odd:
            yield from super().blocks(path)
        elif self.content is None:
            raise ReadFailedError("medium.file-read-error", path=self.odd, cause="EIO")
        else:
            yield memoryview(self.content)


@pytest.mark.parametrize(
    ("odd", "content"),
    [
        pytest.param("", None, id="nothing odd"),
        pytest.param("LARGE.BIN", None, id="a large file unreadable"),
        pytest.param("MIDDLE.BIN", None, id="the last file unreadable"),
        pytest.param("small.bin", b"grown meanwhile" * 1000, id="grown"),
        pytest.param("MIDDLE.BIN", b"cut", id="cut"),
    ],
)
def test_progress_only_grows_and_ends_at_its_total(
    tree: Path, odd: str, content: bytes | None
) -> None:
    told: list[tuple[int, int]] = []
    inspection = inspect_folder(
        Odd(tree, odd, content), progress=lambda done, total: told.append((done, total))
    )
    total = sum(len(content) for _, content in FILES)
    assert told == sorted(set(told))
    assert told[-1] == (total, total)
    assert len(told) > 9 or odd == "LARGE.BIN"
    wanted: dict[tuple[str, ...], str | None] = {**WANTED}
    for path in WANTED:
        if path[-1] == odd:
            wanted[path] = None if content is None else hashlib.sha256(content).hexdigest()
    assert digests(inspection) == wanted
    assert ("read-error" in slugs(inspection)) is bool(odd and content is None)


class Broken(MountedFolder):
    """A folder whose list breaks off."""

    def __init__(
        self, path: Path, after: int, error: type[NotThereError | NotAllowedError]
    ) -> None:
        super().__init__(path)
        self.after = after
        self.error = error

    def entries(self) -> Iterator[FolderEntry]:
        for number, entry in enumerate(super().entries()):
            if number == self.after:
                raise self.error("medium.no-card", name="x", cause="EIO")
            yield entry


@pytest.mark.parametrize("error", [NotThereError, NotAllowedError])
def test_a_folder_below_that_cannot_be_listed_hides_nothing_before_it(
    tree: Path, error: type[NotThereError | NotAllowedError]
) -> None:
    inspection = inspect_folder(Broken(tree, 2, error))
    assert digests(inspection) == {("LARGE.BIN",): WANTED["LARGE.BIN",]}
    assert slugs(inspection) == ["folder-only", "read-error"]
    assert any(finding.undecided for finding in inspection.findings)
    with pytest.raises(error):
        inspect_folder(Broken(tree, 0, error))


def test_a_folder_can_be_stopped_and_may_be_too_large(
    tree: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    cancel = Cancel()
    cancel.ask()
    with pytest.raises(StoppedError):
        inspect_folder(MountedFolder(tree), cancel=cancel)
    monkeypatch.setattr("cardprep.medium.folder.ENTRY_LIMIT", 1)
    inspection = inspect_folder(MountedFolder(tree))
    assert "too-many-files" in slugs(inspection)
    assert any(finding.undecided for finding in inspection.findings)


def test_it_stops_at_the_next_block_of_a_file(tree: Path) -> None:
    cancel = Cancel()
    told: list[int] = []

    def stop(done: int, total: int, /) -> None:
        del total
        told.append(done)
        cancel.ask()

    with pytest.raises(StoppedError):
        inspect_folder(MountedFolder(tree), progress=stop, cancel=cancel)
    assert told == [MIB]


def test_a_time_that_no_calendar_has() -> None:
    assert _utc(2**62) is None
    assert _utc(0) == "1970-01-01 00:00:00"
