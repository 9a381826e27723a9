"""The tables of a shop log in SQLite: made from numbered SQL files, and recognized.

The files under ``sql/`` are applied in order and never changed once published;
the number of the last one applied stands in the database (``user_version``). A
database whose tables, indexes and triggers are not letter for letter those that
the files give is not read: a view or trigger put there by somebody else would
run on our side.

Source: SQLite documentation, "The Schema Table", "PRAGMA application_id" and
"PRAGMA user_version".
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from pathlib import Path

from cardprep.errors import LogBrokenError, LogUnavailableError

# "cpsl", so that file(1) and we can tell a shop log from any other database.
APPLICATION_ID = int.from_bytes(b"cpsl", "big")


def newest_version() -> int:
    """Return the number of the newest SQL file."""
    return len(_scripts())


def version_of(connection: sqlite3.Connection) -> int:
    """Return the schema version, 0 for an empty database, or refuse a foreign or newer one."""
    application = _number(connection, "PRAGMA application_id")
    version = _number(connection, "PRAGMA user_version")
    if application == version == 0 and not _number(
        connection, "SELECT count(*) FROM sqlite_schema"
    ):
        return 0
    if application != APPLICATION_ID or version < 1:
        raise LogBrokenError("log.not-a-log")
    if version > newest_version():
        raise LogUnavailableError("log.newer", found=version, known=newest_version())
    return version


def upgrade(connection: sqlite3.Connection, version: int) -> None:
    """Apply the SQL files after `version`, inside the transaction that is open."""
    for script in _scripts()[version:]:
        for statement in _statements(script):
            connection.execute(statement)
    connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")
    connection.execute(f"PRAGMA user_version = {newest_version()}")


def check(connection: sqlite3.Connection) -> None:
    """Return if the database's schema is the one that the SQL files give."""
    expected = sqlite3.connect(":memory:", isolation_level=None)
    try:
        upgrade(expected, 0)
        if _schema(connection) != _schema(expected):
            raise LogBrokenError("log.schema")
    finally:
        expected.close()


def _scripts() -> list[str]:
    # importlib.resources takes several times as long to load as a log takes to open.
    folder = Path(__file__).with_name("sql")
    files = sorted((file.name, file) for file in folder.iterdir() if file.name.endswith(".sql"))
    return [file.read_text(encoding="utf-8") for _, file in files]


def _statements(script: str) -> Iterator[str]:
    # executescript would commit the transaction that is open, so that a broken
    # upgrade could not be taken back.
    statement = ""
    for line in script.splitlines(keepends=True):
        statement += line
        if sqlite3.complete_statement(statement):
            yield statement
            statement = ""


def _schema(connection: sqlite3.Connection) -> list[tuple[object, ...]]:
    # The limit is far above what any version has; a foreign schema may be endless.
    rows = connection.execute(
        "SELECT type, name, tbl_name, sql FROM sqlite_schema ORDER BY type, name LIMIT 100"
    )
    return rows.fetchall()


def _number(connection: sqlite3.Connection, statement: str) -> int:
    (number,) = connection.execute(statement).fetchone()
    return int(number)
