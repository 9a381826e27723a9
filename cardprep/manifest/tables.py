"""Take plain values out of one TOML table and note every mistake.

Each method names the key that it takes, and keys that nobody took are mistakes
at the end. A missing or wrong value is noted and a stand-in of the right type
is returned, so that reading goes on; the values are thrown away in the end if
there was any mistake. An empty text is a mistake, so "" means that an optional
text is not there. Values that mean something in the trade are in ``trade.py``.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import UTC, date, datetime, timedelta
from difflib import get_close_matches
from enum import StrEnum
from typing import Any, TypeVar

from cardprep.manifest.mistakes import Mistakes, cut, prints_as_it_is
from cardprep.manifest.places import Path

TEXT_LIMIT = 400
LIST_LIMIT = 64
# What FAT can store as the time of a file.
FIRST_DAY = date(1980, 1, 1)
LAST_DAY = date(2107, 12, 31)

Word = TypeVar("Word", bound=StrEnum)
Kind = TypeVar("Kind")

_MISSING: Mapping[type, str] = {
    str: "manifest.missing-text",
    int: "manifest.missing-whole-number",
    date: "manifest.missing-day-or-time",
    dict: "manifest.missing-table",
    list: "manifest.missing-list",
}
_OTHER_KIND: Mapping[type, str] = {
    str: "manifest.not-text",
    int: "manifest.not-whole-number",
    date: "manifest.not-day-or-time",
    dict: "manifest.not-table",
    list: "manifest.not-list",
}


class Table:
    """One table of a manifest while it is read."""

    def __init__(self, values: Mapping[str, object], path: Path, mistakes: Mistakes) -> None:
        self.values = values
        self.path = path
        self.mistakes = mistakes
        self._taken: list[str] = []

    def wrong(self, key: str, reason: str, /, **parameters: str | int) -> None:
        """Note a mistake at `key`."""
        self.mistakes.add((*self.path, key), reason, **parameters)

    def done(self) -> None:
        """Note every key that nobody took, with the nearest one that has a meaning."""
        for key in self.values:
            if key not in self._taken and not self.mistakes.full:
                right = nearest(key, self._taken) or ", ".join(self._taken)
                self.wrong(key, "manifest.key-unknown", right=right)

    def take(self, key: str, kind: type[Kind], *, required: bool = True) -> Kind | None:
        """Return the value of a key if it is there and of this kind."""
        self._taken.append(key)
        if key in self.values:
            return self._of_kind((*self.path, key), self.values[key], kind)
        if required:
            self.wrong(key, _MISSING[kind])
        return None

    def listed(
        self,
        key: str,
        kind: type[Kind],
        *,
        required: bool = False,
        may_be_empty: bool = False,
        limit: int = LIST_LIMIT,
    ) -> list[tuple[Path, Kind]]:
        """Return the values of a list that are of this kind, each with its path."""
        values = self.take(key, list, required=required)
        if values is None:
            return []
        if not values and not may_be_empty:
            self.wrong(key, "manifest.list-empty")
        if len(values) > limit:
            self.wrong(key, "manifest.list-long", found=len(values), limit=limit)
            return []
        found = []
        for place, value in enumerate(values):
            path = (*self.path, key, place)
            right = self._of_kind(path, value, kind)
            if right is not None:
                found.append((path, right))
        return found

    def text(self, key: str, *, required: bool = True, limit: int = TEXT_LIMIT) -> str:
        """Return a text of one line that can be printed, "" where there is none."""
        value = self.take(key, str, required=required)
        return self.printable((*self.path, key), value, limit) if value is not None else ""

    def texts(self, key: str, *, required: bool = False) -> tuple[str, ...]:
        """Return a list of different texts."""
        values = self.listed(key, str, required=required)
        pairs = [(path, self.printable(path, value)) for path, value in values]
        return self.different([(path, value) for path, value in pairs if value])

    def integer(self, key: str, low: int, high: int, *, default: int | None = None) -> int:
        """Return a whole number from `low` to `high`; required without a default."""
        value = self.take(key, int, required=default is None)
        if value is None:
            return low if default is None else default
        return self.within((*self.path, key), value, low, high)

    def truth(self, key: str, *, default: bool) -> bool:
        """Return true or false."""
        self._taken.append(key)
        value = self.values.get(key, default)
        if isinstance(value, bool):
            return value
        self.wrong(key, "manifest.not-true-or-false")
        return default

    def words(self, key: str, words: type[Word], *, required: bool = True) -> tuple[Word, ...]:
        """Return a list of different words out of a closed set."""
        known = {word.value: word for word in words}
        pairs = []
        for path, value in self.listed(key, str, required=required):
            if value in known:
                pairs.append((path, known[value]))
            else:
                self.not_one_of(path, value, list(known))
        return self.different(pairs)

    def word(self, key: str, words: type[Word], *, default: Word | None = None) -> Word:
        """Return one word out of a closed set; required without a default."""
        known = {word.value: word for word in words}
        value = self.take(key, str, required=default is None)
        if value in known:
            return known[value]
        if value is not None:
            self.not_one_of((*self.path, key), value, list(known))
        return default or next(iter(words))

    def day(self, key: str, *, required: bool = True) -> date | None:
        """Return a day, such as 2026-05-12."""
        value = self.take(key, date, required=required)
        if isinstance(value, datetime):
            self.wrong(key, "manifest.day", found=value.isoformat())
            return None
        return self._in_range(key, value) if value is not None else None

    def moment(self, key: str) -> datetime:
        """Return a required UTC time; a day alone is its first second."""
        value = self.take(key, date)
        if isinstance(value, datetime):
            # Nothing is converted: it could carry the first or last year out of bounds.
            if value.utcoffset() != timedelta() or value.microsecond:
                self.wrong(key, "manifest.moment", found=value.isoformat())
            self._in_range(key, value.date())
            return value.replace(tzinfo=UTC, microsecond=0)
        day = self._in_range(key, value) if value is not None else FIRST_DAY
        return datetime(day.year, day.month, day.day, tzinfo=UTC)

    def table(self, key: str, *, required: bool = False) -> Table | None:
        """Return a table inside this one."""
        value: dict[str, Any] | None = self.take(key, dict, required=required)
        return Table(value, (*self.path, key), self.mistakes) if value is not None else None

    def tables(self, key: str, *, limit: int = LIST_LIMIT) -> list[Table]:
        """Return a list of tables inside this one."""
        values: list[tuple[Path, dict[str, Any]]] = self.listed(
            key, dict, may_be_empty=True, limit=limit
        )
        return [Table(value, path, self.mistakes) for path, value in values]

    def printable(self, path: Path, value: str, limit: int = TEXT_LIMIT) -> str:
        """Return `value`, or "" and note it if it could not stand on one line of paper."""
        if not value.strip():
            self.mistakes.add(path, "manifest.text-empty")
        elif len(value) > limit:
            self.mistakes.add(path, "manifest.text-long", found=len(value), limit=limit)
        elif not prints_as_it_is(value):
            self.mistakes.add(path, "manifest.text-control", found=cut(value))
        else:
            return value
        return ""

    def within(self, path: Path, value: int, low: int, high: int) -> int:
        """Return `value`, or `low` and note it if it is out of bounds."""
        if low <= value <= high:
            return value
        # A number of thousands of digits is no parameter for a sentence.
        found = str(value) if abs(value) < 2**64 else f"{'-' if value < 0 else ''}2**64"
        self.mistakes.add(path, "manifest.number", found=found, low=low, high=high)
        return low

    def different(self, pairs: Sequence[tuple[Path, Kind]]) -> tuple[Kind, ...]:
        """Return the values of a list, and note those that stand in it twice."""
        found: list[Kind] = []
        for path, value in pairs:
            if value in found:
                self.mistakes.add(path, "manifest.listed-twice", found=cut(str(value)))
            else:
                found.append(value)
        return tuple(found)

    def not_one_of(self, path: Path, value: str, known: Sequence[str]) -> None:
        """Note that `value` is not one of the known words."""
        right = nearest(value, known) or ", ".join(known[:LIST_LIMIT])
        self.mistakes.add(path, "manifest.not-one-of", found=cut(value), right=right)

    def _of_kind(self, path: Path, value: object, kind: type[Kind]) -> Kind | None:
        # Python counts a truth value as a whole number; TOML does not.
        if isinstance(value, kind) and not isinstance(value, bool):
            return value
        self.mistakes.add(path, _OTHER_KIND[kind])
        return None

    def _in_range(self, key: str, value: date) -> date:
        if FIRST_DAY <= value <= LAST_DAY:
            return value
        self.wrong(key, "manifest.year", found=value.isoformat())
        return FIRST_DAY


_LIKE_DIGITS = str.maketrans({"o": "0", "i": "1", "l": "1", "s": "5", "b": "8", "z": "2"})


def nearest(found: str, known: Sequence[str]) -> str:
    """Return the known word that looks most like `found`, or "" where none does."""
    alike = [word for word in known if _without_likeness(word) == _without_likeness(found[:64])]
    close = alike or get_close_matches(found[:64], known, n=1)
    return close[0] if close else ""


def _without_likeness(text: str) -> str:
    """Return a text without case, and without the letters that are taken for digits."""
    return text.casefold().translate(_LIKE_DIGITS)
