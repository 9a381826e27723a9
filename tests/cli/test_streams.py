"""Streams that are closed, full, or left by whoever read them; the exit status gets through."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from cardprep.terms import APPLICATION
from scripts.demo import make_card
from scripts.demo_files import application

ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture(scope="module")
def card(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("streams") / "card.img"
    make_card(path, ((application().name, application().content, APPLICATION),))
    return path


def run(line: str, card: Path) -> int:
    """Run a line of the shell in which $C is the program and $CARD the card."""
    environment = {
        "PATH": os.environ["PATH"],
        "PYTHONPATH": str(ROOT),
        "HOME": str(card.parent),
        "C": f"{sys.executable} -P -m cardprep",
        "CARD": str(card),
    }
    script = f"set -o pipefail; {line}"
    return subprocess.run(
        ["bash", "-c", script], env=environment, check=False, capture_output=True, timeout=60
    ).returncode


@pytest.mark.parametrize(
    ("line", "status"),
    [
        pytest.param("$C check $CARD", 11, id="as usual"),
        pytest.param("$C check $CARD >&-", 11, id="no output"),
        pytest.param("$C check $CARD 2>&-", 11, id="no error output"),
        pytest.param("$C check $CARD <&- >&- 2>&-", 11, id="nothing at all"),
        pytest.param("$C check $CARD | true", 11, id="nobody reads"),
        pytest.param("$C check $CARD --json | head -c 1 >/dev/null", 11, id="somebody had enough"),
        pytest.param("$C check $CARD >/dev/full", 49, id="no room"),
        pytest.param("$C check $CARD --json >/dev/full", 49, id="no room for an object"),
        pytest.param("$C check nosuch 2>/dev/full", 20, id="no room for a refusal"),
        pytest.param("$C check nosuch 2>&-", 20, id="nowhere to refuse to"),
        pytest.param("$C job open <&-", 27, id="nobody to ask"),
        pytest.param("$C write B1 1 x.img <&-", 27, id="nobody to ask for a number"),
        pytest.param("$C --help | true", 0, id="help that nobody reads"),
        pytest.param("$C --help >&-", 0, id="help to nowhere"),
    ],
)
def test_the_status_gets_through(card: Path, line: str, status: int) -> None:
    assert run(line, card) == status


def test_a_card_never_takes_the_place_of_a_closed_stream(card: Path) -> None:
    before = card.read_bytes()
    run("$C check $CARD <&- >&- 2>&-", card)
    run("$C inspect $CARD <&- >&- 2>&-", card)
    assert card.read_bytes() == before
