"""What is said about one file: its container format, and whether that holds.

A container format can only contradict the shop's manifest, which says what a
file *is*. So nothing here names a bootloader or an application, and an opaque
file is a normal one.

Words: *format*, a slug of ``texts/containers.py`` ("intel-hex"); *fact*, a
value useful to the person, in bytes or plain numbers unless its name says
otherwise; *problem*, a slug of the same catalogue with its parameters. A
problem alone does not break a file: mixed line ends, for one, are told while
every checksum still holds.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Protocol

from cardprep.terms import spelled_out

Parameter = str | int

# Rubbish can be wrong in every line; a person reads the first few.
PROBLEM_LIMIT = 16
TEXT_LIMIT = 80


class Soundness(StrEnum):
    """What a file's own checksums say about it."""

    HOLDS = "holds"
    """All of its contents is under its own checksums; they were computed and hold."""

    BROKEN = "broken"
    """A checksum or the structure is wrong, or the end is missing."""

    UNCHECKED = "unchecked"
    """The format has no checksum over its contents, or not all of it could be computed."""


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing wrong or odd about a file.

    reason      a slug of the catalogue ("record.checksum")
    parameters  what that sentence names
    """

    reason: str
    parameters: Mapping[str, Parameter] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class ContainerReport:
    """What a whole file turned out to be; it has no truth value that means "good"."""

    format: str
    soundness: Soundness
    facts: Mapping[str, Parameter]
    problems: tuple[Problem, ...] = ()


class ContainerReader(Protocol):
    """A machine that is fed one file and then says what it was.

    Neither call raises on any bytes, and what is kept in between is bounded.
    A block is not kept after `feed` returns, so its buffer may be used again.
    """

    def feed(self, block: bytes | memoryview, /) -> None:
        """Take the next bytes of the file, as many as the caller has."""
        ...

    def finish(self) -> ContainerReport:
        """Return the report, once, after the last byte."""
        ...


class Troubles:
    """The problems of one file while they are met, and what they leave of its soundness."""

    def __init__(self) -> None:
        self._kept: list[Problem] = []
        self._left_out = 0
        self._soundness = Soundness.HOLDS

    def broken(self, reason: str, /, **parameters: Parameter) -> None:
        """Take a problem with which the file cannot be sound."""
        self._soundness = Soundness.BROKEN
        self.noted(reason, **parameters)

    def unchecked(self, reason: str, /, **parameters: Parameter) -> None:
        """Take a problem that keeps part of the file from being checked."""
        if self._soundness is Soundness.HOLDS:
            self._soundness = Soundness.UNCHECKED
        self.noted(reason, **parameters)

    def noted(self, reason: str, /, **parameters: Parameter) -> None:
        """Take a problem that leaves the checksums as they are."""
        if len(self._kept) < PROBLEM_LIMIT:
            self._kept.append(Problem(reason, parameters))
        else:
            self._left_out += 1

    def report(
        self, format_slug: str, facts: Mapping[str, Parameter], *, covered: bool = True
    ) -> ContainerReport:
        """Return the report; `covered` is whether checksums stand over the contents at all."""
        soundness = self._soundness
        if soundness is Soundness.HOLDS and not covered:
            soundness = Soundness.UNCHECKED
        problems = list(self._kept)
        if self._left_out:
            problems.append(Problem("more-problems", {"count": self._left_out}))
        return ContainerReport(
            format=format_slug, soundness=soundness, facts=facts, problems=tuple(problems)
        )


def harmless(raw: bytes) -> str:
    """Return text out of a file in harmless spelling, shortened to 80 characters or so."""
    # A name of 64 KiB is legal in places; four bytes make a character at most.
    text = raw[: 4 * TEXT_LIMIT + 4].decode("utf-8", "surrogateescape")
    if len(text) > TEXT_LIMIT:
        return spelled_out(text[:TEXT_LIMIT]) + "..."
    return spelled_out(text)
