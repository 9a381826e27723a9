"""The strict door through which recorded objects become values again.

A record is a JSON object. Every key is asked for by name and kind, what is not
asked for is refused, and the place of a mistake is named by its path of keys.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import TypeVar

from cardprep.canonical import Json
from cardprep.errors import BadValueError

Value = TypeVar("Value")


class Door:
    """One object of a record, read key by key.

    record  the object
    where   its place, for errors ("stage.files.3")
    """

    def __init__(self, record: Json, where: str) -> None:
        if not isinstance(record, Mapping):
            raise BadValueError("value.not-an-object", where=where)
        self._record = record
        self._where = where
        self._taken: set[str] = set()

    def _take(self, key: str) -> Json:
        self._taken.add(key)
        if key not in self._record:
            raise BadValueError("value.missing", where=self._where, key=key)
        return self._record[key]

    def _refuse(self, key: str, wanted: str) -> BadValueError:
        return BadValueError("value.kind", where=self._where, key=key, wanted=wanted)

    def has(self, key: str) -> bool:
        """Return whether a key is there that older records do not have."""
        return key in self._record

    def truth(self, key: str) -> bool:
        """Return true or false."""
        value = self._take(key)
        if not isinstance(value, bool):
            raise self._refuse(key, "true or false")
        return value

    def text(self, key: str, *, most: int = 4096) -> str:
        """Return a string of at most `most` characters."""
        value = self._take(key)
        if not isinstance(value, str) or len(value) > most:
            raise self._refuse(key, "text")
        return value

    def parsed(self, key: str, read: Callable[[str], Value], wanted: str) -> Value:
        """Return what `read` makes of a string; one that it refuses is named by its place.

        wanted  what `read` takes, for the error
        """
        text = self.text(key)
        try:
            return read(text)
        except BadValueError as error:
            raise self._refuse(key, wanted) from error

    def optional_parsed(self, key: str, read: Callable[[str], Value], wanted: str) -> Value | None:
        """Return the same, or None where null stands."""
        return None if self._take(key) is None else self.parsed(key, read, wanted)

    def integer(self, key: str, low: int, high: int) -> int:
        """Return an integer from `low` to `high`, both included."""
        value = self._take(key)
        if not isinstance(value, int) or isinstance(value, bool) or not low <= value <= high:
            raise self._refuse(key, f"{low}..{high}")
        return value

    def optional_text(self, key: str) -> str | None:
        """Return a string, or None where null stands."""
        return None if self._take(key) is None else self.text(key)

    def optional_integer(self, key: str, low: int, high: int) -> int | None:
        """Return an integer, or None where null stands."""
        return None if self._take(key) is None else self.integer(key, low, high)

    def texts(self, key: str) -> tuple[str, ...]:
        """Return a list of strings."""
        value = self._take(key)
        if isinstance(value, str) or not isinstance(value, Sequence):
            raise self._refuse(key, "list")
        found = [item for item in value if isinstance(item, str)]
        if len(found) != len(value):
            raise self._refuse(key, "list of texts")
        return tuple(found)

    def parsed_map(
        self, key: str, read: Callable[[str], Value], wanted: str
    ) -> dict[str, Value | None]:
        """Return an object whose values are strings that `read` takes, or null."""
        value = self._take(key)
        if not isinstance(value, Mapping):
            raise self._refuse(key, "object")
        inner = Door(value, f"{self._where}.{key}")
        return {name: inner.optional_parsed(name, read, wanted) for name in value}

    def full_parsed_map(
        self, key: str, read: Callable[[str], Value], wanted: str
    ) -> dict[str, Value]:
        """Return the same where no value may be null."""
        found = self.parsed_map(key, read, wanted)
        full = {name: value for name, value in found.items() if value is not None}
        if len(full) != len(found):
            raise self._refuse(key, wanted)
        return full

    def many(self, key: str, read: Callable[[Json, str], Value]) -> tuple[Value, ...]:
        """Return a list whose items are read by `read`, which gets item and place."""
        value = self._take(key)
        if isinstance(value, str) or not isinstance(value, Sequence):
            raise self._refuse(key, "list")
        return tuple(read(item, f"{self._where}.{key}.{i}") for i, item in enumerate(value))

    def one(self, key: str, read: Callable[[Json, str], Value]) -> Value:
        """Return an object read by `read`, which gets it and its place."""
        return read(self._take(key), f"{self._where}.{key}")

    def close(self) -> None:
        """Refuse keys that nobody asked for."""
        for key in self._record:
            if key not in self._taken:
                raise BadValueError("value.unknown-key", where=self._where, key=ascii(key)[:40])
