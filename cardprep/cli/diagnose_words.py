"""What somebody saw, and the cards of a diagnosis, read from the words of the command line."""

from __future__ import annotations

from pathlib import Path

from cardprep.bench.diagnose_told import Saw
from cardprep.errors import BadValueError
from cardprep.terms import spelled_out


def saw(text: str) -> Saw:
    """Read 'main radio; state=dark; handset=blank': who or what, and what was seen of it."""
    who, *parts = (part.strip() for part in text.split(";"))
    found: dict[str, str] = {}
    for part in filter(None, parts):
        key, _, value = (" ".join(piece.split()) for piece in part.partition("="))
        if not key or not value:
            raise BadValueError("words.saw", found=spelled_out(part[:60]))
        if key in found:
            raise BadValueError("words.twice", found=spelled_out(key[:40]))
        found[key.casefold()] = value
    if not who or not found:
        raise BadValueError("words.saw", found=spelled_out(text[:60]))
    return Saw(who, tuple(found.items()))


def card_of_stage(text: str) -> tuple[int, Path]:
    """Read '1=/dev/sdb': the number of a stage and its card."""
    digits, _, path = text.partition("=")
    number = digits.strip()
    if not (number.isascii() and number.isdecimal() and len(number) < 3) or not path.strip():
        raise BadValueError("words.card-of-stage", found=spelled_out(text[:60]))
    return int(number), Path(path.strip())
