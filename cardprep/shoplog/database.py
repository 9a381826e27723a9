"""How a shop log's SQLite file is opened, and what SQLite's errors mean at the bench.

It knows nothing of records. Whatever SQLite reports becomes LogUnavailableError
(try again, make room, ask for rights) or LogBrokenError (this is no shop log, or
is one no longer).

Source: SQLite documentation, "Result and Error Codes", "Write-Ahead Logging",
"PRAGMA synchronous" and "Defense Against The Dark Arts".
"""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import TypeVar

from cardprep.errors import CardprepError, LogBrokenError, LogUnavailableError
from cardprep.shoplog.record import LINE_LIMIT

Value = TypeVar("Value")

_UNAVAILABLE = {
    sqlite3.SQLITE_BUSY: "log.busy",
    sqlite3.SQLITE_LOCKED: "log.busy",
    sqlite3.SQLITE_PROTOCOL: "log.busy",
    sqlite3.SQLITE_FULL: "log.full",
    sqlite3.SQLITE_READONLY: "log.read-only",
    sqlite3.SQLITE_PERM: "log.read-only",
    sqlite3.SQLITE_CANTOPEN: "log.cannot-open",
    sqlite3.SQLITE_IOERR: "log.input-output",
}


@contextmanager
def connected(path: Path, wait: float, *, create: bool = False) -> Iterator[sqlite3.Connection]:
    """Give a connection, and close it again if what is done with it fails.

    `wait` is how many seconds a transaction waits for another process. With
    `create`, a file that is not there is made first, empty.
    """
    with refusals():
        if create:
            # What the shop did for its customers is nobody else's to read.
            with suppress(FileExistsError):
                os.close(os.open(path, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600))
        connection = sqlite3.connect(
            path.absolute().as_uri() + "?mode=rw",
            uri=True,
            timeout=wait,
            isolation_level=None,
            check_same_thread=False,
        )
        try:
            # One row holds a line and little more. SQLite refuses longer ones unread.
            connection.setlimit(sqlite3.SQLITE_LIMIT_LENGTH, 2 * LINE_LIMIT)
            connection.execute("PRAGMA trusted_schema = OFF")
            connection.execute("PRAGMA cell_size_check = ON")
            connection.execute("PRAGMA synchronous = FULL")
            yield connection
        except BaseException:
            connection.close()
            raise


def use_write_ahead_log(connection: sqlite3.Connection) -> None:
    """Keep changes in a write-ahead log, or raise LogUnavailableError where that cannot be."""
    (mode,) = connection.execute("PRAGMA journal_mode = WAL").fetchone()
    if mode != "wal":
        raise LogUnavailableError("log.input-output")


@contextmanager
def refusals() -> Iterator[None]:
    """Turn what SQLite or the system reports into refusals."""
    try:
        yield
    except sqlite3.ProgrammingError:
        # A wrong statement or a store used after it was closed is our own fault.
        raise
    except sqlite3.Error as error:
        raise _refusal(error) from error
    except UnicodeDecodeError as error:
        # SQLite puts names out of a damaged file into its message, and Python cannot read it.
        raise LogBrokenError("log.damaged") from error
    except OSError as error:
        raise LogUnavailableError("log.cannot-open") from error


def checked(value: object, kind: type[Value]) -> Value:
    """Return a value that came out of the file if it is of that kind, else LogBrokenError."""
    if not isinstance(value, kind):
        raise LogBrokenError("log.damaged")
    return value


def _refusal(error: sqlite3.Error) -> CardprepError:
    # Errors that Python's module finds by itself, such as text that is no UTF-8, have no code.
    code = getattr(error, "sqlite_errorcode", sqlite3.SQLITE_ERROR)
    # The low byte is the error, the rest says where it came from.
    if (reason := _UNAVAILABLE.get(code & 0xFF)) is not None:
        return LogUnavailableError(reason)
    if code & 0xFF == sqlite3.SQLITE_NOTADB:
        return LogBrokenError("log.not-a-log")
    return LogBrokenError("log.damaged")
