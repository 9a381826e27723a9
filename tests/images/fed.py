"""Feed a file to the recogniser, and damage it in every way that is cheap to try."""

from __future__ import annotations

import time

from cardprep.images.recognise import Recogniser
from cardprep.images.report import ContainerReport, Soundness

SECONDS = 30


def report_of(data: bytes, cut: int = 1 << 20) -> ContainerReport:
    machine = Recogniser()
    for at in range(0, len(data), cut):
        machine.feed(memoryview(data)[at : at + cut])
    return machine.finish()


def reasons(data: bytes) -> list[str]:
    return [problem.reason for problem in report_of(data).problems]


def broken_at(data: bytes) -> set[int]:
    """Return where a byte that is turned round makes the file broken.

    In other places, where no checksum stands, the file may go unnoticed; it must
    never hold, nor take long, nor raise.
    """
    broken, started = set(), time.process_time()
    for at in range(len(data)):
        damaged = bytearray(data)
        damaged[at] ^= 0xFF
        soundness = report_of(bytes(damaged)).soundness
        assert soundness is not Soundness.HOLDS, at
        if soundness is Soundness.BROKEN:
            broken.add(at)
    assert time.process_time() - started < SECONDS
    return broken


def whole_from(data: bytes, slug: str) -> int:
    """Return the length from which on a beginning is no longer called broken.

    A beginning that is long enough to be known as of this format is broken until then.
    """
    lengths = [size for size in range(len(data) + 1) if report_of(data[:size]).format == slug]
    assert lengths
    sound = [n for n in lengths if report_of(data[:n]).soundness is not Soundness.BROKEN]
    assert sound == list(range(sound[0], len(data) + 1))
    return sound[0]
