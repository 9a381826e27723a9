"""Which names can stand on a card, and the short names that long ones get.

A short name is a pure function of the names in its folder and their order.
Names that are short by themselves come first, whatever the case of their
letters, so that no generated name takes the place of a real one: a reader that
looks for ``Firmwa~1.bin`` takes the first file that has it as its long *or* its
short name.

Source: FAT: General Overview of On-Disk Format, v1.03 (Microsoft, 2000), "Name
Limits and Character Sets" and "The Basis-Name Generation Algorithm". Names that
some systems reserve for devices: common practice.
"""

from __future__ import annotations

from dataclasses import dataclass

from cardprep.errors import LayoutError
from cardprep.terms import spelled_out
from cardprep.volume.fat_names import (
    FORBIDDEN_IN_LONG,
    MOST_UNITS,
    SHORT_CHARACTERS,
    plain_short,
    units,
    upper_case,
)

_DEVICES = frozenset(
    ("CON", "PRN", "AUX", "NUL", *(f"{port}{n}" for port in ("COM", "LPT") for n in range(1, 10)))
)
_TAILS = 999_999


@dataclass(frozen=True, slots=True, kw_only=True)
class StoredName:
    """How one name is stored.

    name       as it is meant
    short      eleven bytes
    case_bits  byte 12 of the short entry
    is_long    whether it needs long entries
    """

    name: str
    short: bytes
    case_bits: int
    is_long: bool


def stored_names(names: tuple[str, ...]) -> list[StoredName]:
    """Return how the names of one folder are stored, in the same order.

    Raises LayoutError for a name that cannot stand on a card, or for two that
    differ at most in case.
    """
    seen: dict[str, str] = {}
    for name in names:
        require_possible(name)
        twin = seen.setdefault(name.upper(), name)
        if twin != name:
            raise LayoutError("layout.same-name", name=spelled_out(name), other=spelled_out(twin))
    plain = {name: plain_short(name) for name in names}
    # In mixed case a name needs a long entry, and is still looked for without case.
    without_case = (plain_short(upper_case(name)) for name in names)
    taken = {short[0] for short in without_case if short is not None}
    next_tail: dict[tuple[str, str, int], int] = {}
    stored = []
    for name in names:
        short = plain[name]
        if short is not None:
            made = StoredName(name=name, short=short[0], case_bits=short[1], is_long=False)
        else:
            alias = _alias(name, taken, next_tail)
            taken.add(alias)
            made = StoredName(name=name, short=alias, case_bits=0, is_long=True)
        stored.append(made)
    return stored


def require_possible(name: str) -> None:
    """Raise LayoutError unless every system can read a file of this name from a card."""
    shown = spelled_out(name)
    if not name or name in (".", ".."):
        raise LayoutError("layout.name-empty", name=shown)
    if any(character in FORBIDDEN_IN_LONG for character in name):
        raise LayoutError("layout.name-character", name=shown)
    if shown != name:
        raise LayoutError("layout.name-invisible", name=shown)
    if name[-1] in " ." or name[0] == " ":
        raise LayoutError("layout.name-end", name=shown)
    if len(units(name)) > MOST_UNITS:
        raise LayoutError("layout.name-long", name=shown[:60], most=MOST_UNITS)
    if name.partition(".")[0].upper() in _DEVICES:
        raise LayoutError("layout.name-device", name=shown)


def _alias(name: str, taken: set[bytes], next_tail: dict[tuple[str, str, int], int]) -> bytes:
    """Return the short name with the smallest free tail for a long one.

    next_tail  what was found taken so far: by what is left of the stem beside a tail
               of so many digits, which many stems may share, so that none is tried twice
    """
    base, dot, extension = name.lstrip(".").rpartition(".")
    if not dot:
        base, extension = extension, ""
    stem = _cleaned(base)[:6] or "_"
    ending = _cleaned(extension)[:3]
    for digits in range(1, len(str(_TAILS)) + 1):
        left = stem[: 7 - digits]
        key = (left, ending, digits)
        for tail in range(next_tail.get(key, 10 ** (digits - 1)), min(10**digits, _TAILS + 1)):
            next_tail[key] = tail + 1
            alias = f"{left + f'~{tail}':<8}{ending:<3}".encode("ascii")
            if alias not in taken:
                return alias
    raise LayoutError("layout.folder-full", most=_TAILS)


def _cleaned(text: str) -> str:
    """Return the characters of a name that a short one can have, others as underscores."""
    characters = (c.upper() if c.isascii() else "_" for c in text if c not in " .")
    return "".join(c if c in SHORT_CHARACTERS else "_" for c in characters)
