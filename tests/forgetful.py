"""A disk that forgets: one file, whose writes are kept only once they were flushed.

The file stands where `ForgetfulDisk` mounts it, and a process of its own serves
it to the kernel. What is written is read back at once, as from any disk, but
goes to the platter, an ordinary file, only with the next flush (FUSE_FSYNC; that
somebody closes the file, FUSE_FLUSH, is none). The disk can be told to lose its
power: then each sector written since the last flush is kept or lost by a seeded
draw, as with a disk whose volatile cache was partly on its way, and every later
write or flush fails. Reads go on, so that the program above can come to an end.

Words: a *write* and a *flush* are requests of the kernel; a *cut* is the loss of
power; the *platter* holds what survives it.

Source: Linux, include/uapi/linux/fuse.h (protocol 7.31) and
Documentation/filesystems/fuse.rst ("rootmode": the root may be a regular file).
"""

from __future__ import annotations

import ctypes
import errno
import json
import mmap
import os
import random
import selectors
import stat
import struct
import subprocess
import sys
import time
from contextlib import suppress
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Self, cast

SECTOR = 512
LARGEST_WRITE = 1024 * 1024
PATIENCE = 10.0
# Debian keeps file system tools in folders that only root's PATH has.
SYSTEM = {"PATH": os.environ.get("PATH", "") + ":/usr/sbin:/sbin"}

_IN_HEADER = struct.Struct("<IIQQIIIHH")
_OUT_HEADER = struct.Struct("<IiQ")
_READ_IN = struct.Struct("<QQIIQII")  # fuse_write_in is of the same form
_INIT_IN = struct.Struct("<IIII")
_INIT_OUT = struct.Struct("<IIIIHHIIHHI28x")
_ATTR_OUT = struct.Struct("<QII6Q10I")
_STATFS_OUT = struct.Struct("<5Q4I24x")

_GETATTR, _SETATTR, _OPEN, _READ, _WRITE, _STATFS = 3, 4, 14, 15, 16, 17
_RELEASE, _FSYNC, _FLUSH, _INIT, _DESTROY = 18, 20, 25, 26, 38
_UNANSWERED = frozenset((2, 36, 42))  # FORGET, INTERRUPT, BATCH_FORGET
_BIG_WRITES, _MAX_PAGES = 1 << 5, 1 << 22
_MNT_DETACH = 2


@dataclass(frozen=True, slots=True, kw_only=True)
class Cut:
    """When a disk loses its power, and what of the unflushed sectors is kept.

    when   "before flush", "after flush", "after write", or "never"
    count  of requests of that kind since the disk was armed, from 1
    keep   share of the sectors that is kept: 0 for none, 1 for all
    seed   of the draw
    """

    when: str
    count: int = 0
    keep: float = 0.0
    seed: int = 0


