"""What every way to a card has in common, and the two sorts there are.

A card is met either through its *sectors* (a reader's block device, an image
file, a capture) or as a *folder* that the system has mounted. Both are read only: nothing
in this room asks for write access, and the room that writes opens its own
descriptor.

Words: an *offset* and a *length* are bytes from the start of the card.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum
from types import TracebackType
from typing import Protocol, Self


class MediumKind(StrEnum):
    """How a card is met."""

    BLOCK_DEVICE = "block device"
    IMAGE_FILE = "image file"
    CAPTURE = "capture"
    FOLDER = "mounted folder"


@dataclass(frozen=True, slots=True, kw_only=True)
class Identity:
    """What tells this card, or this way to a card, from another.

    name           as the person named it
    kind           how it is met
    size           bytes, or None for a folder
    sector_size    bytes per sector that the medium announces, or None
    disk_sequence  the kernel's count of insertions, or None where there is none
    cid            card identification register, 32 hexadecimal digits, or None
    serial         serial number of a USB reader, or None
    """

    name: str
    kind: MediumKind
    size: int | None = None
    sector_size: int | None = None
    disk_sequence: int | None = None
    cid: str | None = None
    serial: str | None = None


class Medium(Protocol):
    """A card, however it is met."""

    @property
    def identity(self) -> Identity:
        """What tells this card from another."""
        ...

    def close(self) -> None:
        """Let go of it. Closing twice does no harm."""
        ...

    def __enter__(self) -> Self: ...

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
        /,
    ) -> None: ...


class Sectors(Medium, Protocol):
    """A card met through its sectors."""

    @property
    def size(self) -> int:
        """Bytes that the medium says it holds."""
        ...

    @property
    def sector_size(self) -> int:
        """Bytes per sector that the medium announces."""
        ...

    @property
    def past_the_cache(self) -> bool:
        """Whether reads come from the medium and not from the system's memory."""
        ...

    def read_into(self, offset: int, buffer: memoryview) -> None:
        """Fill `buffer` from `offset`.

        Raises ShortReadError where the card ends before the buffer is full, and
        ReadFailedError where the reader reports an error.
        """
        ...


@dataclass(frozen=True, slots=True, kw_only=True)
class FolderEntry:
    """A file or folder below a mounted folder.

    path         parts from the mounted folder, as bytes that the system gave
    size         bytes; 0 for a folder
    modified     seconds since 1970 in UTC, as the system gives them
    is_folder    whether it is a folder
    is_ordinary  False for links, devices and pipes, which are never opened
    """

    path: tuple[bytes, ...]
    size: int
    modified: int
    is_folder: bool
    is_ordinary: bool


class Folder(Medium, Protocol):
    """A card met as a mounted folder."""

    @property
    def names_are_stored(self) -> bool:
        """Whether the system shows names as they stand on the card."""
        ...

    def entries(self) -> Iterator[FolderEntry]:
        """Give everything below it, folders before what they hold, in byte order."""
        ...

    def blocks(self, path: tuple[bytes, ...]) -> Iterator[memoryview]:
        """Give a file's content from its first byte to its last."""
        ...


def read(sectors: Sectors, offset: int, length: int) -> bytes:
    """Return `length` bytes from `offset`; errors as in Sectors.read_into."""
    buffer = bytearray(length)
    sectors.read_into(offset, memoryview(buffer))
    return bytes(buffer)
