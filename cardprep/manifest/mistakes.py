"""Collect the mistakes of a manifest, each with its file, line and key.

A person who mends a list by hand wants to see all that is wrong at once, so a
mistake is noted and reading goes on; whoever asked for the values gets them
only if nothing was noted.
"""

from __future__ import annotations

from cardprep.errors import ManifestTextError, Parameter
from cardprep.manifest.places import Path, Places
from cardprep.terms import spelled_out

# More than anybody reads; it also bounds the work on a hostile text.
MISTAKES_LIMIT = 100


class Mistakes:
    """The mistakes of one text so far."""

    def __init__(self, file: str, places: Places) -> None:
        self._file = spelled_out(file)
        self._places = places
        self._noted: list[tuple[int, str, str, dict[str, Parameter]]] = []

    @property
    def full(self) -> bool:
        """Whether no more mistakes are kept, so that none need be looked for."""
        return len(self._noted) >= MISTAKES_LIMIT

    def __len__(self) -> int:
        return len(self._noted)

    def add(self, path: Path, reason: str, /, **parameters: Parameter) -> None:
        """Note a mistake at `path` with a reason of the catalogue."""
        self.add_at(self._places.line(path), key_in_words(path), reason, **parameters)

    def add_at(self, line: int, key: str, reason: str, /, **parameters: Parameter) -> None:
        """Note a mistake of the text itself, which has a line but may have no key."""
        if not self.full:
            self._noted.append((line, key, reason, parameters))

    def line(self, path: Path) -> int:
        """Return the line on which `path` stands."""
        return self._places.line(path)

    def refusals(self) -> tuple[ManifestTextError, ...]:
        """Return the mistakes as refusals, by line, each numbered."""
        ordered = sorted(self._noted, key=lambda noted: noted[0])
        return tuple(
            ManifestTextError(
                reason,
                file=self._file,
                line=line,
                key=key,
                number=number,
                mistakes=len(ordered),
                **parameters,
            )
            for number, (line, key, reason, parameters) in enumerate(ordered, start=1)
        )


def key_in_words(path: Path) -> str:
    """Return a path as a person reads it: ``image[2].needs[1].type``, counted from 1."""
    words = ""
    for part in path:
        if isinstance(part, int):
            words += f"[{part + 1}]"
        else:
            words += ("." if words else "") + cut(part)
    return words or "-"


def cut(text: str) -> str:
    """Return `text` spelled out harmlessly and no longer than a line bears."""
    shown = spelled_out(text[:60])
    return shown if len(text) <= 60 else f"{shown}..."


def prints_as_it_is(text: str) -> bool:
    """Return whether only backslashes in `text` would have to be spelled out."""
    return spelled_out(text.replace("\\", "/")) == text.replace("\\", "/")
