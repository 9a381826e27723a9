"""Card readers and the cards in them, as the system tells of them.

Nothing is opened here, no card is woken, and what the system says is believed
only so far that a person can be shown it: a device that may be written passes
a guard of its own. On Linux udev and sysfs are asked, elsewhere the list of
mounted volumes. Every question is put through a Protocol or a plain text, so
that what follows from the answers can be held without any reader.

Not readers: loop devices, optical and floppy drives, memory that is soldered in
(eMMC, known by its boot partitions). A file system over several disks (ZFS,
btrfs) is seen on one of them or on none.

Source: Linux, Documentation/ABI/stable/sysfs-block ("size" in units of 512 bytes,
"removable", "ro", "diskseq"), Documentation/driver-api/mmc/mmc-dev-attrs.rst and
mmc-dev-parts.rst; proc_pid_mountinfo(5). ID_BUS, ID_DRIVE_FLASH_SD and ID_CDROM are
set by the rules that come with udev.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Protocol

from cardprep.errors import BadValueError
from cardprep.medium.registers import CardIdentification, CardSpecificData
from cardprep.terms import spelled_out

PROPERTIES = (
    *("ID_BUS", "ID_CDROM", "ID_DRIVE_FLASH_SD", "ID_MODEL", "ID_VENDOR"),
    *("ID_SERIAL_SHORT", "ID_USB_SERIAL_SHORT", "DISKSEQ"),
)
ATTRIBUTES = (
    *("size", "ro", "removable", "diskseq"),
    *("device/vendor", "device/model", "device/name", "device/cid", "device/csd"),
)
# Asked of the USB device above, and kept with "usb/" before.
USB_ATTRIBUTES = ("manufacturer", "product", "serial")

# Sysfs counts in these, whatever the sectors of the disk are.
_UNIT = 512
_NO_READERS = re.compile(r"(?:dm-|fd|loop|md|nbd|ram|sr|zram)[0-9]+.*|mmcblk[0-9]+[a-z].*")
# Where a running system keeps itself, a live system from a stick among them.
_SYSTEM_PLACES = frozenset(
    {
        *("/", "/usr", "/var", "/home", "/boot", "/boot/efi", "/boot/firmware", "/efi"),
        *("/cdrom", "/run/live/medium", "/lib/live/mount/medium", "/run/initramfs/live"),
    }
)
_ESCAPED = re.compile(rb"\\([0-7]{3})")


class ReaderKind(StrEnum):
    """How a reader is known as one."""

    SD_SLOT = "sd-slot"
    USB = "usb"
    REMOVABLE = "removable"


@dataclass(frozen=True, slots=True, kw_only=True)
class Disk:
    """A whole disk as udev and sysfs tell of it, all values as text.

    name        the kernel's name ("sdb")
    path        where its device stands ("/dev/sdb")
    numbers     "MAJOR:MINOR" of it, of its partitions and of what is built on them
    above       subsystems of the devices that it hangs on
    properties  those of PROPERTIES that there are
    attributes  those of ATTRIBUTES and USB_ATTRIBUTES that there are
    """

    name: str
    path: str
    numbers: frozenset[str]
    above: frozenset[str]
    properties: Mapping[str, str]
    attributes: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class Mount:
    """A mounted file system: "MAJOR:MINOR" of its device, and where it is shown."""

    number: str
    where: str


class Udev(Protocol):
    """What is asked of udev."""

    def disks(self) -> Iterable[Disk]:
        """Give all whole disks."""
        ...


class MountedVolume(Protocol):
    """What is asked of a mounted volume where there is no udev; psutil's names."""

    @property
    def device(self) -> str:
        """The system's name of its device."""
        ...

    @property
    def mountpoint(self) -> str:
        """Where it is shown."""
        ...

    @property
    def opts(self) -> str:
        """Words about it, separated by commas."""
        ...


@dataclass(frozen=True, slots=True, kw_only=True)
class Reader:
    """A card reader, or one slot of it, and the card that is in it.

    path             what to name it by: its device, or without udev its mounted folder
    size             bytes of the card, 0 without a card, None if not told
    model            maker and model in harmless spelling, or ""
    serial           serial number of a USB device in harmless spelling, or None
    cid              card identification register as told by a native slot, or None
    card             the same register, read
    write_protected  by the reader, or by the card's own register
    disk_sequence    the kernel's count of insertions, or None
    mounted          where the card or parts of it are mounted, as the system spells it
    holds_system     whether the running system stands on it
    """

    path: str
    kind: ReaderKind
    size: int | None
    model: str
    serial: str | None
    cid: str | None
    card: CardIdentification | None
    write_protected: bool
    disk_sequence: int | None
    mounted: tuple[str, ...]
    holds_system: bool

    @property
    def has_card(self) -> bool:
        """Whether there is a card in it, as far as the system tells."""
        return self.size is None or self.size > 0


def readers_among(disks: Iterable[Disk], mounts: Iterable[Mount]) -> tuple[Reader, ...]:
    """Return the card readers among all disks, in the order of their paths."""
    everything, shown = list(disks), list(mounts)
    names = {disk.name for disk in everything}
    found = []
    for disk in everything:
        kind = _kind(disk)
        # Only memory that is soldered in has hardware boot partitions.
        if kind is not None and f"{disk.name}boot0" not in names:
            found.append(_reader(disk, kind, shown))
    return tuple(sorted(found, key=lambda reader: (len(reader.path), reader.path)))