class Cache:
    """The disk's memory in front of its platter."""

    def __init__(self, platter: Path) -> None:
        with platter.open("r+b") as file:
            self._platter = mmap.mmap(file.fileno(), 0)
        self._seen = bytearray(self._platter)
        self._unflushed: list[tuple[int, bytes]] = []
        self.cut = Cut(when="never")
        self.counts = {"write": 0, "flush": 0}
        self.dead = False

    @property
    def size(self) -> int:
        """Bytes of the disk."""
        return len(self._seen)

    def arm(self, cut: Cut) -> None:
        """Count requests from now on, and lose power as `cut` says."""
        self.cut, self.counts = cut, {"write": 0, "flush": 0}

    def read(self, offset: int, size: int) -> bytes:
        """Return what was written last."""
        return bytes(self._seen[offset : offset + size])

    def write(self, offset: int, data: bytes) -> None:
        """Take data into the cache; OSError without power."""
        self._count("write")
        if offset % SECTOR or len(data) % SECTOR or offset + len(data) > self.size:
            raise OSError(errno.EINVAL, "a disk is written in whole sectors")
        self._seen[offset : offset + len(data)] = data
        self._unflushed.append((offset, data))
        self._perhaps("after write", "write")

    def flush(self) -> None:
        """Bring all that is in the cache to the platter; OSError without power."""
        self._count("flush")
        self._perhaps("before flush", "flush")
        if self.dead:
            raise OSError(errno.EIO, "no power")
        self._settle(1.0, random.Random())
        self._perhaps("after flush", "flush")

    def lose_power(self) -> None:
        """Keep what the draw keeps, and take nothing from now on."""
        if not self.dead:
            self._settle(self.cut.keep, random.Random(self.cut.seed))
            self.dead = True

    def _count(self, kind: str) -> None:
        if self.dead:
            raise OSError(errno.EIO, "no power")
        self.counts[kind] += 1

    def _perhaps(self, when: str, kind: str) -> None:
        if self.cut.when == when and self.cut.count == self.counts[kind]:
            self.lose_power()

    def _settle(self, keep: float, draw: random.Random) -> None:
        """Bring the kept share of the unflushed sectors to the platter, in their order.

        A sector that was written twice may be kept as it was first: a disk may
        have brought it there before it was told of the second.
        """
        for offset, data in self._unflushed:
            if keep == 1.0:
                self._platter[offset : offset + len(data)] = data
                continue
            for at in range(0, len(data), SECTOR):
                if draw.random() < keep:
                    self._platter[offset + at : offset + at + SECTOR] = data[at : at + SECTOR]
        self._unflushed.clear()


def answer(cache: Cache, opcode: int, body: memoryview) -> bytes:
    """Return the answer to one request; OSError for an error."""
    if opcode == _READ:
        _, offset, size, *_ = _READ_IN.unpack_from(body)
        return cache.read(offset, size)
    if opcode == _WRITE:
        _, offset, size, *_ = _READ_IN.unpack_from(body)
        cache.write(offset, bytes(body[_READ_IN.size : _READ_IN.size + size]))
        return struct.pack("<II", size, 0)
    if opcode == _FSYNC:
        cache.flush()
        return b""
    if opcode in (_FLUSH, _RELEASE, _DESTROY):
        return b""
    if opcode == _OPEN:
        return struct.pack("<QII", 0, 0, 0)
    if opcode in (_GETATTR, _SETATTR):
        kind = (stat.S_IFREG | 0o600, 1, 0, 0, 0, 4096, 0)
        times = (0, 0, 0)
        return _ATTR_OUT.pack(
            3600, 0, 0, 1, cache.size, cache.size // SECTOR, *times, *times, *kind
        )
    if opcode == _STATFS:
        return _STATFS_OUT.pack(0, 0, 0, 1, 0, 4096, 255, 4096, 0)
    if opcode == _INIT:
        _, _, readahead, offered = _INIT_IN.unpack_from(body)
        flags = offered & (_BIG_WRITES | _MAX_PAGES)
        pages = LARGEST_WRITE // 4096
        return _INIT_OUT.pack(7, 31, readahead, flags, 16, 12, LARGEST_WRITE, 1, pages, 0, 0)
    raise OSError(errno.ENOSYS, "not of a disk")


def serve_one(device: int, cache: Cache) -> bool:
    """Answer the kernel's next request; return False when the file is mounted no more."""
    try:
        request = os.read(device, LARGEST_WRITE + 4096)
    except OSError as error:
        # A request that was taken back before it was read; the next one will come.
        return error.errno in (errno.ENOENT, errno.EINTR, errno.EAGAIN)
    _, opcode, unique, *_ = _IN_HEADER.unpack_from(request)
    if opcode in _UNANSWERED:
        return True
    code, body = 0, b""
    try:
        body = answer(cache, opcode, memoryview(request)[_IN_HEADER.size :])
    except OSError as error:
        code = -(error.errno or errno.EIO)
    with suppress(FileNotFoundError):
        os.write(device, _OUT_HEADER.pack(_OUT_HEADER.size + len(body), code, unique) + body)
    return True


