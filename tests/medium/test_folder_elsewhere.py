"""A mounted folder by the path rules of other systems: drives, kept-back names, accents apart.

pyfakefs stands in for these systems; it knows their separators, drives and letter case,
and not the names that Windows keeps back, which are told from the name alone.

Source: common practice, no published source, for both systems' rules.
"""

from __future__ import annotations

import os
import unicodedata
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pyfakefs.fake_filesystem import FakeFilesystem, OSType

from cardprep.errors import NotThereError
from cardprep.inspection.folder import NAMES, UNSEEN, inspect_folder
from cardprep.medium.folder import MountedFolder
from cardprep.medium.folder_by_path import FolderByPath, means_something_else
from cardprep.medium.open import open_card, whole_drive


def plainly(descriptor: int, buffer: memoryview) -> int:
    """Read as a system does that has no other call, and as pyfakefs can."""
    data = os.read(descriptor, len(buffer))
    buffer[: len(data)] = data
    return len(data)


@pytest.fixture
def drive(fs: FakeFilesystem, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Return a drive of a system that has them, with a few files."""
    fs.os = OSType.WINDOWS
    fs.add_mount_point("E:")
    for name in (r"UPDATE\APP_430.BIN", "readme.txt", "NUL.BIN", "aux", "con"):
        fs.create_file(f"E:\\{name}", contents=name)
    # That system has neither way.
    monkeypatch.setattr("cardprep.medium.folder.read_on", plainly)
    monkeypatch.setattr(type(os), "supports_dir_fd", set())
    return Path("E:")


def test_a_drive_letter_is_the_whole_drive(drive: Path) -> None:
    # "E:" alone is the folder that was last used on it.
    assert str(whole_drive(drive)) == "E:\\"
    assert str(whole_drive(Path("E:\\UPDATE"))) == "E:\\UPDATE"
    with open_card(drive) as card:
        assert isinstance(card, FolderByPath)
        assert {entry.path for entry in card.entries()} == {
            *((b"NUL.BIN",), (b"UPDATE",), (b"aux",), (b"con",), (b"readme.txt",)),
            (b"UPDATE", b"APP_430.BIN"),
        }
        # Letter case means nothing there.
        found = b"".join(bytes(block) for block in card.blocks((b"update", b"app_430.bin")))
    assert found == rb"UPDATE\APP_430.BIN"


def test_a_path_elsewhere_is_left_as_it_is() -> None:
    for name in ("E:", "card", "/", "."):
        assert whole_drive(Path(name)) == Path(name)


def test_names_that_are_kept_back_are_listed_and_never_opened(drive: Path) -> None:
    with open_card(drive) as card:
        assert isinstance(card, FolderByPath)
        with pytest.raises(NotThereError, match=r"medium\.name-changed"):
            list(card.blocks((b"NUL.BIN",)))
        inspection = inspect_folder(card)
    unread = {file.shown for file in inspection.files if file.digests is None}
    assert unread == {"NUL.BIN", "aux", "con"}
    said = {finding.path for finding in inspection.findings if finding.slug == "name-not-opened"}
    assert said == unread
    assert any(finding.undecided for finding in inspection.findings)


@pytest.mark.parametrize(
    "name",
    [
        *("con", "PRN", "Aux", "NUL", "COM1", "lpt9", "COM\u00b9", "conin$", "CONOUT$"),
        *("nul.txt", "NUL.tar.gz", "con .txt", "aux:stream"),
        *("APP.BIN.", "APP.BIN ", "APP.BIN. .", "APP.BIN:hidden", "...", " "),
    ],
)
def test_names_that_mean_something_else(name: str) -> None:
    assert means_something_else(name)


@pytest.mark.parametrize(
    "name",
    ["APP.BIN", "CONFIG.BIN", "NULL", "COM", "COM10", "LPT", ".NUL", "a.con", "xnul", ".x", "aux1"],
)
def test_names_that_mean_themselves(name: str) -> None:
    assert not means_something_else(name)


@given(st.text())
def test_any_name_is_one_or_the_other(name: str) -> None:
    assert means_something_else(name) in (True, False)


def test_such_names_are_opened_where_they_mean_themselves(tmp_path: Path) -> None:
    (tmp_path / "NUL").write_bytes(b"a file")
    (tmp_path / "APP.BIN.").write_bytes(b"another")
    for way in (MountedFolder, FolderByPath):
        card = way(tmp_path)
        assert b"".join(bytes(block) for block in card.blocks((b"NUL",))) == b"a file"
        assert b"".join(bytes(block) for block in card.blocks((b"APP.BIN.",))) == b"another"


def test_accents_are_put_together_where_the_system_takes_them_apart(
    fs: FakeFilesystem, monkeypatch: pytest.MonkeyPatch
) -> None:
    fs.os = OSType.MACOS
    monkeypatch.setattr("cardprep.medium.folder.read_on", plainly)
    monkeypatch.setattr("sys.platform", "darwin")
    apart = unicodedata.normalize("NFD", "Über/Märchen.bin")
    fs.create_file(f"/Volumes/CARD/{apart}", contents="x")
    inspection = inspect_folder(FolderByPath(Path("/Volumes/CARD")))
    (file,) = inspection.files
    assert file.path == ("Über", "Märchen.bin")
    assert inspection.folders == (("Über",),)
    assert file.digests is not None
    assert inspection.unseen == (*UNSEEN, NAMES)


def test_letter_case_means_nothing_there(fs: FakeFilesystem) -> None:
    fs.os = OSType.MACOS
    fs.create_file("/Volumes/CARD/App_430.bin", contents="x")
    fs.create_file("/Volumes/CARD/other.bin", contents="x")
    card = FolderByPath(Path("/Volumes/CARD"))
    assert [entry.path for entry in card.entries()] == [(b"App_430.bin",), (b"other.bin",)]
    assert Path("/volumes/card/APP_430.BIN").exists()


def test_elsewhere_names_are_shown_as_they_are(tmp_path: Path) -> None:
    apart = unicodedata.normalize("NFD", "Märchen.bin")
    (tmp_path / apart).write_bytes(b"x")
    inspection = inspect_folder(MountedFolder(tmp_path))
    assert inspection.files[0].path == (apart,)
    assert inspection.unseen == UNSEEN
