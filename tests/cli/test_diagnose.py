"""The command ``diagnose`` by its words, as an engineer gives them."""

from __future__ import annotations

import io
import json
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cardprep.bench.diagnose_told import spoken_in, told
from cardprep.cli.diagnose_words import saw
from cardprep.cli.run import run
from cardprep.errors import CardprepError
from cardprep.texts.catalogue import refusal
from tests.bench.evening import planned_evening
from tests.vessel.evenings import evening, radio, shelf
from tests.vessel.visits import job

EVENING = evening()

TELEPHONE = (
    "model=OV-V40; role=main radio; handset=OV-H4; has bootloader=3.02; has application=4.17;"
    "handset has application=2.30; wants application=4.30"
)
VISIT = ("--vessel", "Saltwhistle", "--display", "OV-D9", "--unit", TELEPHONE)
LEFT_BEHIND = ("--saw", "1; state=running; application=4.30; handset=blank")


@pytest.fixture
def shop(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> str:
    place = planned_evening(tmp_path, tmp_path / "downloads")
    monkeypatch.setenv("XDG_CONFIG_HOME", str(place.settings.parent))
    return str(place.shop)


PIECES = ["1", "stage 2", "display", "visit", ";", "=", "state", "shown", "handset", "dark", "4.30"]


@given(st.lists(st.sampled_from(PIECES) | st.text(max_size=8), max_size=8).map(" ".join))
def test_any_words_are_read_or_refused(text: str) -> None:
    opened, shelf_ = job(radio()), shelf()
    try:
        read = saw(text)
        list(spoken_in(opened, shelf_, [read]))
        told(EVENING, opened, [read])
    except CardprepError as error:
        # What cannot be printed would raise here.
        refusal(error).message.encode("utf-8")


def test_on_the_telephone(shop: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["--shop", shop, "diagnose", *VISIT, *LEFT_BEHIND]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "no job of ours" in said
    assert "1. the handset of the main radio was not in its programming mode" in said
    assert "that damages nothing" in said


def test_as_an_object(shop: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["--shop", shop, "diagnose", "--job", "B1", *LEFT_BEHIND, "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert found["job"] == "B1"
    assert found["explained"] is True


def test_asked_one_question_after_the_other(
    shop: str, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    # Don't know; a word that is no number; then that the sign was seen only after the start.
    monkeypatch.setattr("sys.stdin", io.StringIO("perhaps\n2\n"))
    assert run(["--shop", shop, "diagnose", *VISIT, *LEFT_BEHIND, "--ask"]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "4 explanations left" in said
    assert "a number from 0 to 3, please" in said
    assert "one explanation: 1. the handset of the main radio was put into" in said


def test_asked_with_nothing_told(
    shop: str, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("sys.stdin", io.StringIO("\n" * 40))
    assert run(["--shop", shop, "diagnose", *VISIT, "--ask"]) == 0
    assert "nothing was told yet" in capsys.readouterr().out


def test_the_summary_goes_into_a_new_file(
    shop: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    command = ["--shop", shop, "diagnose", *VISIT, *LEFT_BEHIND]
    file = tmp_path / "summary.txt"
    assert run([*command, "--summary", str(file)]) == 0
    text = file.read_text("utf-8")
    assert text.startswith("SUMMARY FOR THE MAKER'S SUPPORT\n")
    assert "Saltwhistle" in text
    assert run([*command, "--summary", str(file)]) == 27
    assert file.read_text("utf-8") == text
    capsys.readouterr()
    assert run([*command, "--for-maker"]) == 0
    assert "WHAT WE BELIEVE" in capsys.readouterr().out


@pytest.mark.parametrize(
    "words",
    [(), ("--job", "B1", *VISIT), ("--vessel", "Saltwhistle"), ("--job", "B1", "--card", "x")],
)
def test_what_cannot_be_meant(shop: str, words: tuple[str, ...]) -> None:
    assert run(["--shop", shop, "diagnose", *words]) == 27
