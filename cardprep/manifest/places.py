"""Find the line on which each key of a TOML text stands, and cap its depth.

Python's own TOML reader gives values without their lines. This scanner walks
the same text once, keeps nothing but lines, and never judges: where the text
is no TOML it stops, and the reader, which stops no later, says what is wrong.
It runs before the reader, because deep nesting and keys of very many parts
would cost the reader its stack or hours.

Words: a *path* is what leads to a value from the top: names, and places in
lists counted from 0. A *line* is counted from 1.

Source: TOML v1.0.0.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field

Path = tuple[str | int, ...]

DEPTH_LIMIT = 8
PARTS_LIMIT = 8
# Tables and values in all: two thousand images of thirty keys and lists stay below.
VALUES_LIMIT = 100_000
# Characters of a value without quotes; Python reads no number of thousands of digits.
PLAIN_LIMIT = 100

_BARE_KEY = re.compile(r"[A-Za-z0-9_-]+")
_SPACE = re.compile(r"[ \t]*")
_SPACE_AND_LINES = re.compile(r"[ \t\n]*")
_PLAIN_VALUE = re.compile(r"[^,\]}\n#]+")
_ENDS = {
    '"': re.compile(r'["\\\n]'),
    '"""': re.compile(r'"""|\\'),
    "'": re.compile(r"['\n]"),
    "'''": re.compile(r"'''"),
}


@dataclass(frozen=True, slots=True)
class Places:
    """Where the keys and values of a text stand.

    ends  by name at the top, the last line of anything that stands below it
    over  the cap that was passed ("depth", "parts", "values", "plain") on `over_line`, or None
    """

    lines: Mapping[Path, int]
    ends: Mapping[str, int] = field(default_factory=dict)
    over: str | None = None
    over_line: int = 0

    def line(self, path: Path) -> int:
        """Return the line of `path`, or of the nearest thing above it that has one."""
        for length in range(len(path), 0, -1):
            if path[:length] in self.lines:
                return self.lines[path[:length]]
        return 1


def find_places(text: str) -> Places:
    """Return the lines of all keys and values; any text will do."""
    scanner = _Scanner(text)
    try:
        scanner.document()
    except _NotTomlError:
        pass
    except _OverLimitError as over:
        return Places(scanner.lines, scanner.ends, str(over), scanner.line_here())
    return Places(scanner.lines, scanner.ends)


class _NotTomlError(Exception):
    """The text is no TOML from here on."""


class _OverLimitError(Exception):
    """A cap is passed here."""


class _Scanner:
    """One walk over a text; `at` never goes back."""

    def __init__(self, text: str) -> None:
        self.text = text
        self.at = 0
        self.lines: dict[Path, int] = {}
        self.ends: dict[str, int] = {}
        self._tables_in: dict[Path, int] = {}
        self._values = 0
        self._line = 1
        self._counted_to = 0

    def line_here(self) -> int:
        """Return the line of the place reached."""
        self._line += self.text.count("\n", self._counted_to, self.at)
        self._counted_to = self.at
        return self._line

    def document(self) -> None:
        """Walk over the whole text."""
        table: Path = ()
        self._skip_comments()
        while self.at < len(self.text):
            if self._next_is("["):
                table = self._header()
                path = table
            else:
                path = self._pair(table, 0)
            self.ends[str(path[0])] = self.line_here()
            self._skip(_SPACE)
            if self.at < len(self.text) and self.text[self.at] not in "#\n":
                raise _NotTomlError
            self._skip_comments()

    def _header(self) -> Path:
        self._count()
        line = self.line_here()
        many = self._next_is("[[")
        self.at += 2 if many else 1
        parts = self._key()
        self._expect("]]" if many else "]")
        path: Path = ()
        for part in parts[:-1]:
            path = self._newest((*path, part))
            self.lines.setdefault(path, line)
        path = (*path, parts[-1])
        if not many:
            path = self._newest(path)
            self.lines[path] = line
            return path
        self.lines.setdefault(path, line)
        self._tables_in[path] = self._tables_in.get(path, 0) + 1
        path = self._newest(path)
        self.lines[path] = line
        return path

    def _newest(self, path: Path) -> Path:
        """Return the path of the last table where `path` is a list of tables."""
        count = self._tables_in.get(path, 0)
        return (*path, count - 1) if count else path

    def _pair(self, table: Path, depth: int) -> Path:
        line = self.line_here()
        path = table
        for part in self._key():
            path = (*path, part)
            self.lines.setdefault(path, line)
        self._expect("=")
        self._skip(_SPACE)
        self._value(path, depth)
        return path

    def _key(self) -> list[str]:
        parts = [self._key_part()]
        self._skip(_SPACE)
        while self._next_is("."):
            if len(parts) == PARTS_LIMIT:
                raise _OverLimitError("parts")
            self.at += 1
            parts.append(self._key_part())
            self._skip(_SPACE)
        return parts

    def _key_part(self) -> str:
        self._skip(_SPACE)
        if bare := _BARE_KEY.match(self.text, self.at):
            self.at = bare.end()
            return bare.group()
        start = self.at
        quote = self.text[start : start + 1]
        if quote not in ('"', "'"):
            raise _NotTomlError
        self._string(quote)
        quoted = self.text[start : self.at]
        if "\\" in quoted and quote == '"':
            return _unescaped(quoted)
        return quoted[1:-1]

    def _value(self, path: Path, depth: int) -> None:
        self._count()
        if self._next_is("[") or self._next_is("{"):
            if depth == DEPTH_LIMIT:
                raise _OverLimitError("depth")
            walk = self._list if self._next_is("[") else self._inline
            walk(path, depth + 1)
            return
        for quote in ('"""', "'''", '"', "'"):
            if self._next_is(quote):
                self._string(quote)
                return
        plain = _PLAIN_VALUE.match(self.text, self.at)
        if plain is None:
            raise _NotTomlError
        if len(plain.group().rstrip()) > PLAIN_LIMIT:
            raise _OverLimitError("plain")
        self.at = plain.end()

    def _list(self, path: Path, depth: int) -> None:
        self.at += 1
        place = 0
        while True:
            self._skip_comments()
            if self._next_is("]"):
                break
            self.lines[(*path, place)] = self.line_here()
            self._value((*path, place), depth)
            place += 1
            self._skip_comments()
            if self._next_is("]"):
                break
            self._expect(",")
        self.at += 1

    def _inline(self, path: Path, depth: int) -> None:
        self.at += 1
        self._skip(_SPACE)
        while not self._next_is("}"):
            self._pair(path, depth)
            self._skip(_SPACE)
            if self._next_is("}"):
                break
            self._expect(",")
            self._skip(_SPACE)
        self.at += 1

    def _string(self, quote: str) -> None:
        self.at += len(quote)
        while True:
            end = _ENDS[quote].search(self.text, self.at)
            if end is None or end.group() == "\n":
                raise _NotTomlError
            if end.group() == quote:
                break
            self.at = end.end() + 1
        self.at = end.end()
        # One or two quotes may stand directly before the closing three.
        for _ in range(2 if len(quote) == 3 else 0):
            if self._next_is(quote[0]):
                self.at += 1

    def _count(self) -> None:
        self._values += 1
        if self._values > VALUES_LIMIT:
            raise _OverLimitError("values")

    def _skip(self, pattern: re.Pattern[str]) -> None:
        if found := pattern.match(self.text, self.at):
            self.at = found.end()

    def _skip_comments(self) -> None:
        # A loop, since one pattern for all of it would keep a state for each line.
        self._skip(_SPACE_AND_LINES)
        while self._next_is("#"):
            end = self.text.find("\n", self.at)
            self.at = len(self.text) if end < 0 else end
            self._skip(_SPACE_AND_LINES)

    def _next_is(self, wanted: str) -> bool:
        return self.text.startswith(wanted, self.at)

    def _expect(self, wanted: str) -> None:
        if not self._next_is(wanted):
            raise _NotTomlError
        self.at += len(wanted)


def _unescaped(quoted: str) -> str:
    try:
        return str(tomllib.loads(f"key={quoted}")["key"])
    except ValueError as error:
        raise _NotTomlError from error
