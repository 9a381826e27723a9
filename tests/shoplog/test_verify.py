"""A log of 60 records, altered in every way that can be thought of: each is found and named."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from pathlib import Path

import pytest

from cardprep.errors import LogBrokenError
from cardprep.shoplog.checkpoint import Checkpoint, sign_checkpoint
from cardprep.shoplog.record import parse_line
from cardprep.shoplog.sqlite import SqliteLog
from cardprep.shoplog.tree import leaf_hash, root_of
from cardprep.shoplog.verify import LogState, verify_log
from cardprep.sshsig import PrivateKey
from cardprep.texts.catalogue import refusal

Tamper = Callable[..., list[tuple[object, ...]]]
SET_LINE = "UPDATE record SET line = ?, leaf_hash = ? WHERE sequence = ?"


def broken(log: SqliteLog, key: PrivateKey) -> tuple[str, int]:
    """Return what is found to be wrong: the reason and the record or checkpoint."""
    with pytest.raises(LogBrokenError) as caught:
        verify_log(log, key.public_key)
    assert "(" not in refusal(caught.value).message
    named = caught.value.parameters
    place = named["checkpoint"] if "checkpoint" in named else named["sequence"]
    assert isinstance(place, int)
    return caught.value.reason, place


def test_a_whole_log(log: SqliteLog, key: PrivateKey) -> None:
    root = root_of(leaf_hash(line) for line in log.lines())
    expected = LogState(bench="B", size=60, root=root, checkpoints=4, sealed=60)
    assert verify_log(log, key.public_key) == expected
    log.append("note", 1, {}, "2026-02-14T13:37:42Z")
    state = verify_log(log, key.public_key)
    assert (state.size, state.sealed) == (61, 60)


def test_a_log_without_checkpoints_is_not_sealed(tmp_path: Path, key: PrivateKey) -> None:
    log = SqliteLog.create(tmp_path / "log", "B")
    log.append("note", 1, {}, "2026-02-14T13:37:42Z")
    state = verify_log(log, key.public_key)
    assert (state.size, state.checkpoints, state.sealed) == (1, 0, 0)
    log.close()


def test_another_key(log: SqliteLog) -> None:
    assert broken(log, PrivateKey(bytes(32))) == ("log.checkpoint-signature", 1)


@pytest.mark.parametrize("sequence", [0, 30, 59])
def test_every_byte_of_a_line(
    log: SqliteLog, tamper: Tamper, key: PrivateKey, sequence: int
) -> None:
    line = log.line(sequence)
    for at in range(len(line)):
        altered = line[:at] + bytes([line[at] ^ 0xFF]) + line[at + 1 :]
        tamper("UPDATE record SET line = ? WHERE sequence = ?", altered, sequence)
        assert broken(log, key) == ("log.line", sequence)


def test_bytes_of_every_line_also_where_the_line_stays_a_record(
    log: SqliteLog, tamper: Tamper, key: PrivateKey
) -> None:
    lines = list(log.lines())
    reasons = set()
    for sequence, line in enumerate(lines):
        for at in range(sequence % 17, len(line), 17):
            # The lowest bit makes one digit or letter of another, and often a good record.
            altered = line[:at] + bytes([line[at] ^ 0x01]) + line[at + 1 :]
            tamper("UPDATE record SET line = ? WHERE sequence = ?", altered, sequence)
            reason, place = broken(log, key)
            assert place == sequence
            reasons.add(reason)
        tamper("UPDATE record SET line = ? WHERE sequence = ?", line, sequence)
    assert reasons == {"log.line", "log.sequence", "log.bench", "log.leaf-hash"}
    assert verify_log(log, key.public_key).size == 60


def test_every_leaf_hash(log: SqliteLog, tamper: Tamper, key: PrivateKey) -> None:
    for sequence, kept in enumerate(list(log.leaf_hashes())):
        at = sequence % 32
        altered = kept[:at] + bytes([kept[at] ^ 0xFF]) + kept[at + 1 :]
        tamper("UPDATE record SET leaf_hash = ? WHERE sequence = ?", altered, sequence)
        assert broken(log, key) == ("log.leaf-hash", sequence)
        tamper("UPDATE record SET leaf_hash = ? WHERE sequence = ?", kept, sequence)


def rewrite(log: SqliteLog, tamper: Tamper, sequence: int, old: bytes, new: bytes) -> None:
    """Alter a record as somebody would who knows how leaf hashes are made."""
    line = log.line(sequence).replace(old, new)
    assert parse_line(line).sequence == sequence
    tamper(SET_LINE, line, leaf_hash(line), sequence)


@pytest.mark.parametrize(
    ("sequence", "checkpoint"),
    [(0, 1), (1, 10), (9, 10), (10, 37), (36, 37), (37, 60), (59, 60)],
)
def test_a_record_rewritten_with_its_leaf_hash(
    log: SqliteLog, tamper: Tamper, key: PrivateKey, sequence: int, checkpoint: int
) -> None:
    rewrite(log, tamper, sequence, b"stage", b"phase")
    assert broken(log, key) == ("log.checkpoint-root", checkpoint)


def test_two_records_swapped(log: SqliteLog, tamper: Tamper, key: PrivateKey) -> None:
    tamper("UPDATE record SET sequence = 1000 WHERE sequence = 20")
    tamper("UPDATE record SET sequence = 20 WHERE sequence = 41")
    tamper("UPDATE record SET sequence = 41 WHERE sequence = 1000")
    assert broken(log, key) == ("log.sequence", 20)


def test_two_records_swapped_and_numbered_anew(
    log: SqliteLog, tamper: Tamper, key: PrivateKey
) -> None:
    one, other = log.line(20), log.line(27)
    index = b'"index":{"card":["6"],"job":["B2"],"vessel":["Saltwhistle"]}'
    assert index in one
    assert index in other
    moved = {
        20: other.replace(b'"sequence":27', b'"sequence":20'),
        27: one.replace(b'"sequence":20', b'"sequence":27'),
    }
    for sequence, changed in moved.items():
        tamper(SET_LINE, changed, leaf_hash(changed), sequence)
    # Even the look-up agrees. Only the signed root does not.
    assert broken(log, key) == ("log.checkpoint-root", 37)


def test_a_record_replayed(log: SqliteLog, tamper: Tamper, key: PrivateKey) -> None:
    line = log.line(59)
    tamper("INSERT INTO record VALUES (60, ?, ?)", line, leaf_hash(line))
    assert broken(log, key) == ("log.sequence", 60)
    tamper(SET_LINE, log.line(3), leaf_hash(log.line(3)), 50)
    assert broken(log, key) == ("log.sequence", 50)


def test_a_record_taken_out(log: SqliteLog, tamper: Tamper, key: PrivateKey) -> None:
    tamper("DELETE FROM record WHERE sequence = 33")
    assert broken(log, key) == ("log.missing", 33)
    # The others moved up, as if it had never been.
    tamper("UPDATE record SET sequence = sequence - 1 WHERE sequence > 33")
    assert broken(log, key) == ("log.sequence", 33)


def test_the_end_cut_off(log: SqliteLog, tamper: Tamper, key: PrivateKey) -> None:
    tamper("DELETE FROM record WHERE sequence >= 40")
    tamper("DELETE FROM index_entry WHERE sequence >= 40")
    assert broken(log, key) == ("log.checkpoint-ahead", 60)
    # What the docstring says that cannot be found: the checkpoint is cut off as well.
    tamper("DELETE FROM checkpoint WHERE size > 40")
    state = verify_log(log, key.public_key)
    assert (state.size, state.sealed) == (40, 37)
    # And records that no checkpoint covers, rewritten with all that follows.
    rewrite(log, tamper, 38, b"stage", b"phase")
    assert verify_log(log, key.public_key).size == 40


def test_all_records_gone(log: SqliteLog, tamper: Tamper, key: PrivateKey) -> None:
    tamper("DELETE FROM record")
    assert broken(log, key) == ("log.checkpoint-ahead", 1)
    tamper("DELETE FROM checkpoint")
    # Index entries of records that are not there find nothing.
    assert log.find("job", "B3") == []
    assert verify_log(log, key.public_key).size == 0


@pytest.mark.parametrize(
    ("statement", "sequence"),
    [
        pytest.param("DELETE FROM index_entry WHERE sequence = 12", 12, id="all of a record"),
        pytest.param(
            "DELETE FROM index_entry WHERE sequence = 12 AND field = 'vessel'", 12, id="the last"
        ),
        pytest.param(
            "DELETE FROM index_entry WHERE sequence = 59 AND field = 'vessel'", 59, id="of all"
        ),
        pytest.param("DELETE FROM index_entry", 0, id="all"),
        pytest.param("INSERT INTO index_entry VALUES (12, 'card', '0')", 12, id="one before"),
        pytest.param("INSERT INTO index_entry VALUES (12, 'serial', '0')", 12, id="one between"),
        pytest.param("INSERT INTO index_entry VALUES (12, 'zebra', '0')", 12, id="one behind"),
        pytest.param("INSERT INTO index_entry VALUES (59, 'zebra', '0')", 59, id="at the end"),
        pytest.param(
            "UPDATE index_entry SET value = 'B9' WHERE sequence = 12 AND field = 'job'",
            12,
            id="other value",
        ),
        pytest.param(
            "UPDATE index_entry SET sequence = 13 WHERE sequence = 12 AND field = 'card'",
            12,
            id="other record",
        ),
    ],
)
def test_the_look_up(
    log: SqliteLog, tamper: Tamper, key: PrivateKey, statement: str, sequence: int
) -> None:
    tamper(statement)
    assert broken(log, key) == ("log.index", sequence)


def test_every_byte_of_a_checkpoint(log: SqliteLog, tamper: Tamper, key: PrivateKey) -> None:
    for kept in log.checkpoints():
        for at in range(len(kept.text)):
            altered = kept.text[:at] + bytes([kept.text[at] ^ 0xFF]) + kept.text[at + 1 :]
            tamper("UPDATE checkpoint SET text = ? WHERE size = ?", altered, kept.size)
            assert broken(log, key) == ("log.checkpoint-signature", kept.size)
        tamper("UPDATE checkpoint SET text = ? WHERE size = ?", kept.text, kept.size)


def test_every_character_of_a_signature(log: SqliteLog, tamper: Tamper, key: PrivateKey) -> None:
    kept = log.checkpoints()[0]
    armor = kept.signature
    # But for the last line end, which no reader of armor needs.
    for at in range(len(armor) - 1):
        altered = armor[:at] + chr(ord(armor[at]) ^ 0x01) + armor[at + 1 :]
        tamper("UPDATE checkpoint SET signature = ? WHERE size = 1", altered)
        assert broken(log, key) == ("log.checkpoint-signature", 1)


def test_a_checkpoint_in_the_place_of_another(
    log: SqliteLog, tamper: Tamper, key: PrivateKey
) -> None:
    tamper("UPDATE checkpoint SET size = 36 WHERE size = 37")
    assert broken(log, key) == ("log.checkpoint-text", 36)
    tamper("UPDATE checkpoint SET size = 0 WHERE size = 36")
    assert broken(log, key) == ("log.checkpoint-ahead", 0)


@pytest.mark.parametrize(
    ("bench", "size", "reason"),
    [
        pytest.param("C", 37, "log.checkpoint-bench", id="other bench"),
        pytest.param("B", 36, "log.checkpoint-text", id="other size"),
        pytest.param("B", 37, "log.checkpoint-root", id="other root"),
    ],
)
def test_a_checkpoint_signed_by_the_key_over_something_else(
    log: SqliteLog, tamper: Tamper, key: PrivateKey, bench: str, size: int, reason: str
) -> None:
    # The root is right in the first two cases and not in the third.
    covered = 37 if reason != "log.checkpoint-root" else 36
    other = Checkpoint(bench=bench, size=size, root=root_of(log.leaf_hashes(0, covered)))
    signed = sign_checkpoint(other, key)
    tamper(
        "UPDATE checkpoint SET text = ?, signature = ? WHERE size = 37",
        signed.text,
        signed.signature,
    )
    assert broken(log, key) == (reason, 37)


def test_a_signed_text_that_is_no_checkpoint(
    log: SqliteLog, tamper: Tamper, key: PrivateKey
) -> None:
    from cardprep import sshsig

    text = b"cardprep shop log B\n37\n"
    armor = sshsig.sign(text, sshsig.CHECKPOINT_NAMESPACE, key)
    tamper("UPDATE checkpoint SET text = ?, signature = ? WHERE size = 37", text, armor)
    assert broken(log, key) == ("log.checkpoint-text", 37)


def test_a_log_with_the_name_of_another_bench(path: Path, key: PrivateKey) -> None:
    with sqlite3.connect(path) as connection:
        connection.execute("UPDATE log SET bench = 'C'")
    connection.close()
    reopened = SqliteLog.open(path)
    assert broken(reopened, key) == ("log.bench", 0)
    reopened.close()
