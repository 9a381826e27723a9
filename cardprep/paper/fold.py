"""Fold lines to the width of a terminal; names and digests are never cut."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable

_NARROWEST = 40
_HANG = 2


def folded(lines: Iterable[str], width: int) -> list[str]:
    """Return the lines, those that are too long folded and hung in under their beginning.

    width  columns of the terminal
    """
    return [part for text in lines for line in text.split("\n") for part in wrapped(line, width)]


def wrapped(line: str, width: int, hang: int | None = None) -> list[str]:
    """Return one line folded.

    hang  columns by which what follows is moved in; None is a little more than the line itself
    """
    own = len(line) - len(line.lstrip(" "))
    return textwrap.wrap(
        line,
        max(width, _NARROWEST),
        subsequent_indent=" " * (own + _HANG if hang is None else hang),
        break_long_words=False,
        break_on_hyphens=False,
    ) or [line]
