"""Names: what systems leave, and what copies and browsers make of a name."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cardprep.rules.names import (
    base_name,
    ending,
    is_companion,
    is_system_file,
    meant_names,
    system_folder,
)


# Common practice, no published source.
@pytest.mark.parametrize(
    ("path", "folder"),
    [
        ("System Volume Information/IndexerVolumeGuid", "System Volume Information"),
        ("SYSTEM VOLUME INFORMATION/WPSettings.dat", "SYSTEM VOLUME INFORMATION"),
        (".Spotlight-V100/Store-V2/store.db", ".Spotlight-V100"),
        (".fseventsd/fseventsd-uuid", ".fseventsd"),
        (".Trashes/501/APP.BIN", ".Trashes"),
        (".Trash-1000/files/APP.BIN", ".Trash-1000"),
        ("$RECYCLE.BIN/desktop.ini", "$RECYCLE.BIN"),
        ("LOST.DIR/1", "LOST.DIR"),
        ("lost+found/#12", "lost+found"),
        ("FOUND.000/FILE0000.CHK", "FOUND.000"),
        ("FOUND.017/FILE0000.CHK", "FOUND.017"),
        ("charts/.Trash-0/x", "charts/.Trash-0"),
        ("APP.BIN", None),
        ("LOST.DIR", None),
        ("FOUND.0000/x", None),
        (".Trash-bin/x", None),
        ("System Volume Information 2/x", None),
        ("found/x", None),
    ],
)
def test_folders_that_systems_keep(path: str, folder: str | None) -> None:
    found = system_folder(tuple(path.split("/")))
    assert found == (None if folder is None else tuple(folder.split("/")))


# Common practice, no published source.
@pytest.mark.parametrize(
    ("name", "is_left"),
    [
        *((name, True) for name in (".DS_Store", "THUMBS.DB", "desktop.ini", "FSCK0000.REC")),
        *((name, True) for name in ("IndexerVolumeGuid", "BOOTEX.LOG", ".nomedia")),
        *((name, False) for name in ("autorun.inf", "FSCK.REC", "APP.BIN", "DS_Store", "._x")),
    ],
)
def test_files_that_systems_write(name: str, is_left: bool) -> None:
    assert is_system_file(name) is is_left


def test_companions() -> None:
    assert is_companion("._APP.BIN")
    assert not is_companion("._")
    assert not is_companion(".APP.BIN")
    assert base_name("._APP.BIN") == "APP.BIN"
    assert base_name("APP.BIN") == "APP.BIN"


@pytest.mark.parametrize(
    ("name", "end"),
    [
        ("APP.BIN", "bin"),
        ("a.b.S37", "s37"),
        ("._APP.Bin", "bin"),
        ("._APP", ""),
        ("APP", ""),
        (".bin", ""),
        ("APP.", ""),
    ],
)
def test_how_names_end(name: str, end: str) -> None:
    assert ending(name) == end


# Common practice, no published source.
@pytest.mark.parametrize(
    "name",
    [
        *("APP_430 (1).BIN", "APP_430(2).BIN", "app_430 (117).bin"),
        *("APP_430 - Copy.BIN", "APP_430 - Copy (2).BIN", "APP_430 copy.BIN", "APP_430 copy 2.BIN"),
        *("APP_430_copy.BIN", "APP_430 - Kopie.BIN", "APP_430 - Copie.BIN", "APP_430 copia.BIN"),
        *("Copy of APP_430.BIN", "Kopie von APP_430.BIN", "Copy of APP_430 (1).BIN"),
        *("APP_430.BIN.crdownload", "APP_430.BIN.part", "APP_430.BIN.txt", "APP_430.BIN.bin"),
        *("APP_430 (1).BIN.part", "APP_430.BIN.download", "APP_430.BIN.tmp"),
    ],
)
def test_names_that_copies_and_browsers_make(name: str) -> None:
    assert "app_430.bin" in meant_names(name)


@pytest.mark.parametrize(
    "name",
    [
        *("APP_430.BIN", "APP_430.ZIP", "APP_430.OLD.BIN", "APP_430 (1234).BIN", "NEW APP_430.BIN"),
        *("APP_430.BIN.zip", "APP_430 (1)x.BIN", "COPY.BIN", "(1).BIN", ".part", ""),
    ],
)
def test_names_that_mean_themselves(name: str) -> None:
    assert "app_430.bin" not in meant_names(name)
    assert "" not in meant_names(name)


@given(st.text(max_size=40))
def test_any_name_can_be_looked_at(name: str) -> None:
    assert all(len(meant) < len(name.casefold()) for meant in meant_names(name))
    for path in ((name,), (name, name)):
        found = system_folder(path)
        assert found is None or len(found) < len(path)
    assert len(ending(name)) <= len(name.casefold())
