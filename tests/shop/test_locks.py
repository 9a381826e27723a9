"""One process at a time, and who is kept waiting is told by whom."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import threading
from pathlib import Path

import pytest

from cardprep.errors import ShopFolderError, ShopLockedError
from cardprep.shop.locks import lock_shop
from cardprep.texts.catalogue import refusal

HOLD = """
import os, sys, time
from pathlib import Path
from cardprep.shop.locks import lock_shop
with lock_shop(Path(sys.argv[1]), pid=os.getpid(), command="prepare"):
    print("held", flush=True)
    sys.stdin.read()
"""


def refused(lock: Path) -> ShopLockedError:
    with pytest.raises(ShopLockedError) as raised, lock_shop(lock, pid=1, command="check"):
        pytest.fail("the lock was given twice")
    return raised.value


def test_a_second_one_is_told_who_holds_it(tmp_path: Path) -> None:
    lock = tmp_path / "lock"
    with lock_shop(lock, pid=4321, command="prepare B238\x1b"):
        error = refused(lock)
    assert error.reason == "shop.locked-by"
    assert error.parameters["pid"] == 4321
    assert "\x1b" not in refusal(error).message
    assert "prepare B238" in refusal(error).message


def test_given_back(tmp_path: Path) -> None:
    lock = tmp_path / "lock"
    for _ in range(2):
        with lock_shop(lock, pid=1, command="prepare"):
            pass
    assert lock.read_bytes() == b""


def test_given_back_after_a_failure(tmp_path: Path) -> None:
    lock = tmp_path / "lock"
    with pytest.raises(ZeroDivisionError), lock_shop(lock, pid=1, command="prepare"):
        raise ZeroDivisionError
    with lock_shop(lock, pid=2, command="check"):
        assert b"pid 2\n" in lock.read_bytes()


@pytest.mark.parametrize("content", [b"", b"x", b"pid 1\n", b"\xff" * 5000, b"pid 1\ncommand \n"])
def test_what_the_file_says_never_decides(tmp_path: Path, content: bytes) -> None:
    lock = tmp_path / "lock"
    lock.write_bytes(content)
    with lock_shop(lock, pid=1, command="prepare"):
        lock.write_bytes(content)
        assert refused(lock).reason == "shop.locked"


def test_a_command_in_other_bytes(tmp_path: Path) -> None:
    lock = tmp_path / "lock"
    with lock_shop(lock, pid=1, command="prepare"):
        lock.write_bytes(b"pid 12\ncommand \xff\x1b[2J\n")
        error = refused(lock)
    assert error.parameters["command"] == "\ufffd\\x1b[2J"


def test_another_thread_is_kept_out(tmp_path: Path) -> None:
    lock = tmp_path / "lock"
    seen: list[str] = []
    with lock_shop(lock, pid=1, command="prepare"):
        thread = threading.Thread(target=lambda: seen.append(refused(lock).reason))
        thread.start()
        thread.join()
    assert seen == ["shop.locked-by"]


def test_another_process_and_its_sudden_end(tmp_path: Path) -> None:
    lock = tmp_path / "lock"
    with subprocess.Popen(
        [sys.executable, "-c", HOLD, str(lock)], stdin=subprocess.PIPE, stdout=subprocess.PIPE
    ) as holder:
        assert holder.stdout is not None
        assert holder.stdout.readline() == b"held\n"
        error = refused(lock)
        assert (error.parameters["pid"], error.parameters["command"]) == (holder.pid, "prepare")
        os.kill(holder.pid, signal.SIGKILL)
    with lock_shop(lock, pid=1, command="check"):
        pass


def test_a_folder_that_is_not_there(tmp_path: Path) -> None:
    with (
        pytest.raises(ShopFolderError),
        lock_shop(tmp_path / "nowhere" / "lock", pid=1, command="check"),
    ):
        pytest.fail("there is nothing to lock")


def test_a_lock_that_is_a_folder(tmp_path: Path) -> None:
    with pytest.raises(ShopFolderError), lock_shop(tmp_path, pid=1, command="check"):
        pytest.fail("a folder is no lock")
