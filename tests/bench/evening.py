"""An evening at the bench for tests that break it off: a planned job, and the command that writes.

The shop, its files and the vessel are the demonstration's, which are invented.
"""

from __future__ import annotations

import os
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

from cardprep.bench.intake import take_in
from cardprep.bench.jobs import Visit, find_stage, open_job, plan_job
from cardprep.bench.open import Bench, Place, new_shop, open_bench
from cardprep.bench.sign import sign_manifest
from cardprep.cli import words
from cardprep.job.visit import Display, JobName, Vessel
from cardprep.layout.build import lay_out
from cardprep.layout.compare import Comparison
from cardprep.progress import Cancel, silent
from cardprep.sshsig import PrivateKey
from scripts.demo_files import DISPLAYS_AND_MODELS, write_files
from tests.bench.conftest import SEED, Clock, app_facts, boot_facts

JOB = JobName("B", 1)
STAGE = 2
SECONDS = 30

# The command as ever, but that it tells what the log acknowledged.
TELLING = """
import os, sys
from cardprep.shoplog.sqlite import SqliteLog

def telling(kept, word):
    def keep(*given, **named):
        result = kept(*given, **named)
        os.write(told, f"{word(result)}\\n".encode())
        return result
    return keep

told = int(sys.argv.pop(1))
SqliteLog.append = telling(SqliteLog.append, lambda record: f"record {record.sequence}")
SqliteLog.add_checkpoint = telling(SqliteLog.add_checkpoint, lambda kept: f"sealed {kept.size}")
"""
RUN = """
from cardprep.cli.run import run
sys.exit(run(sys.argv[1:]))
"""


def planned_evening(
    folder: Path, downloads: Path, *, displays_and_models: str = DISPLAYS_AND_MODELS
) -> Place:
    """Make a shop and its user's settings in `folder`, with a job that is opened and planned.

    downloads  a folder that is not there yet, for the makers' files
    """
    place = Place(
        shop=folder / "shop",
        settings=folder / "settings" / "cardprep",
        agent_socket=None,
        version="0",
        clock=Clock(),
    )
    new_shop(place, name="Gannet Slip", bench="B", operator="R. Tarn", key=PrivateKey(SEED))
    manifest = place.shop / "manifest.toml"
    manifest.write_text(manifest.read_text("utf-8") + displays_and_models, "utf-8")
    boot, app = write_files(downloads)
    with open_bench(place, "test") as bench:
        take_in(bench, boot, boot_facts(), silent, Cancel())
        take_in(bench, app, app_facts(), silent, Cancel())
        sign_manifest(bench)
    with open_bench(place, "test") as bench:
        unit = words.unit("model=OV-V40; role=main radio; handset=none; wants application=4.30")
        vessel, display = Vessel(name="Saltwhistle"), Display(model="OV-D9")
        open_job(bench, Visit(vessel=vessel, display=display, units=(unit,)))
        plan_job(bench, JOB)
    return place


def write_words(place: Place, card: Path, number: int) -> list[str]:
    """Return the words of the command that writes the job's second stage."""
    begin = ["--shop", str(place.shop), "write", str(JOB), str(STAGE)]
    return [*begin, str(card), "--number", str(number)]


def environment(place: Place, home: Path) -> dict[str, str]:
    """Return the environment of a command at this bench."""
    return {
        "PATH": os.environ["PATH"],
        "HOME": str(home),
        "XDG_CONFIG_HOME": str(place.settings.parent),
        "PYTHONDONTWRITEBYTECODE": "1",
    }


@dataclass(frozen=True)
class Said:
    """How a command ended, and what the log had acknowledged to it."""

    status: int
    acknowledged: tuple[tuple[str, int], ...]
    errors: str


def write_told(place: Place, card: Path, number: int, home: Path, fault: str = "") -> Said:
    """Run the command that writes, and return what it said.

    home   for reports of faults of the program
    fault  lines of Python that are run before it, to show that their fault is found
    """
    command = [sys.executable, "-c", TELLING + fault + RUN]
    ours, theirs = os.pipe()
    with os.fdopen(ours, encoding="ascii") as told:
        try:
            done = subprocess.run(
                [*command, str(theirs), *write_words(place, card, number)],
                env={**environment(place, home), "TMPDIR": str(home)},
                stdin=subprocess.DEVNULL,
                capture_output=True,
                text=True,
                timeout=SECONDS,
                pass_fds=(theirs,),
                check=False,
            )
        finally:
            os.close(theirs)
        lines = [line.split() for line in told]
    acknowledged = tuple((word, int(number)) for word, number in lines)
    return Said(done.returncode, acknowledged, done.stderr)


def whole(bench: Bench, card: Path) -> bool:
    """Return whether a card's file holds the stage, byte for byte."""
    layout = lay_out(find_stage(bench, JOB, STAGE)[1])
    comparison = Comparison(layout)
    with card.open("rb") as file:
        comparison.feed(file.read(layout.length))
    compared = comparison.result()
    return compared.complete and not compared.differences
