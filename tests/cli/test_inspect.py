"""The command ``inspect``: what is on a card, held against nothing, harmless whatever it is."""

from __future__ import annotations

import gzip
import hashlib
import json
import os
import signal
import unicodedata
import zipfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from cardprep.bench import inspect as bench_inspect
from cardprep.cli import inspect_command
from cardprep.cli.run import run as run_words
from cardprep.errors import StoppedError
from cardprep.medium.protocol import Identity, MediumKind
from cardprep.paper.inspect import PROBLEMS_SHOWN, SHOWN
from cardprep.progress import Cancel
from tests.cards import MIB, FatImage, MemorySectors, make_volume, run

LARGE = bytes(range(256)) * 300
# Twelve characters each, which take the place of twelve others in a long name.
HOSTILE_NAMES = ("\x1b[2J\x07\u202efdp.ex", "    [+] USE ", "\u2028\ud800\u200b  note  X")


class Inspected:
    """The program, run in this process."""

    def __init__(self, capsys: pytest.CaptureFixture[str]) -> None:
        self._capsys = capsys

    def lines(self, card: Path, status: int = 0) -> str:
        assert run_words(["inspect", str(card)]) == status
        return self._capsys.readouterr().out

    def object(self, card: Path) -> Any:  # noqa: ANN401 - whatever JSON holds
        assert run_words(["inspect", str(card), "--json"]) == 0
        return json.loads(self._capsys.readouterr().out)

    def refused(self, card: Path) -> tuple[int, str]:
        status = run_words(["inspect", str(card)])
        return status, self._capsys.readouterr().err


