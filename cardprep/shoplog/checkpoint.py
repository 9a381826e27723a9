"""Checkpoints: a signed word on the shop log's head, and its short form for paper.

Takes bytes and returns values; never a store, never a file.

Text, three lines, each ending with LF, the shape of C2SP tlog-checkpoint:

    cardprep shop log B
    60
    XcnaeacGWamtVZy3Ad7ZoqudgjqtL0lgz+Nw7/RgQyg=

*origin*, "cardprep shop log" and the bench's letter; *size*, the number of
records, decimal, from 1; *root* of the Merkle tree over them, base64. It has one
spelling. Its signature is an SSH signature over exactly these bytes in the
namespace checkpoint@cardprep.

*Short form*, for a label and a job sheet: bench, size and the first 10 of the
root's base32 characters (RFC 4648), as ``B-60-LXE5U6NHAZ``. These are 50 bits of
the root. They show a log that was changed afterwards by somebody who did not
mean to meet them; whoever has the shop's key and will compute some 2**50 hashes
could. The whole checkpoint goes into the code on the sheet and into the dossier.

What a checkpoint proves: after it was handed out, no record before it can be
changed unseen. It does not stop the key's owner from writing a false record in
the first place.
"""

from __future__ import annotations

import base64
import re
from dataclasses import dataclass

from cardprep import sshsig
from cardprep.errors import BadValueError
from cardprep.shoplog.proof import SIZE_LIMIT
from cardprep.shoplog.record import checked_bench
from cardprep.shoplog.tree import HASH_LENGTH
from cardprep.terms import spelled_out

ORIGIN = "cardprep shop log "
TEXT_LIMIT = 256
SHORT_CHARACTERS = 10

_TEXT = re.compile(
    rb"cardprep shop log ([A-Z])\n([1-9][0-9]{0,15})\n([0-9A-Za-z+/]{43}=)\n", re.ASCII
)
_SHORT = re.compile(r"([A-Z])-([1-9][0-9]{0,15})-([A-Z2-7]{10})", re.ASCII)


@dataclass(frozen=True, slots=True, kw_only=True)
class Checkpoint:
    """Size and root of one bench's log at one moment; `size` from 1, `root` 32 bytes."""

    bench: str
    size: int
    root: bytes

    def __post_init__(self) -> None:
        """Refuse what has no text form."""
        checked_bench(self.bench)
        if not 1 <= self.size < SIZE_LIMIT or len(self.root) != HASH_LENGTH:
            raise BadValueError("checkpoint.text")

    def to_text(self) -> bytes:
        """Return the text that is signed."""
        root = base64.b64encode(self.root).decode()
        return f"{ORIGIN}{self.bench}\n{self.size}\n{root}\n".encode()

    def short(self) -> ShortCheckpoint:
        """Return the short form for label and job sheet."""
        start = base64.b32encode(self.root)[:SHORT_CHARACTERS].decode()
        return ShortCheckpoint(bench=self.bench, size=self.size, root_start=start)


@dataclass(frozen=True, slots=True, kw_only=True)
class ShortCheckpoint:
    """What a label says of a checkpoint; `root_start` is 10 base32 characters."""

    bench: str
    size: int
    root_start: str

    def __str__(self) -> str:
        return f"{self.bench}-{self.size}-{self.root_start}"


@dataclass(frozen=True, slots=True, kw_only=True)
class SignedCheckpoint:
    """A checkpoint as it is kept and handed out; not checked by being one of these.

    size       records that it covers
    text       the exact bytes that were signed
    signature  armor of the SSH signature
    """

    size: int
    text: bytes
    signature: str


def parse_checkpoint(text: bytes) -> Checkpoint:
    """Return the checkpoint of a text, or raise BadValueError."""
    found = _TEXT.fullmatch(text) if len(text) <= TEXT_LIMIT else None
    if not found:
        raise BadValueError("checkpoint.text")
    root = base64.b64decode(found[3])
    checkpoint = Checkpoint(bench=found[1].decode(), size=int(found[2]), root=root)
    # The last character of base64 has bits to spare, so the same root has other spellings.
    if checkpoint.to_text() != text:
        raise BadValueError("checkpoint.text")
    return checkpoint


def parse_short(text: str) -> ShortCheckpoint:
    """Return the short form that a person read off a label, or raise BadValueError.

    Small letters and spaces around it are taken, since it is typed by hand.
    """
    # Outside ASCII, upper() makes letters of characters that stand on no label.
    typed = text.strip().upper() if len(text) <= TEXT_LIMIT and text.isascii() else ""
    found = _SHORT.fullmatch(typed)
    if not found:
        raise BadValueError("checkpoint.short", found=spelled_out(text[:40]))
    return ShortCheckpoint(bench=found[1], size=int(found[2]), root_start=found[3])


def matches(short: ShortCheckpoint, checkpoint: Checkpoint) -> bool:
    """Return whether a label speaks of this checkpoint."""
    return checkpoint.short() == short


def sign_checkpoint(checkpoint: Checkpoint, signer: sshsig.Signer) -> SignedCheckpoint:
    """Return the checkpoint signed by the shop's key; SignatureError or ShopKeyError."""
    text = checkpoint.to_text()
    signature = sshsig.sign(text, sshsig.CHECKPOINT_NAMESPACE, signer)
    return SignedCheckpoint(size=checkpoint.size, text=text, signature=signature)


def verify_checkpoint(text: bytes, signature: str | bytes, public_key: bytes) -> Checkpoint:
    """Return the checkpoint that the key signed; SignatureError or BadValueError if it did not."""
    sshsig.verify(signature, text, sshsig.CHECKPOINT_NAMESPACE, public_key)
    return parse_checkpoint(text)
