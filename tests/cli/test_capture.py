"""The command ``capture``: what it says, its exit statuses, and the capture as a card."""

from __future__ import annotations

import json
import signal
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from cardprep.bench import capture as bench_capture
from cardprep.cli import capture_command
from cardprep.cli.run import run as run_words
from cardprep.errors import (
    BadValueError,
    CaptureBrokenError,
    CaptureRefusedError,
    NotThereError,
    StoppedError,
)
from cardprep.medium.open import open_card
from cardprep.medium.protocol import Identity, MediumKind
from tests.cards import MIB, MemorySectors, digest
from tests.hostile import hostile_volume


class Capturing:
    """The program, run in this process, where there is no shop."""

    def __init__(self, capsys: pytest.CaptureFixture[str]) -> None:
        self._capsys = capsys

    def run(self, *words: str | Path, command: str = "capture") -> tuple[int, str, str]:
        status = run_words([command, *(str(word) for word in words)])
        said = self._capsys.readouterr()
        return status, said.out, said.err

    def object(self, *words: str | Path, status: int = 0, command: str = "capture") -> Any:  # noqa: ANN401 - whatever JSON holds
        found, said, _ = self.run(*words, "--json", command=command)
        assert found == status
        return json.loads(said)


@pytest.fixture
def program(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> Iterator[Capturing]:
    monkeypatch.setenv("COLUMNS", "300")
    monkeypatch.setenv("CARDPREP_SHOP", str(tmp_path / "no shop"))
    before = signal.getsignal(signal.SIGINT)
    yield Capturing(capsys)
    signal.signal(signal.SIGINT, before)


@pytest.fixture
def card(tmp_path: Path) -> Path:
    path = tmp_path / "card.img"
    path.write_bytes(bytes(hostile_volume().data))
    return path


class Bad(MemorySectors):
    """A card in a native slot, with places that cannot be read."""

    @property
    def identity(self) -> Identity:
        return Identity(
            name="/dev/mmcblk0\x1b[2J",
            kind=MediumKind.BLOCK_DEVICE,
            size=len(self.data),
            sector_size=512,
            cid="aa585951454d552101deadbeef006200",
            serial="01\x1b23",
        )


def put_in(monkeypatch: pytest.MonkeyPatch, reader: Path, medium: MemorySectors) -> None:
    """Let a card be in a reader."""
    reader.write_bytes(b"")
    monkeypatch.setattr(
        bench_capture, "open_card", lambda path: medium if path == reader else open_card(path)
    )


def test_captured_and_read_as_the_card(program: Capturing, card: Path, tmp_path: Path) -> None:
    target = tmp_path / "c.zip"
    status, said, _ = program.run(card, target)
    assert status == 0
    lines = said.splitlines()
    assert lines[0] == f"captured: {target}"
    assert f"  sha256 {digest(target.read_bytes())}" in lines
    assert f"  sha256 {digest(card.read_bytes())}" in lines
    assert "every sector was read" in lines
    assert "not recorded, because there is no shop folder: write its sha256 down" in lines
    assert lines[-3:] == [
        "anyone can check it:",
        f"  unzip {target}",
        "  sha256sum -c --strict SHA256SUMS",
    ]
    status, said, _ = program.run("--verify", target)
    assert (status, said.splitlines()[0]) == (0, f"the capture is whole: {target}")
    assert "recorded" not in said
    one, other = (program.object(path, command="inspect") for path in (card, target))
    assert other["card"].pop("kind") == "capture"
    assert one["card"].pop("kind") == "image file"
    assert other["card"].pop("name") == str(target)
    del one["card"]["name"]
    assert one == other


def test_as_one_object(program: Capturing, card: Path, tmp_path: Path) -> None:
    target = tmp_path / "c.zip"
    found = program.object(card, target)
    assert found["capture"] == {
        "path": str(target),
        "length": target.stat().st_size,
        "sha256": digest(target.read_bytes()),
    }
    assert found["card"]["sha256"] == digest(card.read_bytes())
    assert (found["unreadable"], found["unreadable_bytes"], found["recorded"]) == ([], 0, False)
    assert program.object("--verify", target) == found


def test_unreadable_places_are_listed(
    program: Capturing, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    bad = [(at * 4096, at * 4096 + 512) for at in range(25)]
    put_in(monkeypatch, tmp_path / "reader", Bad(b"x" * MIB, bad=bad))
    status, said, _ = program.run(tmp_path / "reader", tmp_path / "c.zip")
    assert status == 3
    assert "NOT READ: 12800 bytes in 25 places, filled with zeros and marked" in said
    assert "  bytes 4096 to 4607: EIO\n" in said
    assert said.count(": EIO\n") == 20
    assert "  and 5 more; --json lists them all" in said
    assert "  CID aa585951454d552101deadbeef006200" in said
    assert "\x1b" not in said
    assert program.run("--verify", tmp_path / "c.zip")[0] == 3
    found = program.object("--verify", tmp_path / "c.zip", status=3)
    assert (len(found["unreadable"]), found["unreadable_bytes"]) == (25, 12800)


def test_what_was_not_tried_is_said(
    program: Capturing, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    put_in(monkeypatch, tmp_path / "reader", Bad(b"x" * 2 * MIB, bad=[(0, 512)]))
    words = (tmp_path / "reader", tmp_path / "c.zip", "--minutes", "0")
    status, said, _ = program.run(*words)
    assert status == 3
    assert f"  bytes 0 to {MIB - 1}: EIO; not tried sector by sector" in said


def test_refusals(program: Capturing, card: Path, tmp_path: Path) -> None:
    target = tmp_path / "c.zip"
    for words, refusal in (
        ([card, card], CaptureRefusedError),
        ([tmp_path, target], CaptureRefusedError),
        ([tmp_path / "none", target], NotThereError),
        (["--verify", card], CaptureBrokenError),
        (["--verify", card, target], BadValueError),
        ([card], BadValueError),
        ([card, target, "--minutes", "-1"], BadValueError),
        ([card, target, "--minutes", "99999"], BadValueError),
    ):
        status, said, told = program.run(*words)
        assert (status, said) == (refusal.exit_status, ""), words
        assert told.startswith("cardprep: ")
        assert "(" not in told
    assert sorted(path.name for path in tmp_path.iterdir()) == ["card.img"]


@pytest.mark.parametrize("command", ["check", "inspect", "capture"])
def test_an_altered_capture_is_refused_everywhere(
    program: Capturing, card: Path, tmp_path: Path, command: str
) -> None:
    target = tmp_path / "c.zip"
    program.run(card, target)
    whole = target.read_bytes()
    more = ["--verify"] if command == "capture" else []
    for at in (2, 1300, len(whole) - 1, len(whole) - 900):
        altered = bytearray(whole)
        altered[at] ^= 0xFF
        (tmp_path / "altered.zip").write_bytes(altered)
        status, said, told = program.run(*more, tmp_path / "altered.zip", command=command)
        assert (status, said) == (CaptureBrokenError.exit_status, "")
        assert "altered" in told
    (tmp_path / "cut.zip").write_bytes(whole[:-7])
    assert program.run(*more, tmp_path / "cut.zip", command=command)[0] == 51


def test_it_can_be_stopped(
    program: Capturing, card: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def impatient(_what: str) -> Any:  # noqa: ANN401 - a Progress
        def progress(_done: int, _total: int, /) -> None:
            signal.raise_signal(signal.SIGINT)

        return progress

    monkeypatch.setattr(capture_command, "bar", impatient)
    status, _, told = program.run(card, tmp_path / "c.zip")
    assert status == StoppedError.exit_status
    assert told.startswith("cardprep: ")
    assert sorted(path.name for path in tmp_path.iterdir()) == ["card.img"]
