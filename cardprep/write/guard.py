"""The guard: the only way to a descriptor with which a card can be written.

What may be written: an image file that is not there yet; an image file or a
loop device, named on purpose, that is blank; or one that holds the very stage
that is to be written and nothing besides, or a part of it and otherwise nothing,
as a write that was broken off leaves it. Everything else is refused with a
reason, real readers included, which get rules of their own. A card that came back
from a vessel with somebody's files on it is refused too, whatever stage it was: a
serial number is a name, and no permission.

The descriptor is opened once and used for the look at what is there, for
writing, for reading back and for the inspection.
"""

from __future__ import annotations

import contextlib
import errno
import os
import stat
from dataclasses import dataclass
from pathlib import Path

from cardprep.errors import CardprepError, ReadFailedError, ShortReadError, WriteRefusedError
from cardprep.layout.model import Layout
from cardprep.layout.stream import ContentSource
from cardprep.medium.access import cannot_open
from cardprep.medium.block_device import device_identity
from cardprep.medium.closing import Closing
from cardprep.medium.descriptor import DescriptorSectors
from cardprep.medium.image_file import SECTOR_SIZE
from cardprep.medium.protocol import Identity, MediumKind
from cardprep.terms import SECTOR, largest_with_room, size_as_printed, spelled_out
from cardprep.texts.catalogue import word
from cardprep.volume.card import CardContent, read_card
from cardprep.volume.fat_names import upper_case
from cardprep.volume.foreign import EXFAT
from cardprep.volume.model import shown_path
from cardprep.volume.serial import volume_serial
from cardprep.write.blank import is_blank, is_part

