"""Measure how long the program takes to answer, as multiples of a bare Python in the same run.

    .venv/bin/python -P -m scripts.start_up [ROUNDS]

Machines are noisy, so every command runs in turn with the bare interpreter, and
the medians of the ratios are what counts. Nothing is judged here; the limits
printed beside are what the bench asks for: help at once, a card within a blink.
"""

from __future__ import annotations

import os
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from cardprep.terms import APPLICATION
from scripts.demo import make_card
from scripts.demo_files import application
from scripts.demo_files import bootloader as bootloader_file

BARE = [sys.executable, "-I", "-S", "-c", "pass"]


def seconds(command: list[str], environment: dict[str, str]) -> float:
    """Return the wall time of one run."""
    begun = time.perf_counter()
    subprocess.run(command, env=environment, capture_output=True, check=False)
    return time.perf_counter() - begun


def main() -> None:
    """Measure and print."""
    rounds = int(sys.argv[1]) if len(sys.argv) > 1 else 15
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        environment = {**os.environ, "XDG_CONFIG_HOME": name, "CARDPREP_SHOP": f"{name}/shop"}
        program = [sys.executable, "-m", "cardprep"]
        made = ["shop", "new", "--name", "Gannet Slip", "--bench", "B", "--operator", "R. Tarn"]
        subprocess.run([*program, *made], env=environment, check=True, capture_output=True)
        card = folder / "card.img"
        make_card(card, ((application().name, bootloader_file().content, APPLICATION),))
        commands = {
            "--version": ([*program, "--version"], 2.5),
            "--help": ([*program, "--help"], 8.0),
            "check of a small card": ([*program, "check", str(card)], 20.0),
        }
        for what, (command, limit) in commands.items():
            seconds(command, environment)
            ratios = []
            for _ in range(rounds):
                bare = seconds(BARE, environment)
                ratios.append(seconds(command, environment) / bare)
            print(
                f"{what:<24} {statistics.median(ratios):5.1f} times a bare Python"
                f" ({min(ratios):.1f} to {max(ratios):.1f}), asked for: at most {limit}"
            )


if __name__ == "__main__":
    main()
