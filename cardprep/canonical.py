"""Canonical JSON: one meaning has one spelling.

The form is RFC 8785 (JSON Canonicalization Scheme), restricted so that Python's
own encoder gives it exactly: keys are ASCII, numbers are integers of magnitude
below 2**53, and there are no floats. Strings are valid Unicode and are not
normalized. A name that is not valid Unicode goes in as its escaped form and its
bytes in hex, which is the caller's business.

Source: RFC 8785, sections 3.2.2 and 3.2.3.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from typing import NoReturn

from cardprep.errors import CanonicalError

Json = None | bool | int | str | Sequence["Json"] | Mapping[str, "Json"]

INTEGER_LIMIT = 2**53
DEPTH_LIMIT = 32


def dumps(value: Json) -> bytes:
    """Return `value` as canonical UTF-8 without a line end, or raise CanonicalError."""
    return json.dumps(
        _plain(value, 0), sort_keys=True, separators=(",", ":"), ensure_ascii=False
    ).encode()


def loads(data: bytes) -> Json:
    """Return the value of canonical bytes; anything but the one spelling is refused."""
    try:
        value: Json = json.loads(
            data.decode(),
            object_pairs_hook=_unique,
            parse_float=_no_float,
            parse_constant=_no_float,
        )
    except (UnicodeDecodeError, ValueError, RecursionError) as error:
        raise CanonicalError("canonical.not-json") from error
    if dumps(value) != data:
        raise CanonicalError("canonical.other-spelling")
    return value


def _plain(value: object, depth: int) -> object:
    """Return `value` as dict, list and scalars that json encodes in canonical form."""
    if depth > DEPTH_LIMIT:
        raise CanonicalError("canonical.too-deep", limit=DEPTH_LIMIT)
    if value is None or isinstance(value, bool):
        return value
    if isinstance(value, int):
        if abs(value) >= INTEGER_LIMIT:
            raise CanonicalError("canonical.integer", bits=value.bit_length())
        # A subclass such as IntEnum could print itself in another way.
        return int(value)
    if isinstance(value, str):
        return _text(value)
    if isinstance(value, Mapping):
        return {_key(key): _plain(item, depth + 1) for key, item in value.items()}
    if isinstance(value, Sequence) and not isinstance(value, bytes | bytearray | memoryview):
        return [_plain(item, depth + 1) for item in value]
    raise CanonicalError("canonical.kind", found=type(value).__name__)


def _text(value: str) -> str:
    try:
        value.encode()
    except UnicodeEncodeError as error:
        raise CanonicalError("canonical.unicode") from error
    # A text that is also an enumeration would print its name.
    return str.__str__(value)


def _key(key: object) -> str:
    # UTF-16 order, which RFC 8785 asks for, and code point order agree on ASCII.
    if not isinstance(key, str) or not key.isascii():
        raise CanonicalError("canonical.key", found=ascii(key)[:40])
    return str.__str__(key)


def _unique(pairs: list[tuple[str, Json]]) -> dict[str, Json]:
    found = dict(pairs)
    if len(found) != len(pairs):
        raise CanonicalError("canonical.twice")
    return found


def _no_float(text: str) -> NoReturn:
    raise CanonicalError("canonical.float", found=text[:40])
