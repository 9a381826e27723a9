"""Check files that end in a suffix of USB DFU, and count those that have none.

The suffix is the last 16 bytes of a file and says for which vendor and product
it is. Its CRC stands over all before it, so it finds a file that was damaged; a
file that was cut short has lost it, and is opaque like most update files.

All numbers are little-endian. The CRC is the usual CRC-32 with all bits turned,
so that the plain CRC-32 of a whole good file is FFFFFFFF.

Source: Universal Serial Bus Device Class Specification for Device Firmware
Upgrade, version 1.1, appendix B.
"""

from __future__ import annotations

import struct
import zlib
from dataclasses import dataclass
from typing import ClassVar, Self

from cardprep.images.blocks import FixedBlocks
from cardprep.images.opaque import OPAQUE
from cardprep.images.report import ContainerReport, Soundness, Troubles

DFU = "dfu"

_GOOD = 0xFFFFFFFF
_MARK = b"UFD\x10"


@dataclass(frozen=True, slots=True, kw_only=True)
class DfuSuffix:
    """The suffix as stored. Published names in brackets.

    device   release of the device     [bcdDevice]
    product  number of the product     [idProduct]
    vendor   number of the vendor      [idVendor]
    release  of the specification      [bcdDFU]
    crc      over all before it        [dwCRC]
    """

    device: int
    product: int
    vendor: int
    release: int
    crc: int

    SIZE: ClassVar[int] = 16

    @classmethod
    def parse(cls, raw: bytes) -> Self | None:
        """Return the suffix that the last 16 bytes of a file are, or None."""
        if len(raw) != cls.SIZE or raw[8:12] != _MARK:
            return None
        device, product, vendor, release, crc = struct.unpack("<4H4xI", raw)
        return cls(device=device, product=product, vendor=vendor, release=release, crc=crc)


class OpaqueReader(FixedBlocks):
    """The machine for a file whose start says nothing.

    Facts: size; with a suffix also data_size, vendor_number, product_number and
    device_release.
    """

    def __init__(self) -> None:
        super().__init__()
        self._size = 0
        self._crc = 0
        self._last = b""

    def _take(self, block: memoryview) -> None:
        self._size += len(block)
        self._crc = zlib.crc32(block, self._crc)
        self._last = (self._last + bytes(block[-DfuSuffix.SIZE :]))[-DfuSuffix.SIZE :]

    def _report(self) -> ContainerReport:
        suffix = DfuSuffix.parse(self._last)
        if suffix is None:
            return ContainerReport(
                format=OPAQUE, soundness=Soundness.UNCHECKED, facts={"size": self._size}
            )
        troubles = Troubles()
        if self._crc != _GOOD:
            troubles.broken("dfu.crc", stated=f"{suffix.crc:08X}")
        return troubles.report(
            DFU,
            {
                "size": self._size,
                "data_size": self._size - DfuSuffix.SIZE,
                "vendor_number": suffix.vendor,
                "product_number": suffix.product,
                "device_release": suffix.device,
            },
        )