LOOP_MAJOR = 7
# What a card may hold that cardprep knows of and does not read, or never lays out.
_NOT_OURS = frozenset(("NTFS", "gpt", "logical"))
_FLAGS = os.O_RDWR | getattr(os, "O_CLOEXEC", 0) | getattr(os, "O_BINARY", 0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Permission:
    """What the person allows: `loop` is whether a loop device was named on purpose."""

    loop: bool = False


class WritableCard(Closing):
    """A card that the guard let through; made by `open_for_writing` alone."""

    def __init__(self, descriptor: int, identity: Identity) -> None:
        self.descriptor = descriptor
        self.identity = identity

    def sectors(self, *, direct: bool) -> DescriptorSectors:
        """Return the card's sectors for reading through the same descriptor."""
        return DescriptorSectors(self.descriptor, self.identity, direct=direct, owned=False)

    def close(self) -> None:
        """Let go of the card."""
        if self.descriptor >= 0:
            os.close(self.descriptor)
            self.descriptor = -1


def open_for_writing(
    path: Path, layout: Layout, permission: Permission, source: ContentSource
) -> WritableCard:
    """Return the card at `path`, ready to be written with `layout`.

    source  of the images, to tell a write that was broken off from somebody's data

    Raises WriteRefusedError with the reason, NotThereError or NotAllowedError.
    Nothing on the card has changed when it returns; a file that was not there
    is then an empty card of the size that the layout needs.
    """
    try:
        mode = path.stat().st_mode
    except FileNotFoundError as error:
        # A reader's name that is mistyped must not become a file among the devices.
        if path.absolute().is_relative_to("/dev") or path.parent.resolve().is_relative_to("/dev"):
            raise cannot_open(path, error) from error
        return _new_image_file(path, layout)
    except (OSError, ValueError) as error:
        raise cannot_open(path, error) from error
    if stat.S_ISREG(mode):
        card = _image_file(path, layout)
    elif stat.S_ISBLK(mode):
        card = _loop_device(path, permission)
    else:
        raise WriteRefusedError("guard.kind", name=spelled_out(str(path)))
    try:
        _require_fit(card, layout)
        _require_small_enough(card, layout)
        _require_content(card, layout, source)
    except BaseException:
        card.close()
        raise
    return card


def _new_image_file(path: Path, layout: Layout) -> WritableCard:
    descriptor = _open(path, _FLAGS | os.O_CREAT | os.O_EXCL)
    return _grown(path, descriptor, layout)


def _grown(path: Path, descriptor: int, layout: Layout) -> WritableCard:
    """Give an empty file the size of a card; sparse, so that nothing is stored yet."""
    try:
        os.ftruncate(descriptor, layout.card_size)
        _sync_folder(path.parent)
    except OSError as error:
        # A disk that fails may take nothing any more, not even this; an empty file stays then.
        with contextlib.suppress(OSError):
            os.close(descriptor)
            path.unlink(missing_ok=True)
        raise WriteRefusedError(
            "guard.no-room", name=spelled_out(str(path)), size=layout.card_size
        ) from error
    return _file_card(path, descriptor)


def _image_file(path: Path, layout: Layout) -> WritableCard:
    if path.is_symlink():
        raise WriteRefusedError("guard.link", name=spelled_out(str(path)))
    descriptor = _open(path, _FLAGS | getattr(os, "O_NOFOLLOW", 0))
    found = os.fstat(descriptor)
    if not stat.S_ISREG(found.st_mode):
        raise _swapped(path, descriptor)
    if found.st_size == 0:
        # What is left when a computer stopped between making a file and giving it its size.
        return _grown(path, descriptor, layout)
    return _file_card(path, descriptor)


def _swapped(path: Path, descriptor: int) -> WriteRefusedError:
    """Close what was opened and is not what was looked at, and return the refusal."""
    os.close(descriptor)
    return WriteRefusedError("guard.swapped", name=spelled_out(str(path)))


def _file_card(path: Path, descriptor: int) -> WritableCard:
    identity = Identity(
        name=str(path),
        kind=MediumKind.IMAGE_FILE,
        size=os.fstat(descriptor).st_size,
        sector_size=SECTOR_SIZE,
    )
    return WritableCard(descriptor, identity)


def _loop_device(path: Path, permission: Permission) -> WritableCard:
    name = spelled_out(str(path))
    if os.major(path.stat().st_rdev) != LOOP_MAJOR:
        raise WriteRefusedError("guard.device", name=name)
    if not permission.loop:
        raise WriteRefusedError("guard.loop-not-named", name=name)
    # With O_EXCL the kernel refuses a device that is mounted or otherwise held.
    descriptor = _open(path, _FLAGS | os.O_EXCL)
    found = os.fstat(descriptor)
    if not stat.S_ISBLK(found.st_mode) or os.major(found.st_rdev) != LOOP_MAJOR:
        raise _swapped(path, descriptor)
    try:
        return WritableCard(descriptor, device_identity(path, descriptor))
    except OSError as error:
        os.close(descriptor)
        raise cannot_open(path, error) from error


def _open(path: Path, flags: int) -> int:
    try:
        return os.open(path, flags, 0o644)
    except OSError as error:
        name = spelled_out(str(path))
        if error.errno == errno.EBUSY:
            raise WriteRefusedError("guard.held", name=name) from error
        if error.errno == errno.EROFS:
            raise WriteRefusedError("guard.write-protected", name=name) from error
        raise cannot_open(path, error) from error


def _require_fit(card: WritableCard, layout: Layout) -> None:
    name = spelled_out(card.identity.name)
    size = card.identity.size or 0
    if size < layout.card_size:
        raise WriteRefusedError("guard.too-small", name=name, size=size, needed=layout.card_size)
    if card.identity.sector_size != SECTOR:
        found = card.identity.sector_size or 0
        raise WriteRefusedError("guard.sector-size", name=name, found=found)


def _require_small_enough(card: WritableCard, layout: Layout) -> None:
    """Refuse a card that is larger than its display takes."""
    largest, size = layout.stage.settings.largest_card, card.identity.size or 0
    if largest is not None and size > largest_with_room(largest):
        raise WriteRefusedError(
            "guard.too-large",
            name=spelled_out(card.identity.name),
            size=size_as_printed(size),
            most=size_as_printed(largest),
        )


def _require_content(card: WritableCard, layout: Layout, source: ContentSource) -> None:
    """Refuse a card that holds anything but nothing, or this very stage or a part of it."""
    name = spelled_out(card.identity.name)
    if _holds(card, layout):
        _require_nothing_besides(card, layout)
        return
    size = card.identity.size or 0
    try:
        # Where nothing was written yet, or a write was broken off before its serial number.
        if is_blank(card.descriptor, size) or is_part(card.descriptor, size, layout, source):
            return
    except OSError as error:
        cause = error.strerror or type(error).__name__
        raise WriteRefusedError("guard.unreadable", name=name, cause=cause) from error
    raise WriteRefusedError("guard.content", name=name)


def _holds(card: WritableCard, layout: Layout) -> bool:
    """Return whether a card bears the serial number of the stage."""
    try:
        return volume_serial(card.sectors(direct=False)) == layout.serial_text
    except CardprepError:
        # No volume: then it must be blank.
        return False


def _require_nothing_besides(card: WritableCard, layout: Layout) -> None:
    """Refuse a card of this stage that holds files of others too, or cannot be looked at."""
    name = spelled_out(card.identity.name)
    try:
        content = read_card(card.sectors(direct=False))
    except (ReadFailedError, ShortReadError) as error:
        raise WriteRefusedError("guard.unreadable", name=name, cause=word(error.reason)) from error
    if len(content.partitions) > 1 or _is_divided_otherwise(content):
        raise WriteRefusedError("guard.content", name=name)
    if any(finding.slug == "read-error" for finding in content.findings):
        raise WriteRefusedError("guard.unreadable", name=name, cause=word("medium.read-error"))
    own = {
        _without_case(file.path[:depth])
        for file in layout.stage.files
        for depth in range(1, len(file.path) + 1)
    }
    for volume in content.volumes:
        for entry in volume.entries:
            if _without_case(entry.path) not in own:
                shown = shown_path(entry.path)
                raise WriteRefusedError("guard.other-files", name=name, path=shown)


def _is_divided_otherwise(content: CardContent) -> bool:
    """Return whether a card is divided as none of ours, or holds another file system too."""
    if content.foreign or content.gpt is not None:
        return True
    # A serial number can be copied; no stage is laid out as exFAT, so what is there is no stage.
    if any(volume.facts.file_system == EXFAT for volume in content.volumes):
        return True
    if any(partition.kind != "primary" for partition in content.partitions):
        return True
    return any(finding.parameters.get("what") in _NOT_OURS for finding in content.findings)


def _without_case(path: tuple[str, ...]) -> tuple[str, ...]:
    return tuple(upper_case(part) for part in path)


def _sync_folder(folder: Path) -> None:
    """Bring the name of a new file to the disk, where the system can."""
    if os.name != "posix":
        return
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)
