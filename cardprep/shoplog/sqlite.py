"""The shop log of one bench in one SQLite file.

Every append is one transaction that is on stable storage before it returns
(write-ahead log, ``synchronous=FULL``); several processes of a bench take turns,
and whoever waits too long is told so. What is read back is untrusted: lengths
are limited inside SQLite, types and order are checked here.

A store may be used from several threads. It never repairs anything.

Source: SQLite documentation, "Write-Ahead Logging", "PRAGMA synchronous",
"Result and Error Codes" and "Defense Against The Dark Arts".
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from threading import Lock

from cardprep.canonical import INTEGER_LIMIT, Json
from cardprep.errors import BadValueError, LogBrokenError, LogUnavailableError
from cardprep.shoplog import schema
from cardprep.shoplog.checkpoint import SignedCheckpoint
from cardprep.shoplog.database import checked, connected, refusals, use_write_ahead_log
from cardprep.shoplog.record import IndexEntry, Record, checked_bench, checked_entry
from cardprep.shoplog.store import INDEX_FIELDS, check_belongs, checked_record
from cardprep.shoplog.tree import HASH_LENGTH, leaf_hash
from cardprep.sshsig import ARMOR_LIMIT

WAIT = 10.0

# Rows fetched at once; bounds memory and the time that a reader holds the lock.
_BATCH = 64


class SqliteLog:
    """A LogStore in a file; made by `create` or `open`."""

    def __init__(self, connection: sqlite3.Connection, bench: str) -> None:
        self._connection = connection
        self._bench = bench
        self._lock = Lock()

    @classmethod
    def create(cls, path: Path, bench: str, *, wait: float = WAIT) -> SqliteLog:
        """Make the log of a bench; a file that holds anything raises LogUnavailableError.

        An empty file is what a creation leaves that was broken off; it is used.
        `wait` is in seconds, as for `open`.
        """
        checked_bench(bench)
        with connected(path, wait, create=True) as connection:
            connection.execute("BEGIN IMMEDIATE")
            if schema.version_of(connection):
                raise LogUnavailableError("log.exists")
            schema.upgrade(connection, 0)
            connection.execute("INSERT INTO log (bench) VALUES (?)", (bench,))
            connection.execute("COMMIT")
            # Only now: before there are tables, the file must stay empty.
            use_write_ahead_log(connection)
        return cls(connection, bench)

    @classmethod
    def open(cls, path: Path, *, wait: float = WAIT) -> SqliteLog:
        """Open a log that is there.

        `wait` is how many seconds an append waits for another process before it
        raises LogUnavailableError. A file that is no shop log, or has other
        tables than it should, raises LogBrokenError.
        """
        with connected(path, wait) as connection:
            version = schema.version_of(connection)
            if not version:
                raise LogBrokenError("log.not-a-log")
            if version < schema.newest_version():
                connection.execute("BEGIN IMMEDIATE")
                # Another process may have done it while this one waited.
                schema.upgrade(connection, schema.version_of(connection))
                connection.execute("COMMIT")
            schema.check(connection)
            use_write_ahead_log(connection)
            bench = _bench(connection)
        return cls(connection, bench)

    @property
    def bench(self) -> str:
        """The bench's letter."""
        return self._bench

    def append(
        self,
        kind: str,
        kind_version: int,
        body: Mapping[str, Json],
        time: str,
        *,
        index: Sequence[IndexEntry] = (),
    ) -> Record:
        """Add a record and return it once it is on stable storage; see LogStore."""
        for field, _ in index:
            if field not in INDEX_FIELDS:
                raise BadValueError("record.index-field", found=ascii(field)[:40])
        with self._transaction() as connection:
            record = Record(
                bench=self._bench,
                sequence=self._size(),
                kind=kind,
                kind_version=kind_version,
                time=time,
                body=body,
                index=tuple(index),
            )
            line = record.to_line()
            connection.execute(
                "INSERT INTO record (sequence, line, leaf_hash) VALUES (?, ?, ?)",
                (record.sequence, line, leaf_hash(line)),
            )
            connection.executemany(
                "INSERT INTO index_entry (sequence, field, value) VALUES (?, ?, ?)",
                [(record.sequence, field, value) for field, value in record.index],
            )
        return record

    def size(self) -> int:
        """Return the number of records."""
        with self._reading():
            return self._size()

    def line(self, sequence: int) -> bytes:
        """Return one record's line."""
        if not 0 <= sequence < INTEGER_LIMIT:
            raise BadValueError("log.range")
        return next(self.lines(sequence, sequence + 1))

    def lines(self, start: int = 0, stop: int | None = None) -> Iterator[bytes]:
        """Return the lines of a range, in order."""
        for sequence, line in self._rows("line", start, stop):
            if not isinstance(line, bytes):
                raise LogBrokenError("log.line", sequence=sequence)
            yield line

    def records(self, start: int = 0, stop: int | None = None) -> Iterator[Record]:
        """Return the records of a range, in order."""
        for sequence, line in enumerate(self.lines(start, stop), start):
            yield checked_record(line, sequence, self._bench)

    def leaf_hashes(self, start: int = 0, stop: int | None = None) -> Iterator[bytes]:
        """Return the leaf hashes of a range as they are kept."""
        for sequence, found in self._rows("leaf_hash", start, stop):
            if not isinstance(found, bytes) or len(found) != HASH_LENGTH:
                raise LogBrokenError("log.leaf-hash", sequence=sequence)
            yield found

    def index_entries(
        self, start: int = 0, stop: int | None = None
    ) -> Iterator[tuple[int, IndexEntry]]:
        """Return sequence and entry of a range as kept, sorted by both."""
        end = self.size() if stop is None else stop
        last = (start, "", "")
        while True:
            with self._reading() as connection:
                rows = connection.execute(
                    "SELECT sequence, field, value FROM index_entry"
                    " WHERE (sequence, field, value) > (?, ?, ?) AND sequence < ?"
                    " ORDER BY sequence, field, value LIMIT ?",
                    (*last, end, _BATCH),
                ).fetchall()
            for sequence, field, value in rows:
                entry = (checked(sequence, int), checked(field, str), checked(value, str))
                # In a damaged tree of pages the rows may come round again.
                if entry <= last:
                    raise LogBrokenError("log.damaged")
                last = entry
                yield entry[0], entry[1:]
            if len(rows) < _BATCH:
                return

    def find(self, field: str, value: str) -> list[Record]:
        """Return the records that have this entry in their index, oldest first."""
        checked_entry(field, value)
        with self._reading() as connection:
            rows = connection.execute(
                "SELECT sequence, line, leaf_hash FROM record WHERE sequence IN"
                " (SELECT sequence FROM index_entry WHERE field = ? AND value = ?)"
                " ORDER BY sequence",
                (field, value),
            ).fetchall()
        return [self._found(row, (field, value)) for row in rows]

    def _found(self, row: tuple[object, object, object], entry: IndexEntry) -> Record:
        """Return the record of a row, which must be what its hash says and hold the word itself.

        A table can be edited by anybody who may write it; who looks something up
        is told so, and not what the table was made to say.
        """
        sequence, line = checked(row[0], int), checked(row[1], bytes)
        if leaf_hash(line) != row[2]:
            raise LogBrokenError("log.leaf-hash", sequence=sequence)
        record = checked_record(line, sequence, self._bench)
        if entry not in record.index:
            raise LogBrokenError("log.index", sequence=sequence)
        return record

    def add_checkpoint(self, text: bytes, signature: str) -> SignedCheckpoint:
        """Keep a checkpoint once it is on stable storage; see LogStore."""
        if len(signature) > ARMOR_LIMIT or not signature.isascii():
            raise BadValueError("checkpoint.signature")
        size = check_belongs(self, text).size
        given = SignedCheckpoint(size=size, text=text, signature=signature)
        with self._transaction() as connection:
            kept = connection.execute(
                "SELECT size, text, signature FROM checkpoint WHERE size = ?", (size,)
            ).fetchone()
            if kept is None:
                connection.execute(
                    "INSERT INTO checkpoint (size, text, signature) VALUES (?, ?, ?)",
                    (size, text, signature),
                )
            elif kept != (size, text, signature):
                raise BadValueError("checkpoint.twice", checkpoint=size)
        return given

    def checkpoints(self) -> list[SignedCheckpoint]:
        """Return the checkpoints, smallest first."""
        with self._reading() as connection:
            rows = connection.execute(
                "SELECT size, text, signature FROM checkpoint ORDER BY size"
            ).fetchall()
        return [
            SignedCheckpoint(
                size=checked(size, int),
                text=checked(text, bytes),
                signature=checked(signature, str),
            )
            for size, text, signature in rows
        ]

    def close(self) -> None:
        """Let go of the file; calling it again does nothing."""
        with self._lock, refusals():
            self._connection.close()

    @contextmanager
    def _reading(self) -> Iterator[sqlite3.Connection]:
        with self._lock, refusals():
            yield self._connection

    @contextmanager
    def _transaction(self) -> Iterator[sqlite3.Connection]:
        with self._reading() as connection:
            connection.execute("BEGIN IMMEDIATE")
            try:
                yield connection
                connection.execute("COMMIT")
            except BaseException:
                # After some errors SQLite has rolled back by itself.
                if connection.in_transaction:
                    connection.execute("ROLLBACK")
                raise

    def _size(self) -> int:
        first, last = self._connection.execute(
            "SELECT (SELECT min(sequence) FROM record), (SELECT max(sequence) FROM record)"
        ).fetchone()
        if last is None:
            return 0
        if first != 0:
            raise LogBrokenError("log.missing", sequence=0)
        if checked(last, int) >= INTEGER_LIMIT:
            raise LogBrokenError("log.damaged")
        return checked(last, int) + 1

    def _rows(self, column: str, start: int, stop: int | None) -> Iterator[tuple[int, object]]:
        """Return sequence and one column of a range; a gap in it raises LogBrokenError."""
        size = self.size()
        end = size if stop is None else stop
        if not 0 <= start <= end <= size:
            raise BadValueError("log.range")
        # The column is one of two names in this file.
        statement = (
            f"SELECT sequence, {column} FROM record"  # noqa: S608 - the column is one of two constants here
            " WHERE sequence >= ? AND sequence < ? ORDER BY sequence LIMIT ?"
        )
        expected = start
        while expected < end:
            with self._reading() as connection:
                rows = connection.execute(statement, (expected, end, _BATCH)).fetchall()
            # An empty batch is a gap too: it would otherwise be asked for again and again.
            for sequence, value in rows or [(None, None)]:
                if sequence != expected:
                    raise LogBrokenError("log.missing", sequence=expected)
                yield expected, value
                expected += 1


def _bench(connection: sqlite3.Connection) -> str:
    rows = connection.execute("SELECT bench FROM log LIMIT 2").fetchall()
    try:
        ((bench,),) = rows
        return checked_bench(checked(bench, str))
    except (ValueError, BadValueError) as error:
        raise LogBrokenError("log.damaged") from error
