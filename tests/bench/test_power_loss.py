"""Power lost in the middle of a `write` command, with all that was not flushed: the log stays true.

Shop, settings and card are on an ext4 file system on a disk that forgets
(tests/forgetful.py). The power is cut before and after each flush there is, and
after writes between them; of what was not flushed nothing, all or a seeded part
is kept. Then the journal is replayed, as at the next morning's start, and log and
card are held against what the command had said to be kept. The same command must
then end the job, and lose nothing when the power goes again as it ends.

What is acknowledged is told by the command itself, after each record and
checkpoint that the log returned as kept. It is told outside of the disk.
"""

from __future__ import annotations

import hashlib
import os
import shutil
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from itertools import islice
from pathlib import Path

import pytest

from cardprep.bench.check import check_card
from cardprep.bench.jobs import find_stage
from cardprep.bench.open import Bench, Place, open_bench
from cardprep.bench.prove import verify
from cardprep.bench.records import BEGUN
from cardprep.errors import OWN_FAULT, CardprepError
from cardprep.findings import Verdict
from cardprep.layout.build import lay_out
from cardprep.progress import Cancel, silent
from cardprep.terms import MIB
from scripts.demo_files import DISPLAYS_AND_MODELS
from tests.bench.evening import JOB, STAGE, Said, environment, planned_evening, whole, write_told
from tests.forgetful import SYSTEM, Cut, ForgetfulDisk

NUMBER = 7
DISK_SIZE = 40 * MIB
MOST = 400
NEVER = Cut(when="never")
# A small journal, and nothing that the kernel does later, behind the test's back.
FORMAT = ("mkfs.ext4", "-q", "-F", "-b", "4096", "-J", "size=4", "-O", "^resize_inode")
AT_ONCE = ("-E", "nodiscard,lazy_itable_init=0,lazy_journal_init=0")

# Faults: the log does not wait for the disk, nor does what brings files to it.
HASTY_LOG = """
import sqlite3
class Hasty(sqlite3.Connection):
    def execute(self, statement, *values):
        return super().execute(statement.replace("= FULL", "= OFF"), *values)
connect = sqlite3.connect
sqlite3.connect = lambda *given, **named: connect(*given, **named, factory=Hasty)
"""
HASTY_CARD = "os.fsync = os.fdatasync = lambda descriptor: None\n"

UNKNOWN = "the card was changed, and the log knows of no intent"
UNTRUE = "a record says done, and the card is not"

SMALL = DISPLAYS_AND_MODELS.replace(
    'largest_card = "32 GB"', 'largest_card = "32 GB"\nvolume_size = "16 MiB"'
)
# A card whose file is made by the command, and one of zeros that are on the disk already: it
# alone is changed in its place, so that a part of what was written can be seen.
NEW, BLANK = "new.img", "blank.img"
# Where the power goes, and which share of the unflushed sectors is kept, in turn. Nothing kept
# before a flush leaves what a cut after the flush before it leaves, with more acknowledged; all
# kept before a flush leaves what a cut after it leaves, with less acknowledged.
POINTS = (
    pytest.param(NEW, "before flush", (0.0,), id="before each flush, nothing kept"),
    pytest.param(BLANK, "before flush", (0.5, 0.9, 0.1), id="before each flush, some kept"),
    pytest.param(BLANK, "after flush", (0.0,), id="after each flush"),
    pytest.param(BLANK, "after write", (0.5, 1.0, 0.9, 0.1), id="between flushes"),
)


@dataclass(frozen=True)
class Morning:
    """What is there when the power is back.

    came   whether the power went before the command had ended
    found  what is not as was promised
    """

    came: bool
    said: Said
    found: list[str]


@contextmanager
def mounted(platter: Path, folder: Path, above: Path) -> Iterator[ForgetfulDisk]:
    """Give a disk with its file system mounted `above`; it is without power in the end.

    The loop device between them goes when the mount goes.
    """
    with ForgetfulDisk(platter, folder / "disk", above) as disk:
        command = ["mount", "-t", "ext4", "-o", "loop,errors=remount-ro,nodiscard"]
        subprocess.run([*command, str(folder / "disk"), str(above)], env=SYSTEM, check=True)
        yield disk


