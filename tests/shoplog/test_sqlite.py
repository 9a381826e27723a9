"""The store in a file: what it kept is kept, in order, whoever else is at it."""

from __future__ import annotations

import itertools
import os
import shutil
import signal
import sqlite3
import subprocess
import sys
import tempfile
import threading
from collections.abc import Callable
from pathlib import Path

import pytest

from cardprep.errors import BadValueError, CanonicalError, CardprepError
from cardprep.shoplog import database, schema
from cardprep.shoplog.record import IndexEntry, Record
from cardprep.shoplog.sqlite import SqliteLog
from cardprep.shoplog.store import LogStore, seal
from cardprep.shoplog.tree import leaf_hash
from cardprep.shoplog.verify import verify_log
from cardprep.sshsig import PrivateKey
from cardprep.texts.catalogue import refusal

Tamper = Callable[..., list[tuple[object, ...]]]

TIME = "2026-02-14T13:37:42Z"


def refused(call: Callable[[], object]) -> str:
    with pytest.raises(CardprepError) as caught:
        call()
    text = refusal(caught.value)
    assert "(" not in text.message
    return caught.value.reason


def add(log: LogStore, note: str, index: list[IndexEntry] | None = None) -> Record:
    return log.append("note", 1, {"note": note}, TIME, index=index or [])


def program(text: str, *arguments: object, start: tuple[str, ...] = ()) -> subprocess.Popen[bytes]:
    """Start a process of our own that uses the room."""
    imports = "import os, sys\nfrom pathlib import Path\n"
    imports += "from cardprep.shoplog.sqlite import SqliteLog\n"
    command = [*start, sys.executable, "-c", imports + text, *map(str, arguments)]
    return subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE)


# --- making and opening ----------------------------------------------------------------------


def test_a_new_log_is_empty_and_private(tmp_path: Path, key: PrivateKey) -> None:
    path = tmp_path / "log%20 #?.sqlite"
    log: LogStore = SqliteLog.create(path, "B")
    assert (log.bench, log.size(), list(log.lines()), log.checkpoints()) == ("B", 0, [], [])
    assert path.stat().st_mode & 0o777 == 0o600
    assert verify_log(log, key.public_key).size == 0
    log.close()
    log.close()
    assert [file.name for file in tmp_path.iterdir()] == [path.name]


def test_a_log_is_not_made_twice(tmp_path: Path) -> None:
    path = tmp_path / "log"
    SqliteLog.create(path, "B").close()
    assert refused(lambda: SqliteLog.create(path, "C")) == "log.exists"
    assert SqliteLog.open(path).bench == "B"


def test_a_bench_has_a_letter(tmp_path: Path) -> None:
    assert refused(lambda: SqliteLog.create(tmp_path / "log", "bench")) == "record.bench"
    assert not list(tmp_path.iterdir())


def test_an_empty_file_is_what_a_broken_off_creation_leaves(tmp_path: Path) -> None:
    path = tmp_path / "log"
    path.touch()
    assert refused(lambda: SqliteLog.open(path)) == "log.not-a-log"
    assert SqliteLog.create(path, "B").size() == 0


def test_what_cannot_be_opened(tmp_path: Path) -> None:
    missing = tmp_path / "missing" / "log"
    assert refused(lambda: SqliteLog.open(missing)) == "log.cannot-open"
    assert refused(lambda: SqliteLog.create(missing, "B")) == "log.cannot-open"
    assert refused(lambda: SqliteLog.open(tmp_path)) == "log.cannot-open"
    assert refused(lambda: SqliteLog.open(tmp_path / "none")) == "log.cannot-open"
    assert not list(tmp_path.iterdir())


def test_what_is_not_a_log(tmp_path: Path) -> None:
    text = tmp_path / "text"
    text.write_bytes(b"not a database\n" * 100)
    assert refused(lambda: SqliteLog.open(text)) == "log.not-a-log"
    assert refused(lambda: SqliteLog.create(text, "B")) == "log.not-a-log"
    other = tmp_path / "other"
    connection = sqlite3.connect(other)
    connection.execute("CREATE TABLE song (title TEXT)")
    connection.close()
    before = other.read_bytes()
    assert refused(lambda: SqliteLog.open(other)) == "log.not-a-log"
    assert refused(lambda: SqliteLog.create(other, "B")) == "log.not-a-log"
    assert other.read_bytes() == before