def ordered(cache: Cache, line: str) -> None:
    """Do what the test asks for, and say how things stand."""
    order = json.loads(line)
    if order == "cut":
        cache.lose_power()
    elif order != "state":
        cache.arm(Cut(**order))
    # A test that is gone is found out where its next order would be read.
    with suppress(BrokenPipeError):
        os.write(
            sys.stdout.fileno(), json.dumps({**cache.counts, "dead": cache.dead}).encode() + b"\n"
        )


def serve(platter: Path, file: Path, above: Path) -> None:
    """Mount the file and serve it until it is mounted no more.

    When the test lets go, or is gone, the power is cut and what is mounted is
    taken away, the file system `above` first; their last requests are answered.
    """
    cache = Cache(platter)
    device = mounted(file)
    with selectors.DefaultSelector() as waiting:
        waiting.register(device, selectors.EVENT_READ)
        waiting.register(sys.stdin, selectors.EVENT_READ)
        ordered(cache, '"state"')
        end = None
        while end is None or time.monotonic() < end:
            for key, _ in waiting.select(0.5):
                if key.fd == device:
                    if not serve_one(device, cache):
                        return
                elif line := sys.stdin.readline():
                    ordered(cache, line)
                else:
                    waiting.unregister(sys.stdin)
                    end = time.monotonic() + PATIENCE
                    cache.lose_power()
                    # To wait for its end here would be to wait for oneself.
                    subprocess.Popen(["umount", "-l", "-q", str(above), str(file)])


def mounted(file: Path) -> int:
    """Mount the disk over a file that is there, and return where the kernel asks."""
    device = os.open("/dev/fuse", os.O_RDWR | os.O_CLOEXEC)
    options = f"fd={device},rootmode={stat.S_IFREG:o},user_id=0,group_id=0".encode()
    system = ctypes.CDLL(None, use_errno=True)
    if system.mount(b"forgetful", os.fsencode(file), b"fuse", ctypes.c_ulong(0), options):
        raise OSError(ctypes.get_errno(), "the disk could not be mounted")
    return device


class ForgetfulDisk:
    """The disk as a test has it: while this is open, it stands at `file`.

    platter  the ordinary file that keeps what was flushed
    file     where the disk stands; an empty file that is there
    above    the folder where its file system will be mounted, unmounted at the end
    """

    def __init__(self, platter: Path, file: Path, above: Path) -> None:
        self._server = subprocess.Popen(
            [sys.executable, "-I", __file__, str(platter), str(file), str(above)],
            env=SYSTEM,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
            # Whoever stops a test with all its processes must not stop what tidies up.
            start_new_session=True,
        )
        self._answered()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *exc: object) -> None:
        self.close()

    def arm(self, cut: Cut) -> None:
        """Count from now on, and lose power as `cut` says."""
        self._ask(asdict(cut))

    def lose_power(self) -> None:
        """Lose power now, if there is any, and keep what was armed to be kept."""
        self._ask("cut")

    def state(self) -> dict[str, int]:
        """Return the numbers of writes and flushes since it was armed, and whether it is dead."""
        return self._ask("state")

    def close(self) -> None:
        """Lose power, and see that nothing is left mounted."""
        with self._server as server:
            if server.stdin:
                server.stdin.close()
            try:
                status = server.wait(2 * PATIENCE)
            except subprocess.TimeoutExpired:
                # The kernel then fails what was still asked for, and nobody hangs.
                server.kill()
                raise
        if status:
            raise ChildProcessError(f"the disk ended with {status}")

    def _ask(self, order: object) -> dict[str, int]:
        if not self._server.stdin:
            raise ChildProcessError("the disk is closed")
        self._server.stdin.write(json.dumps(order) + "\n")
        self._server.stdin.flush()
        return self._answered()

    def _answered(self) -> dict[str, int]:
        line = self._server.stdout.readline() if self._server.stdout else ""
        if not line:
            raise ChildProcessError("the disk does not answer")
        return cast("dict[str, int]", json.loads(line))


if __name__ == "__main__":
    serve(*(Path(word) for word in sys.argv[1:4]))