@dataclass(frozen=True)
class Desk:
    """A formatted disk with a planned job, as it is before the power is lost.

    start  a platter with it
    begun  the lines of the log
    name   of the card's image file, which is on the disk too
    """

    folder: Path
    start: Path
    place: Place
    begun: tuple[bytes, ...]
    name: str = NEW

    @property
    def above(self) -> Path:
        """Where the disk's file system is mounted."""
        return self.place.shop.parent

    @property
    def card(self) -> Path:
        """The card."""
        return self.above / self.name

    @property
    def platter(self) -> Path:
        """What survives."""
        return self.folder / "platter"

    @contextmanager
    def disk(self, cut: Cut) -> Iterator[ForgetfulDisk]:
        """Give the disk, mounted and armed."""
        with mounted(self.platter, self.folder, self.above) as disk:
            disk.arm(cut)
            yield disk

    @contextmanager
    def looked_at(self) -> Iterator[Bench]:
        """Give the bench as the platter has it; on a copy, so that a look changes nothing."""
        copy = self.folder / "copy"
        shutil.copyfile(self.platter, copy)
        with mounted(copy, self.folder, self.above), open_bench(self.place) as bench:
            yield bench

    def broken_off(self, cut: Cut, fault: str = "") -> Morning:
        """Run the command while the power goes, and look at what is left the next morning."""
        with self.disk(cut) as disk:
            said = write_told(self.place, self.card, NUMBER, self.folder, fault)
            came = bool(disk.state()["dead"])
        with self.looked_at() as bench:
            found = violations(bench, self.card, NUMBER, said, self.begun)
        return Morning(came, said, found)

    def every(self, when: str, keep: tuple[float, ...], fault: str = "") -> Iterator[Morning]:
        """Give the morning after each cut of a kind; the last is that of a run without one."""
        # Writes are many, and every second one is enough.
        for turn, at in enumerate(range(1, MOST, 2 if when == "after write" else 1)):
            shutil.copyfile(self.start, self.platter)
            cut = Cut(when=when, count=at, keep=keep[turn % len(keep)], seed=at)
            morning = self.broken_off(cut, fault)
            yield morning
            if not morning.came:
                return
        pytest.fail("the command flushes and writes more often than is tried")

    def end(self) -> None:
        """See that the same command ends the job, also when the power goes as it ends."""
        morning = self.broken_off(NEVER)
        assert morning.said.status == 0, morning
        assert not morning.found


@pytest.fixture(scope="module")
def desk(tmp_path_factory: pytest.TempPathFactory) -> Desk | None:
    """Return None to whoever may not mount."""
    if os.geteuid() != 0:
        return None
    folder = tmp_path_factory.mktemp("power")
    above, start = folder / "mounted", folder / "start"
    above.mkdir()
    (folder / "disk").touch()
    start.touch()
    os.truncate(start, DISK_SIZE)
    subprocess.run([*FORMAT, *AT_ONCE, str(start)], env=SYSTEM, check=True)
    with mounted(start, folder, above):
        place = planned_evening(above, folder / "downloads", displays_and_models=SMALL)
        with open_bench(place) as bench:
            begun = tuple(bench.log.lines())
            (above / BLANK).write_bytes(bytes(card_size(bench)))
        subprocess.run(["umount", str(above)], env=SYSTEM, check=True)
    return Desk(folder, start, place, begun)


def card_size(bench: Bench) -> int:
    """Return the bytes of the job's card."""
    return lay_out(find_stage(bench, JOB, STAGE)[1]).card_size


def violations(
    bench: Bench, card: Path, number: int, said: Said, begun: tuple[bytes, ...]
) -> list[str]:
    """Return all that is not as was promised, once the power is back."""
    try:
        verify(bench)
    except CardprepError as error:
        return [f"the log does not verify: {error}"]
    found = []
    lines = tuple(bench.log.lines())
    if lines[: len(begun)] != begun:
        found.append("records from before are not there")
    sealed = {checkpoint.size for checkpoint in bench.log.checkpoints()}
    for word, at in said.acknowledged:
        if not (at < len(lines) if word == "record" else at in sealed):
            found.append(f"{word} {at} was acknowledged and is not there")
    records = bench.log.find("card", str(number))
    kinds = [record.kind for record in records]
    on_card = card.read_bytes() if card.exists() else b""
    if on_card.strip(b"\0") and BEGUN not in kinds:
        found.append(UNKNOWN)
    done = [record for record in records if record.body.get("outcome") == "done"]
    for record in done:
        length, sha256 = record.body["length"], record.body["sha256"]
        assert isinstance(length, int)
        if hashlib.sha256(on_card[:length]).hexdigest() != sha256 or not whole(bench, card):
            found.append(UNTRUE)
    if on_card:
        checked = check_card(bench, card, progress=silent, cancel=Cancel())
        if checked.judgement.verdict is Verdict.USE and not whole(bench, card):
            found.append("the card is called good and is not")
    if said.status == 0 and not done:
        found.append("the command ended well, and the log does not know it")
    return found


