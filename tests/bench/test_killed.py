"""Killed at every write, sync and rename of a `write` command: the log stays true.

strace stops the program at the N-th call of a kind, for every N there is, so
that every moment is met and not only the usual ones. The demonstration's second
stage is written each time onto a new card.
"""

from __future__ import annotations

import os
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

import pytest

from cardprep.bench.check import check_card
from cardprep.bench.open import Place, open_bench
from cardprep.bench.prove import verify
from cardprep.findings import Verdict
from cardprep.progress import Cancel, silent
from tests.bench.evening import environment, planned_evening, whole, write_words

# The most frequent call is shared out, so that it does not keep one of two processors waiting.
CALLS = (
    ("pwrite64", 1, 2),
    ("pwrite64", 2, 2),
    ("fsync", 1, 1),
    ("fdatasync", 1, 1),
    ("ftruncate", 1, 1),
    ("rename", 1, 1),
)
KILLED = 137
MOST = 400


@dataclass(frozen=True)
class Evening:
    """A shop with a planned job, and how to write its second stage."""

    place: Place
    folder: Path

    def write(self, card: Path, number: int, *before: str) -> int:
        """Run the command, perhaps under strace; return its exit status."""
        command = [sys.executable, "-m", "cardprep", *write_words(self.place, card, number)]
        done = subprocess.run(
            [*before, *command],
            env=environment(self.place, self.folder),
            stdin=subprocess.DEVNULL,
            capture_output=True,
            check=False,
        )
        return done.returncode

    def killed(self, card: Path, number: int, call: str, when: int) -> bool:
        """Write with a kill at the N-th call; return whether it came to that."""
        inject = f"inject={call}:signal=KILL:when={when}"
        trace = ["strace", "-f", "-o", os.devnull, "-e", f"trace={call}", "-e", inject]
        status = self.write(card, number, *trace)
        assert status in (0, KILLED, -9), status
        return status != 0


@pytest.fixture(scope="module")
def evening(tmp_path_factory: pytest.TempPathFactory) -> Evening:
    folder = tmp_path_factory.mktemp("killed")
    return Evening(planned_evening(folder, folder / "downloads"), folder)


@pytest.mark.oracle
@pytest.mark.parametrize(("call", "first", "step"), CALLS)
def test_killed_at_every_call_the_log_stays_true_and_the_same_command_ends_it(
    evening: Evening, call: str, first: int, step: int
) -> None:
    for when in range(first, MOST, step):
        number = CALLS.index((call, first, step)) * 1000 + when
        card = evening.folder / f"{call}-{when}.img"
        if not evening.killed(card, number, call, when):
            break
        with open_bench(evening.place) as bench:
            verify(bench)
            records = bench.log.find("card", str(number))
            kinds = [record.kind for record in records]
            assert kinds in ([], ["write-begun"], ["write-begun", "write-ended"])
            if card.exists() and card.stat().st_blocks:
                # Not a byte is on a card without an intent in the log.
                assert kinds
            if "write-ended" in kinds:
                assert records[-1].body["outcome"] == "done"
                assert whole(bench, card)
            if card.exists():
                checked = check_card(bench, card, progress=silent, cancel=Cancel())
                good = checked.judgement.verdict is Verdict.USE
                assert not good or whole(bench, card)
        assert evening.write(card, number) == 0, (call, when)
        with open_bench(evening.place) as bench:
            assert whole(bench, card)
        card.unlink()
    else:
        pytest.fail("the command has more calls than are tried")
    assert when > first or call == "rename"