def test_a_newer_log_is_left_alone(path: Path) -> None:
    with sqlite3.connect(path) as connection:
        connection.execute("PRAGMA user_version = 99")
    connection.close()
    assert refused(lambda: SqliteLog.open(path)) == "log.newer"


@pytest.mark.parametrize(
    "statement",
    [
        "CREATE VIEW extra AS SELECT 1",
        "DROP TRIGGER record_stays",
        "DROP INDEX index_entry_by_value",
        "ALTER TABLE record ADD COLUMN extra TEXT",
        "CREATE TRIGGER spy AFTER INSERT ON record BEGIN DELETE FROM index_entry; END",
    ],
)
def test_other_tables_than_ours_are_refused(path: Path, statement: str) -> None:
    with sqlite3.connect(path) as connection:
        connection.execute(statement)
    connection.close()
    assert refused(lambda: SqliteLog.open(path)) == "log.schema"


@pytest.mark.parametrize(
    "statement",
    ["DELETE FROM log", "INSERT INTO log VALUES ('C')", "UPDATE log SET bench = 'bench'"],
)
def test_a_log_of_no_bench_is_refused(path: Path, statement: str) -> None:
    with sqlite3.connect(path) as connection:
        connection.execute(statement)
    connection.close()
    assert refused(lambda: SqliteLog.open(path)) == "log.damaged"


def test_an_older_schema_is_brought_up_to_date(
    path: Path, key: PrivateKey, monkeypatch: pytest.MonkeyPatch
) -> None:
    scripts = [*schema._scripts(), "-- a later one\nCREATE TABLE later (\n  x TEXT\n) STRICT;\n"]
    monkeypatch.setattr(schema, "_scripts", lambda: scripts)
    for _ in range(2):
        log = SqliteLog.open(path)
        assert verify_log(log, key.public_key).size == 60
        assert log._connection.execute("PRAGMA user_version").fetchone() == (2,)
        assert log._connection.execute("SELECT count(*) FROM later").fetchone() == (0,)
        log.close()
    monkeypatch.undo()
    assert refused(lambda: SqliteLog.open(path)) == "log.newer"


