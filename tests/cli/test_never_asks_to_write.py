"""Looking at a card never asks for write access to it: every system call is looked at."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

from cardprep.bench.open import Place
from tests.bench.evening import JOB, STAGE, environment, planned_evening, write_words
from tests.cards import ENVIRONMENT, run
from tests.hostile import hostile_volume

# All calls that open, make, change or remove a file, by its name or by an open descriptor.
CALLS = (
    "%file",
    *("ftruncate", "fallocate", "write", "pwrite64", "writev", "pwritev", "pwritev2"),
    *("copy_file_range", "sendfile", "splice", "fchmod", "fchown", "futimesat", "fsetxattr"),
    *("fremovexattr", "io_uring_setup", "mmap"),
)
# Of those, calls that only look.
LOOKING = re.compile(
    r"^(?:stat|lstat|newfstatat|statx|access|faccessat2?|readlink|readlinkat|getcwd|chdir"
    r"|statfs|getxattr|lgetxattr|listxattr|execve|inotify_add_watch|name_to_handle_at)\("
)
OPENING = re.compile(r"^(?:open|openat|openat2)\(")
MAPPING = re.compile(r"^mmap\(")
WRITING = re.compile(r"\bO_(?:WRONLY|RDWR|CREAT|TRUNC|APPEND|TMPFILE)\b")
SHARED_AND_WRITABLE = re.compile(r"PROT_WRITE.*MAP_SHARED")
SAID_BEFORE = re.compile(r"^(?:\[pid +\d+\] |\d+ +)?")


def asks_to_write(line: str) -> bool:
    """Whether a line of the trace is a call that could change what it names."""
    call = SAID_BEFORE.sub("", line, count=1)
    if LOOKING.match(call) or call.startswith(("+++", "---", "<...")):
        return False
    if OPENING.match(call):
        return WRITING.search(call) is not None
    if MAPPING.match(call):
        return SHARED_AND_WRITABLE.search(call) is not None
    return True


@dataclass(frozen=True)
class Traced:
    """The program under strace, at a bench with a planned job."""

    place: Place
    folder: Path

    def lines(self, *words: str, statuses: tuple[int, ...] = (0,)) -> list[str]:
        """Run a command; return the calls that it made."""
        said = self.folder / "trace"
        # Names of files are told in full all the same; what is written may name the card too.
        options = ["-f", "-y", "-s", "0", "-o", str(said), "-e", f"trace={','.join(CALLS)}"]
        done = subprocess.run(
            ["strace", *options, sys.executable, "-m", "cardprep", *words],
            env=environment(self.place, self.folder),
            stdin=subprocess.DEVNULL,
            capture_output=True,
            text=True,
            check=False,
            timeout=120,
        )
        assert done.returncode in statuses, done.stderr
        lines = said.read_text("utf-8", "replace").splitlines()
        assert len(lines) > 100
        return lines


@pytest.fixture(scope="module")
def traced(tmp_path_factory: pytest.TempPathFactory) -> Traced:
    tried = subprocess.run(["strace", "-o", os.devnull, "true"], capture_output=True, check=False)
    if tried.returncode:
        pytest.skip("this system does not let a program be traced")
    folder = tmp_path_factory.mktemp("traced")
    return Traced(planned_evening(folder, folder / "downloads"), folder)


@pytest.fixture
def card(tmp_path: Path) -> Path:
    path = tmp_path / "card.img"
    path.write_bytes(hostile_volume().data)
    return path


@pytest.fixture
def device(card: Path) -> Iterator[Path]:
    """Put the card behind a block device, as a reader would."""
    made = subprocess.run(
        ["losetup", "--find", "--show", str(card)],
        env=ENVIRONMENT,
        capture_output=True,
        check=False,
    )
    if made.returncode:
        pytest.skip("this user may not make a block device")
    path = Path(made.stdout.decode().strip())
    yield path
    run("losetup", "--detach", path)


@pytest.fixture
def mounted(tmp_path: Path) -> Path:
    folder = tmp_path / "mounted"
    (folder / "below").mkdir(parents=True)
    (folder / "below" / "A.BIN").write_bytes(b"content")
    return folder


def faults(lines: list[str], target: Path) -> list[str]:
    return [line for line in lines if str(target) in line and asks_to_write(line)]


@pytest.mark.oracle
@pytest.mark.parametrize("command", ["inspect", "check"])
@pytest.mark.parametrize("what", ["card", "device", "mounted"])
def test_looking_never_asks_for_write_access(
    request: pytest.FixtureRequest, traced: Traced, command: str, what: str
) -> None:
    target: Path = request.getfixturevalue(what)
    before = (target.stat().st_mtime_ns, target.read_bytes() if target.is_file() else b"")
    words = ["--shop", str(traced.place.shop), command, str(target)]
    lines = traced.lines(*words, statuses=(0, 3, 10, 11))
    assert any(OPENING.search(line) or "openat(" in line for line in lines if str(target) in line)
    assert not faults(lines, target)
    assert before == (target.stat().st_mtime_ns, target.read_bytes() if target.is_file() else b"")


@pytest.mark.oracle
def test_a_stage_that_the_card_is_held_against_changes_nothing(traced: Traced, card: Path) -> None:
    words = ["check", str(card), "--job", str(JOB), "--stage", str(STAGE)]
    lines = traced.lines("--shop", str(traced.place.shop), *words, statuses=(10,))
    assert not faults(lines, card)


@pytest.mark.oracle
def test_listing_readers_and_tracing_open_no_device_for_writing(
    traced: Traced, card: Path, device: Path
) -> None:
    del device
    shop = ["--shop", str(traced.place.shop)]
    for words in (["readers"], ["trace", str(JOB)], ["trace", str(card)]):
        lines = traced.lines(*shop, *words, statuses=(0, 36))
        assert not faults(lines, card)
        devices = [line for line in lines if '"/dev/' in line or "</dev/" in line]
        assert not [
            line
            for line in devices
            if asks_to_write(line) and not re.search(r"[\"<]/dev/(?:null|tty)\b", line)
        ]


@pytest.mark.oracle
def test_a_command_that_writes_is_seen(traced: Traced, tmp_path: Path) -> None:
    blank = tmp_path / "blank.img"
    with blank.open("wb") as new:
        new.truncate(600 << 20)
    lines = traced.lines(*write_words(traced.place, blank, 7))
    found = faults(lines, blank)
    assert any("O_RDWR" in line for line in found)
    assert any("pwrite64(" in line for line in found)
