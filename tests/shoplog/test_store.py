"""What a store is asked to check, and the checkpoint made of one."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path

import pytest

from cardprep import shoplog
from cardprep.errors import BadValueError, CardprepError, LogBrokenError, SignatureError
from cardprep.shoplog.checkpoint import Checkpoint, verify_checkpoint
from cardprep.shoplog.proof import verify_consistency, verify_inclusion
from cardprep.shoplog.record import Record
from cardprep.shoplog.sqlite import SqliteLog
from cardprep.shoplog.store import check_belongs, checked_record, checkpoint_now, seal
from cardprep.shoplog.tree import consistency_proof, inclusion_proof, leaf_hash, root_of
from cardprep.sshsig import PrivateKey
from cardprep.texts.catalogue import refusal
from cardprep.texts.refusals import REFUSALS


def refused(call: Callable[[], object], error: type[CardprepError]) -> str:
    with pytest.raises(error) as caught:
        call()
    assert "(" not in refusal(caught.value).message
    return caught.value.reason


def test_a_log_is_sealed(log: SqliteLog, key: PrivateKey) -> None:
    log.append("note", 1, {}, "2026-02-14T13:37:42Z")
    signed = seal(log, key)
    assert log.checkpoints()[-1] == signed
    checkpoint = verify_checkpoint(signed.text, signed.signature, key.public_key)
    assert checkpoint == Checkpoint(bench="B", size=61, root=root_of(log.leaf_hashes()))
    assert checkpoint == checkpoint_now(log)
    assert seal(log, key) == signed


def test_a_log_without_records_is_not_sealed(tmp_path: Path, key: PrivateKey) -> None:
    log = SqliteLog.create(tmp_path / "log", "B")
    assert refused(lambda: seal(log, key), BadValueError) == "checkpoint.text"
    log.close()


def test_a_log_sealed_by_another_key_is_said(log: SqliteLog) -> None:
    assert refused(lambda: seal(log, PrivateKey(bytes(32))), SignatureError) == (
        "signature.other-key"
    )


def test_a_checkpoint_of_something_else_is_not_kept(log: SqliteLog) -> None:
    good = checkpoint_now(log)
    others = {
        "log.checkpoint-bench": Checkpoint(bench="C", size=60, root=good.root),
        "log.checkpoint-ahead": Checkpoint(bench="B", size=61, root=good.root),
        "log.checkpoint-root": Checkpoint(bench="B", size=59, root=good.root),
    }
    for reason, other in others.items():
        text = other.to_text()
        assert refused(lambda text=text: log.add_checkpoint(text, ""), LogBrokenError) == reason  # type: ignore[misc]
    assert refused(lambda: log.add_checkpoint(b"", ""), BadValueError) == "checkpoint.text"
    assert check_belongs(log, good.to_text()) == good
    assert len(log.checkpoints()) == 4


def test_a_record_in_its_place(log: SqliteLog) -> None:
    line = log.line(7)
    assert isinstance(checked_record(line, 7, "B"), Record)
    assert refused(lambda: checked_record(line, 8, "B"), LogBrokenError) == "log.sequence"
    assert refused(lambda: checked_record(line, 7, "C"), LogBrokenError) == "log.bench"
    assert refused(lambda: checked_record(line[:-1], 7, "B"), LogBrokenError) == "log.line"
    assert refused(lambda: checked_record(b"{}", 7, "B"), LogBrokenError) == "log.line"


def test_proofs_out_of_a_store(log: SqliteLog, key: PrivateKey) -> None:
    leaves = list(log.leaf_hashes())
    signed = [
        verify_checkpoint(kept.text, kept.signature, key.public_key) for kept in log.checkpoints()
    ]
    newest = signed[-1]
    for old in signed:
        verify_consistency(
            old_size=old.size,
            old_root=old.root,
            size=newest.size,
            root=newest.root,
            proof=consistency_proof(leaves, old.size),
        )
    verify_inclusion(
        leaf=leaf_hash(log.line(41)),
        index=41,
        size=newest.size,
        proof=inclusion_proof(leaves, 41),
        root=newest.root,
    )


def test_every_refusal_of_this_room_is_in_the_catalogue() -> None:
    folder = Path(shoplog.__file__).parent
    source = "".join(file.read_text() for file in folder.glob("*.py"))
    named = set(re.findall(r'"((?:log|record|checkpoint|proof)\.[a-z-]+)"', source))
    assert len(named) > 40
    assert named <= set(REFUSALS)
