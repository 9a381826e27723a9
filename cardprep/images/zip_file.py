"""Check ZIP files in one pass from front to end, extracting nothing.

Members are walked from the start, each is unpacked within limits and its CRC
computed; then the central directory is held against what was found.

Not checked, and said so: encrypted members, methods other than stored and
deflated, stored members whose size comes only after them, values that need the
zip64 end record, and what exceeds the limits. Zeros after the end are padding.
Under no checksum and without effect on the contents: times, versions,
attributes, extra fields and comments.

Source: .ZIP File Format Specification (APPNOTE.TXT) 6.3.10, section 4.3.6.
"""

from __future__ import annotations

from collections.abc import Generator

from cardprep.images import zip_records, zip_signatures
from cardprep.images.blocks import StepReader
from cardprep.images.report import ContainerReport, Parameter, Troubles
from cardprep.images.zip_directory import DirectoryWalk
from cardprep.images.zip_members import MemberWalk

ZIP = "zip"


class ZipReader(StepReader):
    """The machine for ZIP.

    Facts: members, packed_bytes and unpacked_bytes of their contents as far as
    they were read, trailing_bytes.
    """

    def __init__(self) -> None:
        super().__init__()
        self._troubles = Troubles()
        self._walk = MemberWalk(self._incoming, self._troubles)
        self._directory = DirectoryWalk(self._incoming, self._troubles, self._walk.members)

    def _steps(self) -> Generator[None, None, None]:
        more = True
        while more:
            offset = self._incoming.offset
            signature = yield from self._incoming.exactly(4)
            if signature == zip_signatures.LOCAL_SIGNATURE and self._directory.begun is None:
                more = yield from self._walk.member(signature)
            elif signature == zip_signatures.DIRECTORY_SIGNATURE:
                more = yield from self._directory.entry(signature)
            elif signature == zip_signatures.END_SIGNATURE:
                yield from self._directory.end(signature)
                return
            elif signature in zip_records.OTHER_SIGNATURES:
                self._troubles.unchecked("zip.other-structure", offset=offset)
                return
            else:
                reason = "zip.no-end" if len(signature) < 4 else "zip.no-structure"
                self._troubles.broken(reason, offset=offset, members=len(self._walk.members))
                return

    def _report(self) -> ContainerReport:
        facts: dict[str, Parameter] = {
            "members": len(self._walk.members),
            "packed_bytes": self._walk.packed,
            "unpacked_bytes": self._walk.unpacked,
            "trailing_bytes": self._directory.trailing,
        }
        return self._troubles.report(ZIP, facts, covered=bool(self._walk.members))
