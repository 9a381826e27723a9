"""Which names of members are taken out of a ZIP file, and which two of them are one.

A name is a path with forward slashes, relative to wherever the members go; one
that ends in a slash is a folder. Nothing is mended: a name that could lead out
of that place, or that a person would read as another, is refused.

Source: .ZIP File Format Specification (APPNOTE.TXT) 6.3.10, sections 4.4.17 and
4.6.9, and appendix D (code page 437, unless the member's flags say UTF-8).
"""

from __future__ import annotations

import unicodedata

from cardprep.errors import IntakeRefusedError
from cardprep.images.report import harmless
from cardprep.images.unpack_extra import unicode_path
from cardprep.terms import spelled_out

NAME_LIMIT = 1024
"""The longest name in bytes as stored: far more than any card's folder can hold."""

_UTF8 = 0x0800


def member_name(raw: bytes, flags: int, fields: dict[int, bytes]) -> str:
    """Return the name of a member, or raise IntakeRefusedError if it is not taken out.

    fields  the extra fields, which must not give another name
    """
    shown = harmless(raw)
    if len(raw) > NAME_LIMIT:
        raise IntakeRefusedError("unpack.name-long", name=shown, limit=NAME_LIMIT)
    name = _decoded(raw, flags, shown)
    other = unicode_path(fields)
    if other is not None and other != name.encode():
        raise IntakeRefusedError("unpack.two-names", name=shown, other=harmless(other))
    if "\\" in name:
        raise IntakeRefusedError("unpack.name-backslash", name=shown)
    if spelled_out(name) != name:
        raise IntakeRefusedError("unpack.name-characters", name=shown)
    if name.startswith("/"):
        raise IntakeRefusedError("unpack.name-absolute", name=shown)
    # A colon ends a drive's letter, and begins a hidden stream on some systems.
    if ":" in name:
        raise IntakeRefusedError("unpack.name-drive", name=shown)
    # Some systems drop dots and spaces at the end, which leaves nothing of these.
    if any(not part.rstrip(". ") for part in name.removesuffix("/").split("/")):
        raise IntakeRefusedError("unpack.name-part", name=shown)
    return name


def _decoded(raw: bytes, flags: int, shown: str) -> str:
    if not flags & _UTF8:
        return raw.decode("cp437")
    try:
        return raw.decode("utf-8")
    except UnicodeDecodeError as error:
        raise IntakeRefusedError("unpack.name-encoding", name=shown) from error


class Names:
    """The names of one archive; two that some system takes for one are refused."""

    def __init__(self) -> None:
        self._by_key: dict[str, str] = {}
        self._folders: dict[str, str] = {}

    def add(self, name: str) -> None:
        """Take a name, or raise IntakeRefusedError if it cannot stand beside those before it."""
        shown = _shown(name)
        parts = _key(name).split("/")
        key = "/".join(parts)
        if key in self._by_key:
            other = _shown(self._by_key[key])
            raise IntakeRefusedError("unpack.name-twice", name=shown, other=other)
        if key in self._folders and not name.endswith("/"):
            other = _shown(self._folders[key])
            raise IntakeRefusedError("unpack.file-and-folder", name=shown, other=other)
        self._by_key[key] = name
        for length in range(1, len(parts)):
            folder = "/".join(parts[:length])
            taken = self._by_key.get(folder, "/")
            if not taken.endswith("/"):
                other = _shown(taken)
                raise IntakeRefusedError("unpack.file-and-folder", name=other, other=shown)
            self._folders[folder] = name


def _key(name: str) -> str:
    """Return what is equal for two names that some file system takes for one.

    Without case, in one Unicode normal form, and without dots and spaces at the
    end of a part, which file systems that descend from DOS drop.
    """
    folded = unicodedata.normalize("NFKC", unicodedata.normalize("NFKC", name).casefold())
    return "/".join(part.rstrip(". ") for part in folded.removesuffix("/").split("/"))


def _shown(name: str) -> str:
    return harmless(name.encode())
