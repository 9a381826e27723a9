"""Ask this machine for its card readers: udev and sysfs on Linux, psutil elsewhere.

What the answers mean stands in ``readers.py``; here they are only fetched, and
what cannot be asked is told apart from what is not there.
"""

from __future__ import annotations

import os
import stat
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

from cardprep.medium.readers import (
    ATTRIBUTES,
    PROPERTIES,
    USB_ATTRIBUTES,
    Disk,
    Mount,
    Reader,
    Udev,
    mounts_in,
    readers_among,
    removable_volumes,
)

if TYPE_CHECKING:
    import pyudev

_CLASS = Path("/sys/class/block")
_MOUNTINFO = Path("/proc/self/mountinfo")


def find_readers(platform: str) -> tuple[Reader, ...] | None:
    """Return this machine's card readers, or None where the system cannot be asked.

    platform  as sys.platform
    """
    if platform != "linux":
        import psutil

        return removable_volumes(psutil.disk_partitions(all=False), platform)
    try:
        return readers_among(MachineUdev().disks(), mounts())
    except (ImportError, OSError):
        # No libudev, or neither /sys nor /proc, as in some containers.
        return None


def mounts() -> tuple[Mount, ...]:
    """Return what is mounted, as this process sees it."""
    return mounts_in(_MOUNTINFO.read_bytes(), _number_of)


class MachineUdev(Udev):
    """The udev of this machine; ImportError where there is none."""

    def __init__(self) -> None:
        import pyudev

        self._context = pyudev.Context()

    def disks(self) -> Iterator[Disk]:
        """Give all whole disks that there are just now."""
        for device in self._context.list_devices(subsystem="block", DEVTYPE="disk"):
            if device.device_node is not None:
                yield _disk(device)


def _disk(device: pyudev.Device) -> Disk:
    attributes = {name: _attribute(device, name) for name in ATTRIBUTES}
    usb = device.find_parent("usb", "usb_device")
    if usb is not None:
        attributes |= {f"usb/{name}": _attribute(usb, name) for name in USB_ATTRIBUTES}
    properties = {name: _property(device, name) for name in PROPERTIES}
    name = str(device.sys_name)
    return Disk(
        name=name,
        path=str(device.device_node),
        numbers=frozenset(_numbers(name)),
        above=frozenset(str(up.subsystem) for up in device.ancestors if up.subsystem),
        properties={key: value for key, value in properties.items() if value is not None},
        attributes={key: value for key, value in attributes.items() if value is not None},
    )


def _attribute(device: Any, name: str) -> str | None:  # noqa: ANN401 - pyudev has no types
    value = device.attributes.get(name)
    # A device may call itself anything, also what is no text.
    return None if value is None else value.decode("utf-8", "surrogateescape").strip()


def _property(device: Any, name: str) -> str | None:  # noqa: ANN401 - pyudev has no types
    try:
        value = device.properties.get(name)
    except UnicodeDecodeError:
        return None
    return None if value is None else str(value)


def _numbers(name: str) -> Iterator[str]:
    """Give the numbers of a disk, its partitions, and what is built on any of them."""
    pending, seen = [name], set()
    while pending:
        place = _CLASS / pending.pop()
        if place.name in seen:
            continue
        seen.add(place.name)
        try:
            yield (place / "dev").read_text(encoding="ascii").strip()
            pending += [part.parent.name for part in place.glob("*/partition")]
            pending += [holder.name for holder in place.glob("holders/*")]
        except OSError:
            # It was taken out while it was looked at.
            continue


def _number_of(path: str) -> str | None:
    try:
        status = Path(path).stat()
    except (OSError, ValueError):
        return None
    if not stat.S_ISBLK(status.st_mode):
        return None
    return f"{os.major(status.st_rdev)}:{os.minor(status.st_rdev)}"
