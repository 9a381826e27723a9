"""Check a whole shop log against itself and against the shop's key.

Reads a store and returns what was established; it never mends anything.

What it finds: a record that was altered, replaced, inserted, taken out, moved
or copied; one of another bench; a look-up entry too many or too few; a
checkpoint that does not agree with the records before it, is not signed by the
key, or covers records that are no longer there.

What it cannot find, since a store can only be compared with what is in it:

- the end of the log cut off together with the checkpoints that cover it;
- records after the last checkpoint changed with everything that follows from
  them: until a checkpoint is made, nothing but the store itself speaks for them;
- a log that the owner of the key wrote anew and signed again.

Against these help the checkpoints that left the bench: on labels, on job sheets
and in dossiers, each compared with the log by its size and root.

Source: RFC 9162 section 2.1 for the tree; the rest is the form in ``record.py``.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from cardprep.errors import BadValueError, LogBrokenError, SignatureError
from cardprep.shoplog.checkpoint import SignedCheckpoint, verify_checkpoint
from cardprep.shoplog.record import IndexEntry, Record
from cardprep.shoplog.store import LogStore, checked_record
from cardprep.shoplog.tree import Frontier, leaf_hash


@dataclass(frozen=True, slots=True, kw_only=True)
class LogState:
    """A log of which everything that can be checked was checked and holds.

    size         records
    root         root of the tree over them, 32 bytes
    checkpoints  how many there are
    sealed       records that the newest checkpoint covers; 0 if there is none,
                 and then no signature was checked
    """

    bench: str
    size: int
    root: bytes
    checkpoints: int
    sealed: int


def verify_log(store: LogStore, public_key: bytes) -> LogState:
    """Return the log's state if everything in it agrees; `public_key` is 32 bytes.

    Raises LogBrokenError with the first record (sequence) or checkpoint (size)
    that is wrong, LogUnavailableError if the log cannot be read.
    """
    # Checkpoints before the size: another process may be appending, and then the
    # records that a checkpoint covers are there when they are counted.
    kept = store.checkpoints()
    waiting = {checkpoint.size: checkpoint for checkpoint in kept}
    size = store.size()
    entries = store.index_entries(0, size)
    frontier = Frontier()
    pairs = zip(store.lines(0, size), store.leaf_hashes(0, size), strict=True)
    for sequence, (line, kept_hash) in enumerate(pairs):
        record = checked_record(line, sequence, store.bench)
        if leaf_hash(line) != kept_hash:
            raise LogBrokenError("log.leaf-hash", sequence=sequence)
        _check_index(record, entries)
        frontier = frontier.append(kept_hash)
        if (checkpoint := waiting.pop(frontier.size, None)) is not None:
            _check_checkpoint(checkpoint, store.bench, frontier, public_key)
    if (left := next(entries, None)) is not None:
        raise LogBrokenError("log.index", sequence=left[0])
    for beyond in waiting:
        raise LogBrokenError("log.checkpoint-ahead", checkpoint=beyond, records=size)
    return LogState(
        bench=store.bench,
        size=size,
        root=frontier.root(),
        checkpoints=len(kept),
        sealed=kept[-1].size if kept else 0,
    )


def _check_index(record: Record, entries: Iterator[tuple[int, IndexEntry]]) -> None:
    """Take the record's entries off the kept ones, which are sorted in the same way."""
    for entry in record.index:
        found = next(entries, None)
        if found != (record.sequence, entry):
            # One too many may belong to a record before this one.
            first = record.sequence if found is None else min(found[0], record.sequence)
            raise LogBrokenError("log.index", sequence=first)


def _check_checkpoint(
    signed: SignedCheckpoint, bench: str, frontier: Frontier, public_key: bytes
) -> None:
    size = signed.size
    try:
        checkpoint = verify_checkpoint(signed.text, signed.signature, public_key)
    except SignatureError as error:
        raise LogBrokenError("log.checkpoint-signature", checkpoint=size) from error
    except BadValueError as error:
        raise LogBrokenError("log.checkpoint-text", checkpoint=size) from error
    if checkpoint.size != size:
        raise LogBrokenError("log.checkpoint-text", checkpoint=size)
    if checkpoint.bench != bench:
        raise LogBrokenError("log.checkpoint-bench", checkpoint=size)
    if checkpoint.root != frontier.root():
        raise LogBrokenError("log.checkpoint-root", checkpoint=size)
