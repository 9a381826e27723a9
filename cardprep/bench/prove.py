"""Prove the shop log: verify all of it, sign its head, show its lines."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from cardprep.bench.open import Bench
from cardprep.errors import LogBrokenError
from cardprep.shop.files import make_folder, write_whole
from cardprep.shoplog.checkpoint import (
    Checkpoint,
    SignedCheckpoint,
    parse_checkpoint,
    verify_checkpoint,
)
from cardprep.shoplog.record import Record
from cardprep.shoplog.store import check_belongs
from cardprep.shoplog.verify import LogState, verify_log
from cardprep.sshsig import public_key_line


@dataclass(frozen=True, slots=True, kw_only=True)
class Sealed:
    """The signed head of the log."""

    signed: SignedCheckpoint
    checkpoint: Checkpoint


def verify(bench: Bench) -> LogState:
    """Return the state of a log that agrees in everything; LogBrokenError if it does not.

    The first record names the shop's key, which must be the pinned one.
    """
    state = verify_log(bench.log, bench.pin.public_key)
    if state.size:
        first = next(bench.log.records(0, 1))
        if first.body.get("public_key") != public_key_line(bench.pin.public_key):
            raise LogBrokenError("log.first-key")
    return state


def verify_head(bench: Bench) -> None:
    """Refuse a log that is not the one whose head was signed last; LogBrokenError.

    Much quicker than `verify`, which reads every line: it sees every change to
    what was signed, but not in which of the records before it is.
    """
    kept = bench.log.checkpoints()
    if kept:
        check_belongs(bench.log, kept[-1].text)
        verify_checkpoint(kept[-1].text, kept[-1].signature, bench.pin.public_key)


def seal_log(bench: Bench) -> Sealed:
    """Sign the log as it is and keep the checkpoint."""
    signed = bench.seal()
    return Sealed(signed=signed, checkpoint=parse_checkpoint(signed.text))


def last_records(bench: Bench, most: int) -> tuple[Record, ...]:
    """Return the newest records, oldest of them first."""
    size = bench.log.size()
    return tuple(bench.log.records(max(0, size - most), size))


def hand_out(sealed: Sealed, folder: Path) -> tuple[Path, Path]:
    """Write a checkpoint and its signature into a folder, as others check them; return both paths.

    Raises ShopFolderError if the folder cannot be made or written.
    """
    make_folder(folder)
    size = sealed.checkpoint.size
    text = folder / f"checkpoint-{sealed.checkpoint.bench}-{size}.txt"
    signature = folder / f"checkpoint-{sealed.checkpoint.bench}-{size}.txt.sig"
    write_whole(text, sealed.signed.text)
    write_whole(signature, sealed.signed.signature.encode())
    return text, signature
