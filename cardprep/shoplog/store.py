"""What the shop log needs of a store, and nothing more.

A store keeps lines, leaf hashes, index entries and checkpoints of one bench. It
numbers records and makes sure that what it said it kept is kept; what the
records mean, and whether all of it is true, is decided elsewhere (``verify.py``).

Ranges are half open, from 0; a stop of None is the size at the time of the call.
Reading raises LogBrokenError where something is missing or is not what a store
would have written, LogUnavailableError where it cannot be read just now.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Protocol

from cardprep.canonical import Json
from cardprep.errors import BadValueError, CanonicalError, LogBrokenError
from cardprep.shoplog.checkpoint import (
    Checkpoint,
    SignedCheckpoint,
    parse_checkpoint,
    sign_checkpoint,
    verify_checkpoint,
)
from cardprep.shoplog.record import IndexEntry, Record, parse_line
from cardprep.shoplog.tree import root_of
from cardprep.sshsig import Signer

INDEX_FIELDS = frozenset(
    {"card", "job", "file", "digest", "serial", "vessel", "opened", "content", "written"}
)


class LogStore(Protocol):
    """One bench's log, wherever it is kept."""

    @property
    def bench(self) -> str:
        """The bench's letter."""
        ...

    def append(
        self,
        kind: str,
        kind_version: int,
        body: Mapping[str, Json],
        time: str,
        *,
        index: Sequence[IndexEntry] = (),
    ) -> Record:
        """Add a record after the last one and return it once it is on stable storage.

        The fields of `index` are of INDEX_FIELDS. Raises BadValueError or
        CanonicalError for what cannot be a record, LogUnavailableError if it
        was not added; then nothing was.
        """
        ...

    def size(self) -> int:
        """Return the number of records."""
        ...

    def line(self, sequence: int) -> bytes:
        """Return one record's line."""
        ...

    def lines(self, start: int = 0, stop: int | None = None) -> Iterator[bytes]:
        """Return the lines of a range, in order."""
        ...

    def records(self, start: int = 0, stop: int | None = None) -> Iterator[Record]:
        """Return the records of a range, in order."""
        ...

    def leaf_hashes(self, start: int = 0, stop: int | None = None) -> Iterator[bytes]:
        """Return the leaf hashes of a range as they are kept, 32 bytes each."""
        ...

    def index_entries(
        self, start: int = 0, stop: int | None = None
    ) -> Iterator[tuple[int, IndexEntry]]:
        """Return sequence and entry of a range as kept, sorted by both."""
        ...

    def find(self, field: str, value: str) -> list[Record]:
        """Return the records that have this entry in their index, oldest first."""
        ...

    def add_checkpoint(self, text: bytes, signature: str) -> SignedCheckpoint:
        """Keep a checkpoint once it is on stable storage.

        One that is not about this log as it is raises LogBrokenError, a second
        one of the same size BadValueError unless it is the same. The signature
        is kept as it comes: only who knows the key can check it.
        """
        ...

    def checkpoints(self) -> list[SignedCheckpoint]:
        """Return the checkpoints, smallest first."""
        ...

    def close(self) -> None:
        """Let go of the store; calling it again does nothing."""
        ...


def checkpoint_now(store: LogStore) -> Checkpoint:
    """Return the unsigned checkpoint of the log as it is; BadValueError if it is empty."""
    size = store.size()
    return Checkpoint(bench=store.bench, size=size, root=root_of(store.leaf_hashes(0, size)))


def seal(store: LogStore, signer: Signer) -> SignedCheckpoint:
    """Sign the log as it is and keep the checkpoint, as when a card or paper leaves the bench.

    A log that has not grown since its last checkpoint gets that one again, or
    SignatureError if it was signed by another key.
    """
    checkpoint = checkpoint_now(store)
    kept = store.checkpoints()
    if kept and kept[-1].text == checkpoint.to_text():
        verify_checkpoint(kept[-1].text, kept[-1].signature, signer.public_key)
        return kept[-1]
    signed = sign_checkpoint(checkpoint, signer)
    return store.add_checkpoint(signed.text, signed.signature)


def checked_record(line: bytes, sequence: int, bench: str) -> Record:
    """Return the record of a line that stands at `sequence` of that bench's log.

    Raises LogBrokenError if it is none, or belongs elsewhere.
    """
    try:
        record = parse_line(line)
    except (BadValueError, CanonicalError) as error:
        raise LogBrokenError("log.line", sequence=sequence) from error
    if record.sequence != sequence:
        raise LogBrokenError("log.sequence", sequence=sequence, found=record.sequence)
    if record.bench != bench:
        raise LogBrokenError("log.bench", sequence=sequence, found=record.bench, wanted=bench)
    return record


def check_belongs(store: LogStore, text: bytes) -> Checkpoint:
    """Return the checkpoint of `text` if this log's records give it, else raise LogBrokenError.

    BadValueError if it is no checkpoint at all. Stores call it before they keep one.
    """
    checkpoint = parse_checkpoint(text)
    if checkpoint.bench != store.bench:
        raise LogBrokenError("log.checkpoint-bench", checkpoint=checkpoint.size)
    records = store.size()
    if checkpoint.size > records:
        raise LogBrokenError("log.checkpoint-ahead", checkpoint=checkpoint.size, records=records)
    if checkpoint.root != root_of(store.leaf_hashes(0, checkpoint.size)):
        raise LogBrokenError("log.checkpoint-root", checkpoint=checkpoint.size)
    return checkpoint