def test_a_broken_upgrade_changes_nothing(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    scripts = [*schema._scripts(), "CREATE TABLE later (x TEXT);\nCREATE TABLE record (x TEXT);"]
    monkeypatch.setattr(schema, "_scripts", lambda: scripts)
    assert refused(lambda: SqliteLog.open(path)) == "log.damaged"
    monkeypatch.undo()
    assert SqliteLog.open(path).size() == 60


def test_a_place_without_write_ahead_log_is_refused() -> None:
    connection = sqlite3.connect(":memory:")
    assert refused(lambda: database.use_write_ahead_log(connection)) == "log.input-output"
    connection.close()


# --- adding and reading ----------------------------------------------------------------------


def test_records_are_numbered_and_read_back(tmp_path: Path) -> None:
    log = SqliteLog.create(tmp_path / "log", "B")
    records = [add(log, f"note {number}") for number in range(200)]
    assert [record.sequence for record in records] == list(range(200))
    assert list(log.records()) == records
    assert list(log.lines()) == [record.to_line() for record in records]
    assert list(log.leaf_hashes()) == [leaf_hash(line) for line in log.lines()]
    assert log.line(63) == records[63].to_line()
    assert list(log.records(60, 70)) == records[60:70]
    assert list(log.records(199)) == records[199:]
    assert list(log.records(7, 7)) == []
    log.close()


@pytest.mark.parametrize("sequence", [-1, 60, 2**53, 2**70])
def test_a_record_that_is_not_there(log: SqliteLog, sequence: int) -> None:
    assert refused(lambda: log.line(sequence)) == "log.range"


def test_a_range_that_is_not_there(log: SqliteLog) -> None:
    for start, stop in ((-1, 2), (2, 1), (0, 61), (61, None)):
        assert refused(lambda start=start, stop=stop: list(log.lines(start, stop))) == "log.range"  # type: ignore[misc]


def test_a_reopened_log_goes_on(path: Path, key: PrivateKey) -> None:
    for number in range(60, 63):
        log = SqliteLog.open(path)
        assert add(log, "again").sequence == number
        seal(log, key)
        log.close()
    log = SqliteLog.open(path)
    assert verify_log(log, key.public_key).sealed == 63
    log.close()


@pytest.mark.parametrize(
    ("changes", "error"),
    [
        pytest.param({"kind": "Note"}, BadValueError, id="kind"),
        pytest.param({"time": "yesterday"}, BadValueError, id="time"),
        pytest.param({"body": {"x": 1.5}}, CanonicalError, id="float"),
        pytest.param({"index": [("colour", "red")]}, BadValueError, id="unknown field"),
        pytest.param({"index": [("\x1b", "red")]}, BadValueError, id="escape code"),
        pytest.param({"index": [("job", "")]}, BadValueError, id="empty value"),
        pytest.param({"index": [("job", "\udc80")]}, CanonicalError, id="surrogate"),
    ],
)
def test_what_is_no_record_leaves_nothing(
    log: SqliteLog, key: PrivateKey, changes: dict[str, object], error: type[Exception]
) -> None:
    fields: dict[str, object] = {"kind": "note", "kind_version": 1, "body": {}, "time": TIME}
    with pytest.raises(error):
        log.append(**(fields | changes))  # type: ignore[arg-type]
    assert log.size() == 60
    assert add(log, "next").sequence == 60
    assert verify_log(log, key.public_key).size == 61


def test_look_up(log: SqliteLog) -> None:
    found = log.find("job", "B3")
    assert [record.sequence for record in found] == list(range(30, 40))
    assert [record.sequence for record in log.find("card", "2")] == list(range(2, 60, 7))
    assert len(log.find("vessel", "Saltwhistle")) == 60
    assert log.find("vessel", "saltwhistle") == []
    assert log.find("serial", "B3") == []
    odd = "a\0b\u202e' OR 1=1 --"
    record = add(log, "odd", [("serial", odd), ("serial", odd), ("file", "UPDATE.BIN")])
    assert log.find("serial", odd) == [record]
    assert log.find("serial", "a") == []
    assert refused(lambda: log.find("serial", "\udcff")) == "canonical.unicode"
    assert refused(lambda: log.find("Serial", "x")) == "record.index-field"
    assert refused(lambda: log.find("serial", "")) == "record.index-value"


def test_index_entries_in_batches(tmp_path: Path) -> None:
    log = SqliteLog.create(tmp_path / "log", "B")
    for number in range(5):
        add(log, "files", [("file", f"{number}-{file}") for file in range(64)])
    entries = list(log.index_entries())
    assert entries == sorted(entries)
    assert len(entries) == 5 * 64
    assert [entry[0] for entry in log.index_entries(2, 4)] == [2] * 64 + [3] * 64
    log.close()


# --- checkpoints -----------------------------------------------------------------------------


def test_a_checkpoint_is_kept_once(log: SqliteLog, key: PrivateKey) -> None:
    kept = log.checkpoints()
    assert [checkpoint.size for checkpoint in kept] == [1, 10, 37, 60]
    assert log.add_checkpoint(kept[1].text, kept[1].signature) == kept[1]
    assert log.checkpoints() == kept
    other = kept[0].signature
    assert refused(lambda: log.add_checkpoint(kept[1].text, other)) == "checkpoint.twice"
    assert seal(log, key) == kept[-1]
    assert log.checkpoints() == kept


@pytest.mark.parametrize("signature", ["x" * 5000, "\u00e9", "\udc80"])
def test_what_cannot_be_a_signature_is_not_kept(log: SqliteLog, signature: str) -> None:
    text = log.checkpoints()[0].text
    assert refused(lambda: log.add_checkpoint(text, signature)) == "checkpoint.signature"


# --- others at the same file -----------------------------------------------------------------

APPEND = """
log = SqliteLog.open(Path(sys.argv[1]))
sys.stdin.read()
for number in range(int(sys.argv[2])):
    body = {"who": sys.argv[3], "number": number}
    log.append("note", 1, body, "2026-02-14T13:37:42Z", index=[("card", sys.argv[3])])
    print(number, flush=True)
os._exit(9)
"""


def test_two_processes_take_turns(path: Path, key: PrivateKey) -> None:
    workers = [program(APPEND, path, 40, who) for who in ("one", "two")]
    for worker in workers:
        assert worker.stdin is not None
        worker.stdin.close()
    for worker in workers:
        with worker:
            assert worker.stdout is not None
            worker.stdout.read()
        # os._exit: nothing was closed or tidied up, and nothing is lost.
        assert worker.returncode == 9
    log = SqliteLog.open(path)
    assert verify_log(log, key.public_key).size == 140
    for who in ("one", "two"):
        assert [record.body["number"] for record in log.find("card", who)] == list(range(40))
    log.close()


def test_a_process_killed_at_work_loses_nothing_that_it_reported(
    path: Path, key: PrivateKey
) -> None:
    with program(APPEND, path, 100_000, "one") as worker:
        assert worker.stdin is not None
        assert worker.stdout is not None
        worker.stdin.close()
        reported = [int(line) for line in itertools.islice(worker.stdout, 25)]
        worker.kill()
        reported += [int(line) for line in worker.stdout if line.endswith(b"\n")]
    assert worker.returncode == -signal.SIGKILL
    log = SqliteLog.open(path)
    # One more may have been kept and not yet reported.
    kept = [record.body["number"] for record in log.find("card", "one")]
    assert kept in (reported, [*reported, len(reported)])
    assert verify_log(log, key.public_key).size == 60 + len(kept)
    log.close()


def test_threads_take_turns(log: SqliteLog, key: PrivateKey) -> None:
    def work() -> None:
        for number in range(15):
            add(log, f"{number}")

    threads = [threading.Thread(target=work) for _ in range(3)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert verify_log(log, key.public_key).size == 105


def test_whoever_waits_too_long_is_told(path: Path, key: PrivateKey) -> None:
    log = SqliteLog.open(path, wait=0.05)
    other = sqlite3.connect(path, isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    assert refused(lambda: add(log, "x")) == "log.busy"
    # Reading goes on meanwhile.
    assert verify_log(log, key.public_key).size == 60
    other.execute("ROLLBACK")
    assert add(log, "x").sequence == 60
    other.close()
    log.close()


# --- a disk that does not play along ---------------------------------------------------------


def test_no_room(log: SqliteLog, key: PrivateKey) -> None:
    (pages,) = log._connection.execute("PRAGMA page_count").fetchone()
    log._connection.execute(f"PRAGMA max_page_count = {pages}")
    found = refused(lambda: [add(log, "x" * 3000) for _ in range(10)])
    assert found == "log.full"
    log._connection.execute(f"PRAGMA max_page_count = {pages + 100}")
    size = log.size()
    assert add(log, "room again").sequence == size
    assert verify_log(log, key.public_key).size == size + 1


def test_a_log_that_is_read_only(log: SqliteLog) -> None:
    log._connection.execute("PRAGMA query_only = ON")
    assert refused(lambda: add(log, "x")) == "log.read-only"
    assert log.size() == 60


def test_a_file_without_the_right_to_write(path: Path) -> None:
    # As another user, since root may write anywhere; and in a folder that this one can reach.
    user = 65534 if os.getuid() == 0 else os.getuid()
    # Opened once before, because that user may not be able to read Python's own modules.
    text = """
from cardprep.errors import CardprepError
SqliteLog.open(Path(sys.argv[1])).close()
os.chmod(sys.argv[1], int(sys.argv[3]))
os.chmod(os.path.dirname(sys.argv[1]), int(sys.argv[4]))
os.setuid(int(sys.argv[2]))
try:
    log = SqliteLog.open(Path(sys.argv[1]))
    log.append("note", 1, {}, "2026-02-14T13:37:42Z")
except CardprepError as error:
    print(error.reason, flush=True)
os._exit(0)
"""
    with tempfile.TemporaryDirectory() as folder:
        copy = Path(shutil.copy(path, folder))
        os.chown(folder, user, -1)
        os.chown(copy, user, -1)
        for file_mode, folder_mode in ((0o400, 0o500), (0o400, 0o700), (0o000, 0o700)):
            with program(text, copy, user, file_mode, folder_mode) as worker:
                printed = worker.communicate()[0].decode().strip()
            assert printed in {"log.read-only", "log.cannot-open"}, oct(file_mode)
            Path(folder).chmod(0o700)
            copy.chmod(0o600)


def test_a_program_that_is_wrong_is_our_own_fault(path: Path) -> None:
    log = SqliteLog.open(path)
    log.close()
    with pytest.raises(sqlite3.ProgrammingError):
        log.size()


@pytest.mark.parametrize(
    ("code", "reason"),
    [
        (sqlite3.SQLITE_IOERR_FSYNC, "log.input-output"),
        (sqlite3.SQLITE_BUSY_SNAPSHOT, "log.busy"),
        (sqlite3.SQLITE_READONLY_DBMOVED, "log.read-only"),
        (sqlite3.SQLITE_CORRUPT_INDEX, "log.damaged"),
        (sqlite3.SQLITE_NOTADB, "log.not-a-log"),
        (sqlite3.SQLITE_CONSTRAINT_PRIMARYKEY, "log.damaged"),
    ],
)
def test_error_codes(code: int, reason: str) -> None:
    def fail() -> None:
        error = sqlite3.DatabaseError("x")
        error.sqlite_errorcode = code
        with database.refusals():
            raise error

    assert refused(fail) == reason


# --- on stable storage -----------------------------------------------------------------------


@pytest.mark.oracle
def test_an_append_is_synced_before_it_returns(path: Path, tmp_path: Path) -> None:
    trace = tmp_path / "trace"
    calls = "trace=pwrite64,write,fdatasync,fsync"
    start = ("strace", "-f", "-y", "-o", str(trace), "-e", calls)
    with program(APPEND, path, 3, "one", start=start) as worker:
        worker.communicate()
    # One word per call: the write-ahead log is written, synced, and only then is it reported.
    calls_made = []
    for line in trace.read_text().splitlines():
        call = line.split(maxsplit=1)[1].split("(")[0]
        if "log.sqlite-wal>" in line:
            calls_made.append("write" if "write" in call else "sync")
        elif call == "write" and line.split("(")[1].startswith("1<"):
            calls_made.append("report")
    shortened = [call for call, _ in itertools.groupby(calls_made)]
    assert shortened[:9] in (
        ["write", "sync", "report"] * 3,
        # The first write of a new write-ahead log syncs its header on its own.
        ["write", "sync", "write", "sync", "report", "write", "sync", "report", "write"],
    )
    assert shortened[-2:] == ["sync", "report"]


@pytest.mark.oracle
def test_a_creation_killed_at_any_write_leaves_nothing_or_a_log(
    tmp_path: Path, key: PrivateKey
) -> None:
    text = """
log = SqliteLog.create(Path(sys.argv[1]), "B")
log.append("note", 1, {}, "2026-02-14T13:37:42Z")
os._exit(0)
"""
    outcomes = set()
    refusals = set()
    for number in itertools.count(1):
        path = tmp_path / f"log{number}"
        kill = f"inject=pwrite64:signal=KILL:when={number}"
        quiet = ("strace", "-f", "-o", "/dev/null", "-e", "trace=pwrite64", "-e", kill)
        with program(text, path, start=quiet) as worker:
            worker.communicate()
        try:
            log = SqliteLog.open(path)
        except CardprepError as error:
            refusals.add(error.reason)
            log = SqliteLog.create(path, "B")
        outcomes.add(log.size())
        assert verify_log(log, key.public_key).size == log.size()
        assert add(log, "next").sequence in (0, 1)
        log.close()
        if worker.returncode == 0:
            break
    assert number > 5
    assert outcomes == {0, 1}
    assert refusals == {"log.not-a-log"}


@pytest.mark.oracle
def test_the_file_can_be_read_without_cardprep(path: Path, log: SqliteLog) -> None:
    copy = shutil.copy(path, path.with_name("copy"))
    query = "SELECT CAST(line AS TEXT) FROM record ORDER BY sequence"
    read = subprocess.run(["sqlite3", copy, query], capture_output=True, check=True).stdout
    assert read.splitlines() == list(log.lines())


# --- altered behind our back -----------------------------------------------------------------


def test_the_triggers_keep_an_honest_program_from_changing_records(path: Path) -> None:
    connection = sqlite3.connect(path)
    for statement in (
        "UPDATE record SET line = x'00'",
        "DELETE FROM record WHERE sequence = 59",
        "UPDATE checkpoint SET text = x'00'",
        "DELETE FROM checkpoint",
    ):
        with pytest.raises(sqlite3.IntegrityError, match="only added"):
            connection.execute(statement)
    connection.close()


def test_reading_says_which_record_is_wrong(log: SqliteLog, tamper: Tamper) -> None:
    tamper("UPDATE record SET line = x'7b7d' WHERE sequence = 5")
    tamper("UPDATE record SET leaf_hash = x'00' WHERE sequence = 6")
    tamper("DELETE FROM record WHERE sequence = 8")
    assert refused(lambda: list(log.records(4))) == "log.line"
    assert refused(lambda: log.find("job", "B0")) == "log.leaf-hash"
    assert refused(lambda: list(log.leaf_hashes())) == "log.leaf-hash"
    assert refused(lambda: log.line(8)) == "log.missing"
    assert refused(lambda: list(log.lines(7))) == "log.missing"
    assert len(list(log.records(9))) == 51


def test_a_record_before_the_first_is_found(log: SqliteLog, tamper: Tamper) -> None:
    tamper("INSERT INTO record SELECT -1, line, leaf_hash FROM record WHERE sequence = 3")
    tamper("INSERT INTO index_entry VALUES (-1, 'job', 'planted')")
    assert refused(log.size) == "log.missing"
    assert refused(lambda: log.find("job", "planted")) == "log.sequence"


def test_other_types_in_the_file_are_refused(path: Path) -> None:
    # A file written without STRICT holds anything in any column.
    connection = sqlite3.connect(path)
    connection.execute("PRAGMA writable_schema = ON")
    loose = "UPDATE sqlite_schema SET sql = replace(sql, ') STRICT', ')') WHERE type = 'table'"
    connection.execute(loose)
    connection.execute("DELETE FROM sqlite_schema WHERE type = 'trigger'")
    connection.commit()
    connection.close()
    connection = sqlite3.connect(path)
    connection.execute("UPDATE record SET line = 'text' WHERE sequence = 2")
    connection.execute("UPDATE record SET leaf_hash = 7.5 WHERE sequence = 3")
    connection.execute("UPDATE checkpoint SET text = 'text' WHERE size = 1")
    connection.execute("INSERT INTO index_entry VALUES (4, x'00', 'value')")
    connection.execute("INSERT INTO index_entry VALUES (5, 'job', CAST(x'ff' AS TEXT))")
    connection.commit()
    connection.close()
    with database.connected(path, 1) as opened:
        log = SqliteLog(opened, "B")
        assert refused(lambda: list(log.lines())) == "log.line"
        assert refused(lambda: list(log.leaf_hashes())) == "log.leaf-hash"
        assert refused(log.checkpoints) == "log.damaged"
        assert refused(lambda: list(log.index_entries(4, 5))) == "log.damaged"
        assert refused(lambda: list(log.index_entries(5, 6))) == "log.damaged"
        log.close()


def test_a_line_beyond_all_limits_is_not_even_read(log: SqliteLog, tamper: Tamper) -> None:
    tamper("UPDATE record SET line = zeroblob(50000000) WHERE sequence = 3")
    assert refused(lambda: log.line(3)) == "log.damaged"


def test_rows_that_come_round_again_are_refused(
    log: SqliteLog, monkeypatch: pytest.MonkeyPatch
) -> None:
    class Looping:
        def execute(self, *_: object) -> Looping:
            return self

        def fetchall(self) -> list[tuple[object, ...]]:
            return [(0, "card", "0")] * 64

        def fetchone(self) -> tuple[int, int]:
            return (0, 59)

        def close(self) -> None:
            pass

    monkeypatch.setattr(log, "_connection", Looping())
    assert refused(lambda: list(log.index_entries())) == "log.damaged"


def test_any_altered_byte_of_the_file_is_found_or_harmless(path: Path, key: PrivateKey) -> None:
    log = SqliteLog.open(path)
    state, records = verify_log(log, key.public_key), list(log.records())
    log.close()
    whole = path.read_bytes()
    found = 0
    # Every header byte, and a step through all pages that shares no factor with their size.
    for at in [*range(100), *range(101, len(whole), 241)]:
        copy = path.with_name("copy")
        for rest in ("-wal", "-shm"):
            path.with_name("copy" + rest).unlink(missing_ok=True)
        copy.write_bytes(whole[:at] + bytes([whole[at] ^ 0xFF]) + whole[at + 1 :])
        try:
            log = SqliteLog.open(copy)
        except CardprepError:
            found += 1
            continue
        try:
            assert verify_log(log, key.public_key) == state, at
            assert list(log.records()) == records
            log.find("job", "B3")
        except CardprepError:
            found += 1
        finally:
            log.close()
    assert found > len(whole) / 241 / 2
