"""Which card went into which job: look a card, a job, a file or a digest up in the log."""

from __future__ import annotations

import contextlib
import hashlib
import re
from dataclasses import dataclass
from pathlib import Path

from cardprep.bench.jobs import find_job
from cardprep.bench.open import Bench
from cardprep.bench.records import ENDED, OPENED
from cardprep.errors import BadValueError, CardprepError, JobError
from cardprep.job.visit import Job, JobName
from cardprep.medium.descriptor import aligned_buffer
from cardprep.medium.folder import MountedFolder
from cardprep.medium.open import open_card
from cardprep.medium.protocol import Sectors
from cardprep.shoplog.record import Record
from cardprep.terms import MIB
from cardprep.volume.serial import volume_serial

_DIGEST = re.compile("[0-9a-f]{64}")
_LENGTH_MOST = 64 * 1024 * MIB


@dataclass(frozen=True, slots=True, kw_only=True)
class Traced:
    """What the log knows of one thing.

    asked      what was looked up, as a person would say it: (kind, value)
    jobs       the jobs that it was in, oldest first
    records    oldest first
    unchanged  for a card that was read: whether its first bytes still have the
               digest that was recorded; None if that was not to be found out
    """

    asked: tuple[str, str]
    jobs: tuple[Job, ...]
    records: tuple[Record, ...]
    unchanged: bool | None


def trace(bench: Bench, what: str) -> Traced:
    """Look up a card (path or number), a job, a digest, a file name, a serial or a vessel.

    Raises JobError if the log knows nothing of it, NotThereError or
    NotAllowedError if a card cannot be opened.
    """
    unchanged = None
    if _is_path(what):
        asked, records, unchanged = _card(bench, Path(what))
    else:
        asked, records = _by_word(bench, what)
    if not records:
        raise JobError("trace.nothing", what=asked[1])
    names = dict.fromkeys(
        str(record.body["job"]) for record in records if isinstance(record.body.get("job"), str)
    )
    opened = [str(JobName.parse(_opened_name(r))) for r in records if r.kind == OPENED]
    jobs = tuple(find_job(bench, JobName.parse(n)) for n in dict.fromkeys([*opened, *names]))
    return Traced(asked=asked, jobs=jobs, records=tuple(records), unchanged=unchanged)


def _is_path(what: str) -> bool:
    try:
        return bool(what.strip()) and Path(what).exists()
    except OSError:
        # A word can be too long for a path.
        return False


def _opened_name(record: Record) -> str:
    job = record.body.get("job")
    return str(job.get("name")) if isinstance(job, dict) else ""


def _by_word(bench: Bench, what: str) -> tuple[tuple[str, str], list[Record]]:
    word = what.strip()
    ways: list[tuple[str, str]] = []
    if word.isdecimal() and len(word) < 9:
        ways.append(("card", str(int(word))))
    with contextlib.suppress(BadValueError):
        ways.append(("job", str(JobName.parse(word))))
    if _DIGEST.fullmatch(word.lower()):
        ways.append(("digest", word.lower()))
    ways += [("file", word), ("serial", word.upper()), ("serial", word)]
    ways.append(("vessel", word.casefold()))
    for field, value in ways:
        records = bench.log.find(field, value) if value else []
        if records:
            return (field, value), records
    return ("", word[:80]), []


def _card(bench: Bench, path: Path) -> tuple[tuple[str, str], list[Record], bool | None]:
    """Find a card by the serial number of its volume, and see whether it is still as recorded."""
    with open_card(path) as opened:
        if isinstance(opened, MountedFolder):
            raise JobError("trace.folder")
        serial = volume_serial(opened)
        records = bench.log.find("serial", serial) if serial is not None else []
        written = [r for r in records if r.kind == ENDED and r.body.get("outcome") == "done"]
        unchanged = _is_unchanged(opened, written[-1]) if written else None
    return ("serial", serial or ""), records, unchanged


def _is_unchanged(sectors: Sectors, record: Record) -> bool:
    length, wanted = record.body.get("length"), record.body.get("sha256")
    if not isinstance(length, int) or not 0 < length <= min(sectors.size, _LENGTH_MOST):
        return False
    digest = hashlib.sha256()
    buffer = aligned_buffer(MIB)
    for at in range(0, length, MIB):
        block = buffer[: min(MIB, length - at)]
        try:
            sectors.read_into(at, block)
        except CardprepError:
            return False
        digest.update(block)
    return digest.hexdigest() == wanted
