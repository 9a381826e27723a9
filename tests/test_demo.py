"""The demonstration runs and ends as it says, and others judge the cards that it leaves."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

import pytest

from scripts import demo


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("demo") / "out"


@pytest.fixture(scope="module")
def printed(folder: Path, tmp_path_factory: pytest.TempPathFactory) -> str:
    root = Path(demo.__file__).parents[1]
    done = subprocess.run(
        [sys.executable, "-P", "-m", "scripts.demo", folder],
        env={"PYTHONPATH": str(root), "PATH": "/usr/bin:/bin", "HOME": str(folder.parent)},
        cwd=tmp_path_factory.mktemp("elsewhere"),
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


def test_it_tells_the_three_situations(printed: str) -> None:
    verdicts = re.findall(r"^\[.\] [A-Z ]+$", printed, re.MULTILINE)
    assert verdicts == [
        # written, written, checked twice, and the two exchanged
        *(["[+] USE"] * 4 + ["[X] DO NOT USE"]),
        # handed over: mixed and altered, waypoints, newer, newer and released
        *("[X] DO NOT USE", "[!] USE WITH CARE", "[?] CANNOT SAY", "[!] USE WITH CARE"),
        # the card that came back
        "[X] DO NOT USE",
    ]
    assert "it is no longer as it left the bench" in printed
    assert printed.count("job B1: Saltwhistle") == 2
    assert "outcome, stage 2, card 18: done in part" in printed
    assert "the log is whole" in printed


def test_it_fits_a_terminal(printed: str) -> None:
    """What it prints itself is at most 80 columns wide; commands and paths may be longer."""
    long = [line for line in printed.splitlines() if len(line) > 80]
    assert [line for line in long if not line.startswith("$ ") and "/" not in line] == []


@pytest.mark.parametrize("card", ["card-17.img", "card-18.img"])
def test_the_cards_digest_is_what_anyone_computes(printed: str, folder: Path, card: str) -> None:
    line = re.search(rf"head -c (\d+) \S*{card} \| sha256sum", printed)
    assert line is not None
    announced = re.search(rf"onto card \d+\s+\(\S*{card}\)\n  sha256 ([0-9a-f]{{64}})", printed)
    assert announced is not None
    head = subprocess.run(["head", "-c", line[1], folder / card], capture_output=True, check=True)
    digest = subprocess.run(["sha256sum"], input=head.stdout, capture_output=True, check=True)
    assert digest.stdout.split()[0].decode() == announced[1]


@pytest.mark.parametrize("card", ["card-17.img", "card-18.img"])
def test_the_cards_are_sound_to_others(printed: str, folder: Path, card: str) -> None:
    assert printed
    volume = folder / "volume.img"
    cut = ["dd", f"if={folder / card}", f"of={volume}", "bs=4M", "skip=1", "conv=sparse"]
    subprocess.run(cut, check=True, capture_output=True)
    done = subprocess.run(["fsck.fat", "-n", volume], capture_output=True, text=True, check=False)
    volume.unlink()
    assert done.returncode == 0, done.stdout


def test_its_images_stand_on_its_shelf(printed: str, folder: Path) -> None:
    assert printed
    shelf = sorted(path for path in (folder / "shop" / "shelf").glob("*/*"))
    assert len(shelf) == 2
    lines = "".join(f"{path.name}  {path}\n" for path in shelf)
    done = subprocess.run(
        ["sha256sum", "-c", "--strict"], input=lines, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stdout
