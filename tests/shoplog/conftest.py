"""A shop log for the tests of this room, and a hand that alters it behind our back."""

from __future__ import annotations

import shutil
import sqlite3
from collections.abc import Iterator
from pathlib import Path

import pytest

from cardprep.shoplog.sqlite import SqliteLog
from cardprep.shoplog.store import seal
from cardprep.sshsig import PrivateKey

# Source: RFC 8032 section 7.1, seed of test 1.
SEED = bytes.fromhex("9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60")
CHECKPOINTS = (1, 10, 37, 60)


class Tamper:
    """Another program at the log's file, which takes the triggers away first."""

    def __init__(self, path: Path) -> None:
        self._connection = sqlite3.connect(path, isolation_level=None)
        self("PRAGMA synchronous = OFF")
        for (name,) in self("SELECT name FROM sqlite_schema WHERE type = 'trigger'"):
            self(f"DROP TRIGGER {name}")

    def __call__(self, statement: str, *values: object) -> list[tuple[object, ...]]:
        return self._connection.execute(statement, values).fetchall()


@pytest.fixture(name="key", scope="session")
def _key() -> PrivateKey:
    return PrivateKey(SEED)


@pytest.fixture(name="template", scope="session")
def _template(key: PrivateKey, tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("log") / "log.sqlite"
    log = SqliteLog.create(path, "B")
    for number in range(60):
        card = str(number % 7)
        log.append(
            "card-written",
            1,
            {"card": card, "note": f"stage {number % 2 + 1}", "files": [number]},
            f"2026-02-14T13:{number:02}:00Z",
            index=[("job", f"B{number // 10}"), ("card", card), ("vessel", "Saltwhistle")],
        )
        if number + 1 in CHECKPOINTS:
            seal(log, key)
    log.close()
    return path


@pytest.fixture(name="path")
def _path(template: Path, tmp_path: Path) -> Path:
    """Return the file of a log of our own: 60 records and 4 checkpoints, all invented."""
    return Path(shutil.copy(template, tmp_path))


@pytest.fixture(name="log")
def _log(path: Path) -> Iterator[SqliteLog]:
    log = SqliteLog.open(path)
    yield log
    log.close()


@pytest.fixture(name="tamper")
def _tamper(log: SqliteLog, path: Path) -> Tamper:
    """Return a hand on the file of `log`, which is open already."""
    assert log.size() == 60
    return Tamper(path)