def removable_volumes(volumes: Iterable[MountedVolume], platform: str) -> tuple[Reader, ...]:
    """Return a reader for each mounted volume that its system calls removable."""
    return tuple(
        Reader(
            # A drive is named E:/ here: a backslash would be spelled out as two.
            path=volume.mountpoint.replace("\\", "/") if platform == "win32" else volume.mountpoint,
            kind=ReaderKind.REMOVABLE,
            size=None,
            model="",
            serial=None,
            cid=None,
            card=None,
            write_protected="ro" in volume.opts.split(","),
            disk_sequence=None,
            mounted=(volume.mountpoint,),
            holds_system="rootfs" in volume.opts.split(","),
        )
        for volume in volumes
        if "removable" in volume.opts.split(",") and "cdrom" not in volume.opts.split(",")
    )


def mounts_in(mountinfo: bytes, number_of: Callable[[str], str | None]) -> tuple[Mount, ...]:
    """Return what a text of the form of /proc/self/mountinfo says.

    number_of  gives "MAJOR:MINOR" of a device's path, or None; asked where the file
               system has a number of its own (major 0) and names its device
    """
    mounts = []
    for line in mountinfo.splitlines():
        before, _, after = line.partition(b" - ")
        fields, tail = before.split(), after.split()
        if len(fields) < 5:
            continue
        number: str | None = _text(fields[2])
        if number is not None and number.startswith("0:") and len(tail) > 1:
            source = _text(tail[1])
            number = number_of(source) if source.startswith("/dev/") else None
        if number is not None:
            mounts.append(Mount(number, _text(fields[4])))
    return tuple(mounts)


def _text(field: bytes) -> str:
    """Return a field whose blanks, tabs, line ends and backslashes are three octal digits."""
    raw = _ESCAPED.sub(lambda match: bytes((int(match[1], 8) & 0xFF,)), field)
    return raw.decode("utf-8", "surrogateescape")


def _kind(disk: Disk) -> ReaderKind | None:
    has = disk.properties.get
    if _NO_READERS.fullmatch(disk.name) or has("ID_CDROM") == "1":
        return None
    if disk.name.startswith("mmcblk") or has("ID_DRIVE_FLASH_SD") == "1" or "mmc" in disk.above:
        return ReaderKind.SD_SLOT
    if has("ID_BUS") == "usb" or "usb" in disk.above:
        return ReaderKind.USB
    return ReaderKind.REMOVABLE if disk.attributes.get("removable") == "1" else None


def _reader(disk: Disk, kind: ReaderKind, mounts: Iterable[Mount]) -> Reader:
    told = disk.attributes.get
    mounted = dict.fromkeys(mount.where for mount in mounts if mount.number in disk.numbers)
    size = _number(told("size"))
    cid, card = _card(told("device/cid"))
    return Reader(
        path=disk.path,
        kind=kind,
        size=None if size is None else size * _UNIT,
        model=_model(disk),
        serial=_serial(disk),
        cid=cid,
        card=card,
        write_protected=told("ro") == "1" or _is_locked(told("device/csd")),
        disk_sequence=_number(told("diskseq") or disk.properties.get("DISKSEQ")),
        mounted=tuple(mounted),
        holds_system=not _SYSTEM_PLACES.isdisjoint(mounted),
    )


def _number(text: str | None) -> int | None:
    # Eighteen digits hold the size of any disk, and no text is too long to be converted.
    return int(text) if text and re.fullmatch(r"[0-9]{1,18}", text) else None


def _model(disk: Disk) -> str:
    """Return what the reader, or in a native slot the card, calls itself."""
    told, has = disk.attributes.get, disk.properties.get
    # In a native slot the vendor of the "device" is no text, and the card has a name.
    if "mmc" in disk.above:
        return _harmless(told("device/name"))
    for pair in (
        (told("device/vendor"), told("device/model")),
        (told("usb/manufacturer"), told("usb/product")),
        (has("ID_VENDOR"), has("ID_MODEL")),
    ):
        if pair[1]:
            return _harmless(*pair)
    return ""


def _serial(disk: Disk) -> str | None:
    told, has = disk.attributes.get, disk.properties.get
    if has("ID_BUS") != "usb" and "usb" not in disk.above:
        return None
    text = has("ID_USB_SERIAL_SHORT") or told("usb/serial") or has("ID_SERIAL_SHORT")
    return _harmless(text) or None


def _harmless(*texts: str | None) -> str:
    words = [word for text in texts if text for word in text.split()]
    return spelled_out(" ".join(words))


def _card(cid: str | None) -> tuple[str | None, CardIdentification | None]:
    if cid is None:
        return None, None
    try:
        return cid, CardIdentification.parse(cid)
    except BadValueError:
        return None, None


def _is_locked(csd: str | None) -> bool:
    if csd is None:
        return False
    try:
        register = CardSpecificData.parse(csd)
    except BadValueError:
        return False
    return register.locked or register.permanently_locked
