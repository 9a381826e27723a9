"""Say what a file is by its bytes, never by its name, and pass it to the right machine.

The first block decides. Binary magics come first, then the record formats, then
old tar, which has no magic; what is left is opaque, which is no fault, unless its
last bytes say that it is for USB DFU.
"""

from __future__ import annotations

from collections.abc import Callable

from cardprep.images import uimage
from cardprep.images.blocks import FixedBlocks
from cardprep.images.dfu import OpaqueReader
from cardprep.images.gzip_file import GzipReader, looks_like_gzip
from cardprep.images.intel_hex import IntelHexReader, looks_like_intel_hex
from cardprep.images.opaque import UncheckedReader
from cardprep.images.report import ContainerReader, ContainerReport
from cardprep.images.s_record import SRecordReader, looks_like_s_record
from cardprep.images.signatures import format_by_signature
from cardprep.images.tar_file import TarReader, looks_like_tar
from cardprep.images.uimage import UimageReader
from cardprep.images.zip_signatures import looks_like_zip

_HEAD = 4096


def _zip_reader() -> ContainerReader:
    # The largest of the machines, and seldom needed on a card.
    from cardprep.images.zip_file import ZipReader

    return ZipReader()


def _known_reader(known: str) -> ContainerReader:
    """Return the machine for a format that its signature told; most are seldom needed."""
    if known == "elf":
        from cardprep.images.elf import ElfReader

        return ElfReader()
    if known == "device-tree":
        from cardprep.images.device_tree import DeviceTreeReader

        return DeviceTreeReader()
    if known == "xz":
        from cardprep.images.xz_file import XzReader

        return XzReader()
    if known == "cpio":
        from cardprep.images.cpio import CpioReader

        return CpioReader()
    if known == "squashfs":
        from cardprep.images.squashfs import SquashfsReader

        return SquashfsReader()
    if known == "android-sparse":
        from cardprep.images.android_sparse import AndroidSparseReader

        return AndroidSparseReader()
    return UncheckedReader(known)


_BY_START: tuple[tuple[Callable[[bytes], bool], Callable[[], ContainerReader]], ...] = (
    (lambda head: head.startswith(uimage.MAGIC), UimageReader),
    (looks_like_zip, _zip_reader),
    (looks_like_gzip, GzipReader),
)
_BY_STRUCTURE: tuple[tuple[Callable[[bytes], bool], Callable[[], ContainerReader]], ...] = (
    (looks_like_intel_hex, IntelHexReader),
    (looks_like_s_record, SRecordReader),
    (looks_like_tar, TarReader),
)


class Recogniser(FixedBlocks):
    """The machine for any file; an empty one is opaque, of size 0."""

    def __init__(self) -> None:
        super().__init__()
        self._machine: ContainerReader | None = None

    def _take(self, block: memoryview) -> None:
        if self._machine is None:
            self._machine = machine_for(bytes(block))
        self._machine.feed(block)

    def _report(self) -> ContainerReport:
        machine = self._machine or OpaqueReader()
        return machine.finish()


def machine_for(block: bytes) -> ContainerReader:
    """Return a new machine for a file whose first bytes, 64 KiB or all of it, are `block`."""
    head = block[:_HEAD]
    for fits, machine in _BY_START:
        if fits(head):
            return machine()
    known = format_by_signature(head)
    if known is not None:
        return _known_reader(known)
    for fits, machine in _BY_STRUCTURE:
        if fits(block):
            return machine()
    return OpaqueReader()
