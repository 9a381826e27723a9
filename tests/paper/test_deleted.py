"""What is left of deleted files on a terminal and in ``--json``; guesses are called so."""

from __future__ import annotations

import hashlib
import json
from pathlib import Path

import pytest

from cardprep.cli.run import run as run_words
from cardprep.terms import MIB
from tests.cards import FatImage, make_volume, run

DATA = b"content of a file" * 5000


@pytest.fixture
def card(tmp_path: Path) -> Path:
    files = tmp_path / "files"
    (files / "SUB").mkdir(parents=True)
    for name in ("A long name.bin", "SHORT.BIN", "EMPTY.BIN", "SUB/INNER.BIN"):
        (files / name).write_bytes(b"" if name == "EMPTY.BIN" else DATA)
    path = tmp_path / "card.img"
    make_volume(path, 8 * MIB, "-F", "16", "-s", "1", files=files)
    run("mdel", "-i", path, "::/A long name.bin", "::/SHORT.BIN", "::/EMPTY.BIN")
    run("mdeltree", "-i", path, "::/SUB")
    return path


def said(capsys: pytest.CaptureFixture[str], *command: str | Path) -> str:
    run_words([str(word) for word in command])
    return capsys.readouterr().out


def test_what_is_left_of_deleted_files(card: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = said(capsys, "inspect", card)
    assert "deleted, what is left of it: 4 files and folders (? is a lost character)\n" in out
    for line in (
        "  - A long name.bin\n",
        "  - ?HORT.BIN\n",
        "  - ?UB/\n",
        "      its clusters are free, so the content may still be there\n",
        "      it had no content\n",
        "to look for what was in them:",
    ):
        assert line in out
    assert hashlib.sha256(DATA).hexdigest() not in out


def test_what_lies_where_they_lay(card: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = said(capsys, "inspect", "--deleted", card)
    assert out.count(f"sha256\n        {hashlib.sha256(DATA).hexdigest()}\n") == 3
    assert out.count("guessed from byte ") == 3
    assert "  - ?UB/?NNER.BIN\n" in out
    assert "to look for what was in them" not in out


def test_all_of_it_as_an_object(card: Path, capsys: pytest.CaptureFixture[str]) -> None:
    found = json.loads(said(capsys, "inspect", "--deleted", "--json", card))["deleted"]
    rows = {row["path"]: row for row in found}
    assert list(rows) == ["A long name.bin", "?MPTY.BIN", "?HORT.BIN", "?UB", "?UB/?NNER.BIN"]
    long = rows["A long name.bin"]
    assert (long["short"], long["name_is_whole"], long["left"]) == ("?LONGN~1.BIN", True, "free")
    (guess,), (content,) = long["guesses"], long["contents"]
    assert (guess["length"], content["offset"]) == (len(DATA), guess["offset"])
    assert content["sha256"] == hashlib.sha256(DATA).hexdigest()
    assert content["container"]["own_checks"] == "unchecked"
    assert rows["?UB"]["is_folder"]
    assert rows["?MPTY.BIN"]["left"] == "empty"
    checked = json.loads(said(capsys, "check", "--deleted", "--json", card))
    assert checked["deleted"] == found


def test_a_part_that_is_left_and_one_that_cannot_be_read(
    card: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    image = FatImage(card.read_bytes())
    first = image.entry_cluster(image.folder_entry("ÕHORT   BIN"))
    image.set_entry(first + 20, 0xFFFF)
    card.write_bytes(image.data)
    out = said(capsys, "inspect", "--deleted", card)
    assert "      part of its clusters is in use again\n" in out
    assert f"        only the first {20 * 512} bytes are looked at\n" in out
