"""One record of the shop log, as a value and as its line.

Takes bytes and returns values. It never reads a clock: the time comes in as an
argument. A record of a kind that this version does not know is kept as it is,
because a log outlives the program that wrote it.

Form of a line, canonical JSON (RFC 8785, see ``cardprep.canonical``) in UTF-8:

    bench         the bench's letter, "A" to "Z"
    body          object; what this kind of record says
    format        1
    index         object; field -> sorted list of the values to find it by
    kind          slug, such as "card-written"
    kind_version  integer from 1
    sequence      integer from 0, without gaps
    time          "YYYY-MM-DDTHH:MM:SSZ", UTC (a form of RFC 3339)

The index stands in the line itself, so that whoever holds the lines can build
it again and nobody can hide a record by taking it out of the look-up.
A *line* never includes its line end.

Source: RFC 8785; RFC 3339 section 5.6.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from cardprep import canonical
from cardprep.canonical import INTEGER_LIMIT, Json
from cardprep.errors import BadValueError, CanonicalError
from cardprep.terms import spelled_out

FORMAT = 1
# A stage of some ten thousand files stands in one record.
LINE_LIMIT = 8 * 1024 * 1024
VALUE_LIMIT = 4096

IndexEntry = tuple[str, str]

_BENCH = re.compile(r"[A-Z]")
_SLUG = re.compile(r"[a-z](?:-?[a-z0-9]){0,39}")
_TIME = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}:[0-9]{2}Z", re.ASCII)
_KEYS = {"bench", "body", "format", "index", "kind", "kind_version", "sequence", "time"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Record:
    """One thing that was done or seen, with its place in the log.

    The fields are those of the line. `index` is pairs of field and value and
    comes back sorted, each pair once. `body` is copied, so that what happens
    afterwards to the object that was given changes nothing here.
    """

    bench: str
    sequence: int
    kind: str
    kind_version: int
    time: str
    body: Mapping[str, Json]
    index: tuple[IndexEntry, ...] = ()

    def __post_init__(self) -> None:
        """Refuse what could not be read back; BadValueError or CanonicalError."""
        checked_bench(self.bench)
        _checked_number("sequence", self.sequence, 0)
        _checked_number("kind_version", self.kind_version, 1)
        if not _SLUG.fullmatch(self.kind):
            raise BadValueError("record.kind", found=spelled_out(self.kind[:40]))
        _checked_time(self.time)
        for field, value in self.index:
            checked_entry(field, value)
        object.__setattr__(self, "index", tuple(sorted(set(self.index))))
        if not isinstance(self.body, Mapping):
            raise BadValueError("record.body")
        object.__setattr__(self, "body", canonical.loads(canonical.dumps(self.body)))
        length = len(self.to_line())
        if length > LINE_LIMIT:
            raise BadValueError("record.long", found=length, limit=LINE_LIMIT)

    def to_line(self) -> bytes:
        """Return the record's line."""
        index: dict[str, list[Json]] = {}
        for field, value in self.index:
            index.setdefault(field, []).append(value)
        return canonical.dumps(
            {
                "bench": self.bench,
                "body": self.body,
                "format": FORMAT,
                "index": index,
                "kind": self.kind,
                "kind_version": self.kind_version,
                "sequence": self.sequence,
                "time": self.time,
            }
        )


def parse_line(line: bytes) -> Record:
    """Return the record of a line; anything but its one spelling is refused.

    Raises BadValueError or CanonicalError.
    """
    if len(line) > LINE_LIMIT:
        raise BadValueError("record.long", found=len(line), limit=LINE_LIMIT)
    fields = canonical.loads(line)
    if not isinstance(fields, Mapping) or set(fields) != _KEYS:
        raise BadValueError("record.keys")
    if _number(fields, "format") != FORMAT:
        raise BadValueError("record.format", found=_number(fields, "format"), known=FORMAT)
    body = fields["body"]
    if not isinstance(body, Mapping):
        raise BadValueError("record.body")
    record = Record(
        bench=_text(fields, "bench"),
        sequence=_number(fields, "sequence"),
        kind=_text(fields, "kind"),
        kind_version=_number(fields, "kind_version"),
        time=_text(fields, "time"),
        body=body,
        index=_index(fields["index"]),
    )
    # An index that is not sorted, or holds an empty list, means the same as another line.
    if record.to_line() != line:
        raise CanonicalError("canonical.other-spelling")
    return record


def recorded_name(name: bytes | str) -> Json:
    """Return a file's name as it goes into a body.

    A name that is valid Unicode (bytes: UTF-8) stays a string. Any other
    becomes an object of "escaped", harmless to show, and "bytes", in hex. A
    string with surrogates is taken as one that Python decoded from the file
    system (PEP 383), else as UTF-16 with a half missing, whose bytes are then
    in the three-byte form that UTF-8 forbids.
    """
    text = name.decode(errors="surrogateescape") if isinstance(name, bytes) else name
    try:
        text.encode()
    except UnicodeEncodeError:
        return {"escaped": spelled_out(text), "bytes": _raw(text).hex()}
    return text


def checked_bench(bench: str) -> str:
    """Return the bench's letter, or raise BadValueError."""
    if not _BENCH.fullmatch(bench):
        raise BadValueError("record.bench", found=spelled_out(bench[:40]))
    return bench


def checked_entry(field: str, value: str) -> IndexEntry:
    """Return an index entry, or raise BadValueError for one that cannot be looked up."""
    if not _SLUG.fullmatch(field):
        raise BadValueError("record.index-field", found=spelled_out(field[:40]))
    if not 1 <= len(value) <= VALUE_LIMIT:
        raise BadValueError("record.index-value", found=len(value), limit=VALUE_LIMIT)
    try:
        value.encode()
    except UnicodeEncodeError as error:
        raise CanonicalError("canonical.unicode") from error
    return field, value


def _raw(text: str) -> bytes:
    try:
        return text.encode(errors="surrogateescape")
    except UnicodeEncodeError:
        return text.encode(errors="surrogatepass")


def _checked_number(name: str, number: int, smallest: int) -> None:
    # A bool is an int to Python and another value in JSON.
    if type(number) is not int or not smallest <= number < INTEGER_LIMIT:
        raise BadValueError("record.number", field=name)


def _checked_time(time: str) -> None:
    # The pattern first: fromisoformat also takes other spellings of a time.
    if not _TIME.fullmatch(time):
        raise BadValueError("record.time", found=spelled_out(time[:40]))
    try:
        datetime.fromisoformat(time)
    except ValueError as error:
        raise BadValueError("record.time", found=time) from error


def _text(fields: Mapping[str, Json], name: str) -> str:
    value = fields[name]
    if not isinstance(value, str):
        raise BadValueError("record.text", field=name)
    return value


def _number(fields: Mapping[str, Json], name: str) -> int:
    value = fields[name]
    if not isinstance(value, int) or isinstance(value, bool):
        raise BadValueError("record.number", field=name)
    return value


def _index(value: Json) -> tuple[IndexEntry, ...]:
    if not isinstance(value, Mapping):
        raise BadValueError("record.index")
    entries: list[IndexEntry] = []
    for field, found in value.items():
        if not isinstance(found, Sequence) or isinstance(found, str):
            raise BadValueError("record.index")
        for item in found:
            if not isinstance(item, str):
                raise BadValueError("record.index")
            entries.append((field, item))
    return tuple(entries)