@pytest.mark.oracle
@pytest.mark.parametrize(("card", "when", "keep"), POINTS)
def test_what_was_not_flushed_is_lost_and_the_log_stays_true(
    desk: Desk | None, card: str, when: str, keep: tuple[float, ...]
) -> None:
    if desk is None:
        return
    desk = replace(desk, name=card)
    for cuts, morning in enumerate(desk.every(when, keep)):
        assert not morning.found, cuts
        desk.end()
    # Intent, card, outcome and checkpoint are flushed, and so is the end of the log.
    assert cuts >= 5


@pytest.mark.oracle
def test_the_power_goes_again_when_the_same_command_runs_again(desk: Desk | None) -> None:
    if desk is None:
        return
    desk = replace(desk, name=BLANK)
    for cuts, morning in enumerate(desk.every("before flush", (0.5,))):
        assert not morning.found, cuts
        again = Cut(when="after write", count=cuts + 2, keep=0.5, seed=cuts)
        assert not desk.broken_off(again).found, cuts
        desk.end()


@pytest.mark.oracle
def test_log_verify_is_content_after_a_power_loss(desk: Desk | None) -> None:
    if desk is None:
        return
    shutil.copyfile(desk.start, desk.platter)
    assert desk.broken_off(Cut(when="before flush", count=8, keep=0.5)).came
    with desk.disk(NEVER):
        command = [sys.executable, "-m", "cardprep", "--shop", str(desk.place.shop)]
        home = environment(desk.place, desk.folder)
        verified = subprocess.run([*command, "log", "verify"], env=home, check=False)
    assert verified.returncode == 0


@pytest.mark.oracle
def test_a_disk_that_takes_nothing_any_more_is_refused(desk: Desk | None) -> None:
    """A disk that fails is no fault of the program's."""
    if desk is None:
        # Only root can mount.
        return
    # The image file is made before the third flush.
    mornings = islice(desk.every("before flush", (0.0,)), 4)
    statuses = [morning.said.status for morning in mornings]
    assert OWN_FAULT not in statuses


@pytest.mark.oracle
@pytest.mark.parametrize(
    ("fault", "expected"),
    [
        pytest.param(HASTY_LOG, UNKNOWN, id="the log does not wait"),
        pytest.param(HASTY_LOG + HASTY_CARD, "record 6", id="nothing waits"),
    ],
)
def test_a_command_that_does_not_wait_for_the_disk_is_found_out(
    desk: Desk | None, fault: str, expected: str
) -> None:
    if desk is None:
        return
    # What is written in its place needs no journal to be seen.
    desk = replace(desk, name=BLANK)
    mornings = list(desk.every("after flush", (0.0,), fault))
    assert expected in "\n".join(text for morning in mornings for text in morning.found)


def on_its_own(folder: Path, place: Place, cut: Cut, number: int, fault: str = "") -> Morning:
    """Write a card that is a disk of its own, beside a shop that keeps its power."""
    card, platter = folder / "card", folder / "platter"
    with ForgetfulDisk(platter, card, folder / "nothing") as disk:
        disk.arm(cut)
        said = write_told(place, card, number, folder, fault)
        came = bool(disk.state()["dead"])
    with open_bench(place) as bench:
        return Morning(came, said, violations(bench, platter, number, said, ()))


@pytest.fixture
def beside(tmp_path: Path) -> Place:
    """Return a shop beside which a card's disk can be mounted."""
    place = planned_evening(tmp_path, tmp_path / "downloads", displays_and_models=SMALL)
    (tmp_path / "card").touch()
    with open_bench(place) as bench:
        size = card_size(bench)
    (tmp_path / "platter").touch()
    os.truncate(tmp_path / "platter", size)
    return place


@pytest.mark.oracle
@pytest.mark.parametrize("when", ["before flush", "after flush", "after write"])
def test_a_card_that_forgets_is_never_called_done(tmp_path: Path, beside: Place, when: str) -> None:
    if os.geteuid() != 0:
        return
    for at in range(1, MOST):
        size = (tmp_path / "platter").stat().st_size
        os.truncate(tmp_path / "platter", 0)
        os.truncate(tmp_path / "platter", size)
        cut = Cut(when=when, count=at, keep=(0.0, 0.5, 1.0)[at % 3], seed=at)
        morning = on_its_own(tmp_path, beside, cut, at)
        assert not morning.found, at
        again = on_its_own(tmp_path, beside, NEVER, at)
        assert not again.found, at
        assert again.said.status == 0, again
        if not morning.came:
            break
    assert 1 < at < MOST - 1


@pytest.mark.oracle
def test_a_card_that_is_not_waited_for_is_found_out(tmp_path: Path, beside: Place) -> None:
    if os.geteuid() != 0:
        return
    morning = on_its_own(tmp_path, beside, NEVER, 1, HASTY_CARD)
    assert UNTRUE in morning.found