@pytest.fixture
def program(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> Iterator[Inspected]:
    monkeypatch.setenv("COLUMNS", "80")
    before = signal.getsignal(signal.SIGINT)
    yield Inspected(capsys)
    signal.signal(signal.SIGINT, before)


@pytest.fixture
def card(tmp_path: Path) -> Path:
    files = tmp_path / "files"
    (files / "SUB").mkdir(parents=True)
    (files / "LARGE.BIN").write_bytes(LARGE)
    (files / "GONE.TXT").write_bytes(b"gone")
    (files / "HIDDEN.GZ").write_bytes(gzip.compress(b"packed", mtime=0))
    (files / "SUB" / "BROKEN.GZ").write_bytes(gzip.compress(b"packed", mtime=0)[:-1])
    image = tmp_path / "card.img"
    make_volume(image, 16 * MIB, "-F", "16", "-n", "OWNERS", "-i", "1234abcd", files=files)
    run("mdel", "-i", image, "::/GONE.TXT")
    run("mattrib", "-i", image, "+h", "+s", "+r", "::/HIDDEN.GZ")
    return image


def harmless(text: str) -> bool:
    return all(c == " " or unicodedata.category(c)[0] not in "CZ" for c in text.replace("\n", ""))


def texts(value: Any) -> Iterator[str]:  # noqa: ANN401 - whatever JSON holds
    if isinstance(value, str):
        yield value
    elif isinstance(value, dict | list):
        for part in value.values() if isinstance(value, dict) else value:
            yield from texts(part)


def test_all_that_is_on_a_card(program: Inspected, card: Path) -> None:
    before = card.read_bytes()
    said = program.lines(card)
    for wanted in (
        f"  image file, 16.0 MiB ({16 * MIB} bytes)\n",
        "FAT16, label OWNERS, serial 1234-ABCD\n",
        f"  bytes 0 to {16 * MIB - 1} of the card\n",
        "3 files\n  - HIDDEN.GZ\n",
        ", read-only, hidden, system\n",
        f"      sha256 {hashlib.sha256(LARGE).hexdigest()}\n",
        f"  - LARGE.BIN\n      75.0 KiB ({len(LARGE)} bytes), 20",
        "gzip compressed file; its own checks: hold\n",
        "gzip compressed file; its own checks: fail\n",
        "  - SUB/BROKEN.GZ\n",
        "one folder\n  - SUB/\n",
        "deleted, what is left of it: one file or folder (? is a lost character)\n  - ?ONE.TXT\n",
        "  - ?ONE.TXT\n      4 bytes, 20",
        "      its clusters are free, so the content may still be there\n",
        "to look for what was in them:",
        "without a partition table",
    ):
        assert wanted in said
    for verdict in ("[+]", "[X]", "[?]", "USE"):
        assert verdict not in said
    assert all(len(line) <= 80 or len(line.split()) == 1 for line in said.splitlines()[1:-2])
    assert said.splitlines()[-1].endswith("card.img")
    assert card.read_bytes() == before


def test_all_that_is_on_a_card_as_an_object(program: Inspected, card: Path) -> None:
    found = program.object(card)
    (volume,) = found["volumes"]
    assert (volume["file_system"], volume["label"]) == ("FAT16", "OWNERS")
    assert (volume["serial"], volume["offset"], volume["length"]) == ("1234-ABCD", 0, 16 * MIB)
    files = {file["path"]: file for file in found["files"]}
    assert files.keys() == {"LARGE.BIN", "HIDDEN.GZ", "SUB/BROKEN.GZ"}
    large, hidden, broken = (files[name] for name in ("LARGE.BIN", "HIDDEN.GZ", "SUB/BROKEN.GZ"))
    assert large["sha256"] == hashlib.sha256(LARGE).hexdigest()
    (extent,) = large["extents"]
    start = extent["offset"]
    assert card.read_bytes()[start : start + extent["length"]] == LARGE
    assert hidden["attributes"]["words"] == ["read-only", "hidden", "system", "archive"]
    assert hidden["container"]["own_checks"] == "holds"
    assert broken["container"]["own_checks"] == "broken"
    assert broken["container"]["problems"][0]["said"]
    assert [folder["path"] for folder in found["folders"]] == ["SUB"]
    (deleted,) = found["deleted"]
    assert (deleted["short"], deleted["size"]) == ("?ONE.TXT", 4)
    assert [finding["slug"] for finding in found["findings"]] == ["no-partition-table"]
    assert "verdict" not in found


def test_no_shop_is_made_or_asked(
    program: Inspected, card: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("CARDPREP_SHOP", str(tmp_path / "no shop"))
    program.lines(card)
    assert not (tmp_path / "no shop").exists()


def test_a_terminal_is_not_flooded(program: Inspected, tmp_path: Path) -> None:
    files = tmp_path / "files"
    for number in range(SHOWN + 7):
        (files / f"D{number}").mkdir(parents=True)
        (files / f"{number}.BIN").write_bytes(b"x")
    image = tmp_path / "many.img"
    make_volume(image, 16 * MIB, "-F", "16", files=files)
    said = program.lines(image)
    assert f"{SHOWN + 7} files\n" in said
    assert said.count("sha256 ") == SHOWN
    assert said.count("and 7 more; --json lists them all") == 2
    found = program.object(image)
    assert (len(found["files"]), len(found["folders"])) == (SHOWN + 7, SHOWN + 7)


def hostile_card(folder: Path) -> Path:
    """Make a card with names, a label and a packed name that would harm a terminal."""
    image = folder / "hostile.img"
    files = folder / "files"
    files.mkdir()
    plain = [letter * 12 for letter in ("x", "y", "z")]
    for name in plain:
        (files / name).write_bytes(b"content of " + name.encode())
    with (files / "PACKED.GZ").open("wb") as file:
        file.write(gzip.compress(b"x")[:3] + b"\x08" + bytes(6))
        file.write(b"\x1b[2J\x9b.exe\x00" + gzip.compress(b"x", mtime=0)[10:])
    (files / "GONE.TXT").write_bytes(b"gone")
    make_volume(image, 16 * MIB, "-F", "16", "-n", "OWNERS", files=files)
    run("mdel", "-i", image, "::/GONE.TXT")
    data = FatImage(image.read_bytes())
    for name, hostile in zip(plain, HOSTILE_NAMES, strict=True):
        # A long name stands in pieces of 5, 6 and 2 units; its check is over the short one.
        for at in range(0, 512 * 32, 32):
            piece = data.root + at
            if (
                data.data[piece + 11] == 0x0F
                and name[0].encode("utf-16le") in data.data[piece + 1 : piece + 11]
            ):
                units = hostile.encode("utf-16le", "surrogatepass")
                data.data[piece + 1 : piece + 11] = units[:10]
                data.data[piece + 14 : piece + 26] = units[10:22]
                data.data[piece + 28 : piece + 30] = units[22:24]
    label = data.folder_entry("OWNERS     ")
    data.data[label : label + 6] = b"\x1b[31mX"
    gone = data.data.index(b"\xe5ONE    TXT", data.root)
    data.data[gone + 1 : gone + 5] = b"\x1b[2J"
    image.write_bytes(data.data)
    return image


def test_a_hostile_card_does_no_harm(program: Inspected, tmp_path: Path) -> None:
    card = hostile_card(tmp_path)
    said = program.lines(card)
    assert harmless(said)
    assert r"\x1b[2J\x07\u202efdp.ex" in said
    assert r"\x1b[31mX" in said
    assert "[+] USE" in said
    assert not any(line.startswith(("[+]", "note  X")) for line in said.splitlines())
    found = program.object(card)
    assert len(found["files"]) == 4
    assert all(harmless(text) for text in texts(found))
    assert any(r"\x1b[2J" in str(file["container"]["facts"]) for file in found["files"])
    assert found["deleted"][0]["short"].startswith("?")


def test_a_name_of_blanks_never_begins_a_line(program: Inspected, tmp_path: Path) -> None:
    folder = tmp_path / "folder"
    folder.mkdir()
    (folder / (" " * 100 + "[+] USE")).write_bytes(b"x")
    (folder / (" " * 120 + "note")).mkdir()
    said = program.lines(folder)
    assert "[+] USE" in said
    assert not any(line.startswith(("[+]", "note/")) for line in said.splitlines())


def test_a_hostile_folder_does_no_harm(program: Inspected, tmp_path: Path) -> None:
    folder = tmp_path / "folder"
    folder.mkdir()
    for name in (b"\x1b[2Ja\xff", b"a\nUSE", "\u202egpj.exe".encode()):
        (folder / os.fsdecode(name)).write_bytes(LARGE)
    (folder / "d\x07").mkdir()
    (folder / "link").symlink_to("/etc/hostname")
    os.mkfifo(folder / "pipe")
    said = program.lines(folder)
    assert harmless(said)
    assert said.count(hashlib.sha256(LARGE).hexdigest()) == 3
    assert said.count("could not be read whole") == 2
    assert " UTC\n" in said
    assert "not seen, because the card was looked at as a mounted folder:\n" in said
    assert "  - what was deleted and may still be there\n" in said
    found = program.object(folder)
    assert {one["slug"]: one["said"] for one in found["unseen"]}["unseen.partitions"]
    assert (found["card"]["kind"], found["volumes"]) == ("mounted folder", [])
    assert [one["path"] for one in found["folders"]] == [r"d\x07"]
    assert {finding["slug"] for finding in found["findings"]} == {"folder-only", "not-a-file"}
    assert all(harmless(text) for text in texts(found))


@pytest.mark.parametrize("content", [b"", bytes(MIB), b"\xff" * MIB, b"half a sector"])
def test_a_card_with_nothing_on_it_is_shown_all_the_same(
    program: Inspected, tmp_path: Path, content: bytes
) -> None:
    (tmp_path / "card.img").write_bytes(content)
    said = program.lines(tmp_path / "card.img")
    assert "0 files\n" in said
    assert "STOP" in said


def test_faults_of_the_reader_are_findings(
    program: Inspected, card: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    data = card.read_bytes()
    at = data.index(LARGE[:512]) + 1024
    for bad, lost in (((at, at + 512), 1), ((0, 512), 0)):
        medium = MemorySectors(data, bad=[bad])
        monkeypatch.setattr(bench_inspect, "open_card", lambda _path, medium=medium: medium)
        said = program.lines(card)
        assert said.count("could not be read whole") == lost
        assert "STOP" in said
        assert "read-error" in [one["slug"] for one in program.object(card)["findings"]]


def test_a_damaged_card_is_shown_as_far_as_it_goes(program: Inspected, card: Path) -> None:
    data = FatImage(card.read_bytes())
    data.set_entry(data.first_cluster("LARGE   BIN"), 1)
    card.write_bytes(data.data)
    said = program.lines(card)
    assert "could not be read whole, so it has no digest" in said
    assert "own checks: hold" in said
    assert "STOP" in said


def test_two_volumes_are_told_apart(program: Inspected, tmp_path: Path) -> None:
    card, volume = tmp_path / "two.img", tmp_path / "volume.img"
    files = tmp_path / "files"
    files.mkdir()
    (files / "SAME.BIN").write_bytes(b"x")
    make_volume(volume, 8 * MIB, "-F", "12", files=files)
    with card.open("wb") as file:
        file.truncate(20 * MIB)
        for start in (1, 10):
            file.seek(start * MIB)
            file.write(volume.read_bytes())
    script = "label: dos\nstart=2048,size=16384,type=1\nstart=20480,size=16384,type=1\n"
    run("sfdisk", "--quiet", card, given=script)
    said = program.lines(card)
    assert f"partition 2 (primary): type 01, bytes {10 * MIB} to {18 * MIB - 1}\n" in said
    assert "volume 2:\n" in said
    assert "  - volume 1: SAME.BIN\n" in said
    assert "  - volume 2: SAME.BIN\n" in said
    assert [file["volume"] for file in program.object(card)["files"]] == [1, 2]


class Device(MemorySectors):
    """A card in a reader that tells everything, met through the computer's memory."""

    @property
    def identity(self) -> Identity:
        return Identity(
            name="/dev/sdb",
            kind=MediumKind.BLOCK_DEVICE,
            size=len(self.data),
            sector_size=512,
            disk_sequence=17,
            cid="aa585951454d552101deadbeef006200",
            serial="0123\x1b",
        )

    @property
    def past_the_cache(self) -> bool:
        return False


def test_what_tells_one_card_from_another(
    program: Inspected, card: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    medium = Device(card.read_bytes())
    monkeypatch.setattr(bench_inspect, "open_card", lambda _path: medium)
    said = program.lines(card)
    for wanted in (
        "/dev/sdb\n  block device, 16.0 MiB",
        "  sectors of 512 bytes\n",
        "  CID aa585951454d552101deadbeef006200\n",
        "  USB serial number 0123\\x1b\n",
        "  disk sequence number 17\n",
        "  read through the computer's memory",
    ):
        assert wanted in said
    assert said.endswith("cardprep check /dev/sdb\n")
    found = program.object(card)
    assert (found["card"]["disk_sequence"], found["past_the_cache"]) == (17, False)


def test_of_a_file_with_many_mistakes_the_first_are_named(
    program: Inspected, tmp_path: Path
) -> None:
    with zipfile.ZipFile(tmp_path / "A.ZIP", "w") as archive:
        for number in range(PROBLEMS_SHOWN + 6):
            archive.writestr(f"m{number}", b"content")
    altered = (tmp_path / "A.ZIP").read_bytes().replace(b"content", b"CONTENT")
    (tmp_path / "A.ZIP").write_bytes(altered)
    said = program.lines(tmp_path)
    assert "ZIP archive; its own checks: fail\n" in said
    assert said.count(" has checksum ") == PROBLEMS_SHOWN
    assert "        and 6 more; --json lists them all\n" in said
    (file,) = program.object(tmp_path)["files"]
    assert len(file["container"]["problems"]) > PROBLEMS_SHOWN


def test_files_without_a_time_and_a_card_without_findings(
    program: Inspected, tmp_path: Path
) -> None:
    card, volume = tmp_path / "card.img", tmp_path / "volume.img"
    (tmp_path / "files").mkdir()
    (tmp_path / "files" / "A.BIN").write_bytes(b"x")
    (tmp_path / "files" / "B.BIN").write_bytes(b"x")
    make_volume(volume, 16 * MIB, "-F", "16", "-h", "2048", files=tmp_path / "files")
    run("mdel", "-i", volume, "::/B.BIN")
    data = FatImage(volume.read_bytes())
    for name in (b"A       BIN", b"\xe5       BIN"):
        at = data.data.index(name, data.root)
        data.data[at + 22 : at + 26] = bytes(4)
    card.write_bytes(bytes(MIB) + data.data)
    run("sfdisk", "--quiet", card, given="label: dos\nstart=2048,type=6\n")
    said = program.lines(card)
    assert said.count("1 bytes, no time\n") == 2
    assert "nothing out of order was seen\n" in said
    assert program.object(card)["findings"] == []


def test_what_cannot_be_opened_is_refused(program: Inspected, tmp_path: Path) -> None:
    for name in (tmp_path / "none.img", Path("/dev/null"), tmp_path / "a\x1b[2J"):
        status, said = program.refused(name)
        assert status == 20
        assert harmless(said)
        assert said.startswith("cardprep: ")


def test_it_can_be_stopped(program: Inspected, card: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    told: list[int] = []

    def impatient(_what: str) -> Any:  # noqa: ANN401 - a Progress
        def progress(done: int, _total: int, /) -> None:
            told.append(done)
            signal.raise_signal(signal.SIGINT)

        return progress

    monkeypatch.setattr(inspect_command, "bar", impatient)
    status, said = program.refused(card)
    assert status == StoppedError.exit_status
    assert said.startswith("cardprep: ")
    assert len(told) == 1


def test_a_wish_to_stop_before_the_first_file(
    program: Inspected, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "a").write_bytes(b"x")
    cancel = Cancel()
    cancel.ask()
    monkeypatch.setattr(inspect_command, "stoppable", lambda: cancel)
    assert program.refused(tmp_path)[0] == StoppedError.exit_status
