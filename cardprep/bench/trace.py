"""Which card went into which job: look a card, a job, a file or a digest up in the log."""

from __future__ import annotations

import contextlib
import hashlib
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from cardprep.bench.jobs import find_job
from cardprep.bench.open import Bench
from cardprep.bench.prove import verify_head
from cardprep.bench.records import BEGUN, ENDED, OUTCOME
from cardprep.errors import BadValueError, JobError, ReadFailedError, ShortReadError
from cardprep.job.outcome import Outcome
from cardprep.job.visit import Job, JobName
from cardprep.job.written import WrittenCard, written_card
from cardprep.medium.descriptor import aligned_buffer
from cardprep.medium.folder import MountedFolder
from cardprep.medium.open import open_card
from cardprep.medium.protocol import Sectors
from cardprep.shoplog.checkpoint import matches, parse_checkpoint, parse_short
from cardprep.shoplog.record import Record
from cardprep.terms import MIB, spelled_out
from cardprep.volume.serial import volume_serial

_DIGEST = re.compile("[0-9a-f]{64}")
_SERIAL = re.compile("[0-9A-F]{4}-?[0-9A-F]{4}")
_LENGTH_MOST = 64 * 1024 * MIB


@dataclass(frozen=True, slots=True, kw_only=True)
class Traced:
    """What the log knows of one thing.

    asked      what was looked up, as a person would say it: (kind, value)
    jobs       the jobs that it was in, oldest first
    cards      the writes that it has to do with, oldest first
    outcomes   what came of those jobs, or of those steps, each with its time
    records    oldest first
    unchanged  for a card that was read: whether the bytes that were written still have
               the digest that was recorded; None if that was not to be found out
    """

    asked: tuple[str, str]
    jobs: tuple[Job, ...]
    cards: tuple[WrittenCard, ...]
    outcomes: tuple[tuple[str, Outcome], ...]
    records: tuple[Record, ...]
    unchanged: bool | None


def trace(bench: Bench, what: str) -> Traced:
    """Look up a card (path, number or label), a job, a digest, a file name, a serial or a vessel.

    Raises JobError if the log knows nothing of it, NotThereError or
    NotAllowedError if a card cannot be opened, and LogBrokenError if the log is
    not the one whose head was signed.
    """
    unchanged = None
    verify_head(bench)
    if spelled_out(what).replace("\\\\", "\\") != what:
        # What cannot be printed stands in no record.
        raise JobError("trace.nothing", what=spelled_out(what[:80]))
    # A maker's file may lie in the folder where somebody types its name.
    in_log = bench.log.find("file", what) if what and Path(what).name == what else []
    if in_log:
        asked, records = ("file", what), in_log
    elif _is_path(what):
        asked, records, unchanged = _card(bench, Path(what))
    else:
        asked, records = _by_word(bench, what)
    if not records:
        if asked[0] == "volume":
            raise JobError("trace.nothing-card", what=spelled_out(what[:80]))
        raise JobError("trace.nothing", what=asked[1])
    names = dict.fromkeys(name for record in records if (name := _job_name(record)) is not None)
    jobs = tuple(find_job(bench, JobName.parse(name)) for name in names)
    in_jobs = [record for name in names for record in bench.log.find("job", name)]
    wide = asked[0] in ("job", "vessel", "unit")
    cards = _cards(in_jobs, None if wide else records)
    # Of a card that nobody here wrote, what came of the job that it was checked for is no matter.
    steps = {(card.job, card.stage) for card in cards}
    told = [(r.time, outcome_in(r)) for r in in_jobs if r.kind == OUTCOME]
    return Traced(
        asked=asked,
        jobs=jobs if wide or cards or asked[0] in ("file", "digest") else (),
        cards=cards,
        outcomes=tuple(
            (time, outcome)
            for time, outcome in told
            if wide
            or (outcome.stage is None and cards)
            or (str(outcome.job), outcome.stage) in steps
        ),
        records=tuple(records),
        unchanged=unchanged,
    )


def _job_name(record: Record) -> str | None:
    job = record.body.get("job")
    if isinstance(job, Mapping):
        job = job.get("name")
    return job if isinstance(job, str) else None


def _cards(in_jobs: Sequence[Record], asked: Sequence[Record] | None) -> tuple[WrittenCard, ...]:
    """Return the writes of jobs; of those only the ones that were asked for, if any were."""
    ends = {record.body.get("begun"): record for record in in_jobs if record.kind == ENDED}
    wanted = None if asked is None else {record.sequence for record in asked}
    found = {}
    for record in in_jobs:
        if record.kind != BEGUN:
            continue
        end = ends.get(record.sequence)
        places = {record.sequence} | (set() if end is None else {end.sequence})
        if wanted is None or places & wanted:
            ended = None if end is None else (end.sequence, end.body)
            found[record.sequence] = written_card(record.sequence, record.time, record.body, ended)
    return tuple(found[sequence] for sequence in sorted(found))


def outcome_in(record: Record) -> Outcome:
    """Return the outcome in a record."""
    body = {key: value for key, value in record.body.items() if key not in ("by", "tool")}
    return Outcome.from_record(body)


def _is_path(what: str) -> bool:
    try:
        return bool(what.strip()) and Path(what).exists()
    except OSError:
        # A word can be too long for a path.
        return False


def _by_word(bench: Bench, what: str) -> tuple[tuple[str, str], list[Record]]:
    word = what.strip()
    labelled = _by_label(bench, word)
    if labelled:
        return ("label", word.upper()), labelled
    ways: list[tuple[str, str, str]] = []
    if word.isdecimal() and len(word) < 9:
        ways.append(("card", "card", str(int(word))))
    with contextlib.suppress(BadValueError):
        ways.append(("job", "job", str(JobName.parse(word))))
    if _DIGEST.fullmatch(word.lower()):
        ways.append(("digest", "digest", word.lower()))
    ways.append(("file", "file", word))
    if _SERIAL.fullmatch(word.upper()):
        digits = word.upper().replace("-", "")
        ways.append(("volume", "serial", f"{digits[:4]}-{digits[4:]}"))
    ways += [("unit", "serial", word), ("unit", "serial", word.upper())]
    ways.append(("vessel", "vessel", " ".join(word.casefold().split())))
    for kind, field, value in ways:
        records = bench.log.find(field, value) if value else []
        if records:
            return (kind, value), records
    return ("", spelled_out(word[:80])), []


def _by_label(bench: Bench, word: str) -> list[Record]:
    """Return what was written last when the log had the head that stands on a label."""
    try:
        short = parse_short(word)
    except BadValueError:
        return []
    for signed in bench.log.checkpoints():
        if signed.size == short.size and matches(short, parse_checkpoint(signed.text)):
            return list(bench.log.records(signed.size - 1, signed.size))
    raise JobError("trace.label", label=spelled_out(word[:60]))


def _card(bench: Bench, path: Path) -> tuple[tuple[str, str], list[Record], bool | None]:
    """Find a card by the serial number of its volume, and see whether it is still as recorded."""
    with open_card(path) as opened:
        if isinstance(opened, MountedFolder):
            raise JobError("trace.folder")
        serial = volume_serial(opened)
        records = bench.log.find("serial", serial) if serial is not None else []
        written = [r for r in records if r.kind == ENDED and r.body.get("outcome") == "done"]
        unchanged = _is_unchanged(opened, written[-1]) if written else None
    return ("volume", serial or ""), records, unchanged


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
        except (ReadFailedError, ShortReadError):
            return False
        digest.update(block)
    return digest.hexdigest() == wanted
