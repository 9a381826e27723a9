"""Check uImage files in the legacy format: 64 bytes of header, then the data.

Both checksums are computed: that of the header (with its own field as zero)
and that of the data. What follows the data is under neither; padding there is
common, so anything else is told.

All numbers are big-endian. Operating system, architecture, type and
compression are the format's own numbers.

Source: U-Boot, include/image.h, "struct legacy_img_hdr".
"""

from __future__ import annotations

import struct
import zlib
from collections.abc import Generator
from dataclasses import dataclass
from typing import ClassVar, Self

from cardprep.images.blocks import StepReader
from cardprep.images.report import ContainerReport, Parameter, Troubles, harmless

UIMAGE = "uimage"
MAGIC = bytes.fromhex("27051956")


@dataclass(frozen=True, slots=True, kw_only=True)
class UimageHeader:
    """The header as stored. Published names in brackets.

    header_crc    CRC-32 of the header with this field as zero  [ih_hcrc]
    time          seconds since 1970, UTC                       [ih_time]
    data_size     bytes                                         [ih_size]
    load_address  where the data goes in memory                 [ih_load]
    entry_address where it is started                           [ih_ep]
    data_crc      CRC-32 of the data                            [ih_dcrc]
    numbers       operating system, architecture, type, compression
                  [ih_os, ih_arch, ih_type, ih_comp]
    name          up to 32 bytes, the zeros at its end removed  [ih_name]
    computed_crc  what header_crc ought to be
    """

    header_crc: int
    time: int
    data_size: int
    load_address: int
    entry_address: int
    data_crc: int
    numbers: tuple[int, int, int, int]
    name: bytes
    computed_crc: int

    SIZE: ClassVar[int] = 64
    _FIELDS: ClassVar[struct.Struct] = struct.Struct(">4x6I4B32s")

    @classmethod
    def parse(cls, raw: bytes) -> Self:
        """Return the header of 64 bytes; its magic is not looked at."""
        fields = cls._FIELDS.unpack(raw)
        header_crc, time, size, load, entry, data_crc = fields[:6]
        system, architecture, kind, compression, name = fields[6:]
        return cls(
            header_crc=header_crc,
            time=time,
            data_size=size,
            load_address=load,
            entry_address=entry,
            data_crc=data_crc,
            numbers=(system, architecture, kind, compression),
            name=name.split(b"\0")[0],
            computed_crc=zlib.crc32(raw[:4] + bytes(4) + raw[8:]),
        )


class UimageReader(StepReader):
    """The machine for uImage.

    Facts: name, time, data_size, load_address, entry_address, system_number,
    architecture_number, type_number, compression_number, trailing_bytes.
    """

    def __init__(self) -> None:
        super().__init__()
        self._troubles = Troubles()
        self._facts: dict[str, Parameter] = {}

    def _steps(self) -> Generator[None, None, None]:
        raw = yield from self._incoming.exactly(UimageHeader.SIZE)
        if len(raw) < UimageHeader.SIZE:
            self._troubles.broken("uimage.header-cut-short", found=len(raw))
            return
        header = UimageHeader.parse(raw)
        self._facts = _facts(header)
        if not raw.startswith(MAGIC):
            self._troubles.broken("wrong-start")
        if header.header_crc != header.computed_crc:
            self._troubles.broken(
                "uimage.header-crc",
                stated=f"{header.header_crc:08X}",
                computed=f"{header.computed_crc:08X}",
            )
        yield from self._data(header)
        yield from self._trailing()

    def _data(self, header: UimageHeader) -> Generator[None, None, None]:
        crc, found = 0, 0
        while found < header.data_size:
            piece = yield from self._incoming.piece(header.data_size - found)
            if not piece:
                self._troubles.broken("uimage.cut-short", stated=header.data_size, found=found)
                return
            crc = zlib.crc32(piece, crc)
            found += len(piece)
        if crc != header.data_crc:
            self._troubles.broken(
                "uimage.data-crc", stated=f"{header.data_crc:08X}", computed=f"{crc:08X}"
            )

    def _trailing(self) -> Generator[None, None, None]:
        count = zeros = erased = 0
        while piece := (yield from self._incoming.piece()):
            count += len(piece)
            zeros += piece.count(0)
            erased += piece.count(0xFF)
        self._facts["trailing_bytes"] = count
        # Files are filled up to a size with zeros, or with FF as erased flash reads.
        if count not in {zeros, erased}:
            self._troubles.noted("uimage.trailing", count=count)

    def _report(self) -> ContainerReport:
        return self._troubles.report(UIMAGE, self._facts)


def _facts(header: UimageHeader) -> dict[str, Parameter]:
    system, architecture, kind, compression = header.numbers
    return {
        "name": harmless(header.name),
        "time": header.time,
        "data_size": header.data_size,
        "load_address": header.load_address,
        "entry_address": header.entry_address,
        "system_number": system,
        "architecture_number": architecture,
        "type_number": kind,
        "compression_number": compression,
    }
