"""Files without checks of their own: opaque ones, and those that are only recognised.

Most update files are opaque, which is no fault. It says nothing about the
contents beyond their size.
"""

from __future__ import annotations

from cardprep.images.blocks import FixedBlocks
from cardprep.images.report import ContainerReport, Soundness

OPAQUE = "opaque"


class UncheckedReader(FixedBlocks):
    """Counts the bytes of a file of a format that is not looked into."""

    def __init__(self, format_slug: str = OPAQUE) -> None:
        super().__init__()
        self._format = format_slug
        self._size = 0

    def _take(self, block: memoryview) -> None:
        self._size += len(block)

    def _report(self) -> ContainerReport:
        return ContainerReport(
            format=self._format, soundness=Soundness.UNCHECKED, facts={"size": self._size}
        )
