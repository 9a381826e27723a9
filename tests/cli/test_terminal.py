"""Whatever a card holds, a terminal gets it spelled out: tried at a real pseudo-terminal."""

from __future__ import annotations

import fcntl
import json
import os
import pty
import re
import struct
import subprocess
import sys
import termios
import unicodedata
from pathlib import Path

import pytest

from cardprep.bench.open import Place
from tests.bench.evening import environment, planned_evening
from tests.hostile import HOSTILE_NAMES, hostile_volume

# All that the program itself sends besides text: the verdict's colour, and the end of a
# line of progress that is written over.
OWN = re.compile(r"\x1b\[(?:0|1|31|32|33|35)m|\x1b\[K")
COLOURS = {"inspect": 0, "check": 3}


def at_a_terminal(words: list[str], environment: dict[str, str]) -> str:
    """Run the program with all three streams on a pseudo-terminal; return what reached it."""
    ours, theirs = pty.openpty()
    fcntl.ioctl(theirs, termios.TIOCSWINSZ, struct.pack("HHHH", 24, 80, 0, 0))
    with subprocess.Popen(
        [sys.executable, "-m", "cardprep", *words],
        env={**environment, "TERM": "xterm", "LC_ALL": "C.UTF-8"},
        stdin=theirs,
        stdout=theirs,
        stderr=theirs,
        start_new_session=True,
    ):
        os.close(theirs)
        got = bytearray()
        while True:
            try:
                piece = os.read(ours, 65536)
            except OSError:  # how a pseudo-terminal says that the other end is closed
                break
            if not piece:
                break
            got += piece
        os.close(ours)
    return got.decode("utf-8")


def harmful(text: str) -> set[str]:
    """Return the characters that do something on a terminal, or that nobody sees."""
    return {c for c in text if c not in " \r\n" and unicodedata.category(c)[0] in "CZ"}


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory) -> Place:
    folder = tmp_path_factory.mktemp("terminal")
    return planned_evening(folder, folder / "downloads")


@pytest.fixture(scope="module")
def card(tmp_path_factory: pytest.TempPathFactory) -> Path:
    # What a person may have typed is shown as well.
    path = tmp_path_factory.mktemp("cards") / "card\x1b[2J\n[+] USE\u202e.img"
    path.write_bytes(hostile_volume().data)
    return path


@pytest.fixture(scope="module")
def mounted(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("mounted") / "\x1b[2J"
    folder.mkdir()
    for name in HOSTILE_NAMES:
        raw = name.encode("utf-8", "surrogatepass").replace(b"/", b"_")
        with open(os.path.join(os.fsencode(folder), raw), "wb") as file:  # noqa: PTH118, PTH123 - no Path has such a name
            file.write(b"content")
    return folder


@pytest.mark.parametrize("command", ["inspect", "check"])
@pytest.mark.parametrize("what", ["card", "mounted"])
@pytest.mark.parametrize("plain", [False, True], ids=["colour", "NO_COLOR"])
def test_hostile_names_reach_a_terminal_spelled_out_only(
    request: pytest.FixtureRequest, place: Place, command: str, what: str, plain: bool
) -> None:
    target = request.getfixturevalue(what)
    given = environment(place, place.shop.parent) | ({"NO_COLOR": "1"} if plain else {})
    got = at_a_terminal(["--shop", str(place.shop), command, str(target)], given)
    own = OWN.findall(got)
    text = OWN.sub("", got)
    assert not harmful(text), text
    assert len([code for code in own if code != "\x1b[K"]) == (0 if plain else COLOURS[command])
    # Of a folder without any image `check` says just that, and names no file.
    if (command, what) != ("check", "mounted"):
        for wanted in (r"\x1b[2J", r"\x1b[32m", r"\u202egpj.exe", r"\u2066hidden"):
            assert wanted in text
    # Only the program says what to do with the card, and it says it once.
    assert sum(line.lstrip().startswith("[+] USE") for line in text.splitlines()) == 0


@pytest.mark.parametrize("command", ["inspect", "check"])
@pytest.mark.parametrize("what", ["card", "mounted"])
def test_so_they_do_as_an_object(
    request: pytest.FixtureRequest, place: Place, command: str, what: str
) -> None:
    target = request.getfixturevalue(what)
    words = ["--shop", str(place.shop), command, str(target), "--json"]
    got = at_a_terminal(words, environment(place, place.shop.parent))
    text = OWN.sub("", got)
    assert not harmful(text)
    assert text.isascii()
    # Inside its strings nothing harmful stands either, once a program has read it.
    read = json.loads(text[text.index("{") :])
    assert not harmful(json.dumps(read, ensure_ascii=False))


def test_a_refusal_names_a_hostile_name_spelled_out(place: Place, tmp_path: Path) -> None:
    missing = str(tmp_path / "\x1b[31m\u202e\r\n[+] USE")
    for command in ("inspect", "check", "trace"):
        words = ["--shop", str(place.shop), command, missing]
        got = at_a_terminal(words, environment(place, place.shop.parent))
        assert not harmful(got), got
        assert "\x1b" not in got


def test_the_measure_itself_sees_what_would_harm() -> None:
    for name in HOSTILE_NAMES:
        # The program's own colours are counted, and its own lines are looked at by their starts.
        assert harmful(OWN.sub("", name)) or OWN.search(name) or "\n[+] USE" in name, ascii(name)
