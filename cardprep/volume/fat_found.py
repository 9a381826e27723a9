"""What the walk over a volume's folders has found so far, and when it is too much.

Pure: nothing here reads a card. Findings of one kind are named up to a limit and
then only counted, so that a damaged or hostile card cannot fill the memory.

Words: a *crossing* is a cluster at which one chain met another one's.
"""

from __future__ import annotations

from bisect import bisect_left
from collections import Counter
from dataclasses import dataclass, field

from cardprep.findings import Finding
from cardprep.volume.model import DeletedEntry, Extent, VolumeEntry

DEPTH_LIMIT = 64
ENTRY_LIMIT = 200_000
# Long names take up to 21 stored entries, but not all of them on a card that is honest.
STORED_LIMIT = 2_000_000
NAMED_LIMIT = 1000
_CROSSINGS_NAMED = 64


@dataclass(slots=True)
class Tree:
    """What the walk has found so far.

    stored     number of entries read, of all sorts
    crossings  byte on the card, cluster, and the path that came second
    """

    entries: list[VolumeEntry] = field(default_factory=list)
    deleted: list[DeletedEntry] = field(default_factory=list)
    labels: list[str] = field(default_factory=list)
    folders: list[Extent] = field(default_factory=list)
    findings: list[Finding] = field(default_factory=list)
    stored: int = 0
    crossings: list[tuple[int, int, str]] = field(default_factory=list)
    _counted: Counter[str] = field(default_factory=Counter)

    @property
    def is_too_much(self) -> bool:
        """Whether there are more entries than are read."""
        return (
            len(self.entries) > ENTRY_LIMIT
            or len(self.deleted) > ENTRY_LIMIT
            or self.stored > STORED_LIMIT
        )

    def add(self, finding: Finding) -> None:
        """Keep a finding, or only count it where there are too many of its kind."""
        self._counted[finding.slug] += 1
        if self._counted[finding.slug] <= NAMED_LIMIT:
            self.findings.append(finding)

    def add_crossing(self, at: int, cluster: int, path: str) -> None:
        """Remember where a chain met another one's."""
        if len(self.crossings) < _CROSSINGS_NAMED:
            self.crossings.append((at, cluster, path))

    def close(self) -> None:
        """Say what can be said only at the end: who is crossed, and what was not named."""
        self._name_crossed()
        for slug, count in self._counted.items():
            if count > NAMED_LIMIT:
                more = count - NAMED_LIMIT
                self.findings.append(
                    Finding("more-findings", None, "directory", {"kind": slug, "count": more})
                )

    def _name_crossed(self) -> None:
        """Name the files whose clusters another file claimed too: their content is in doubt."""
        places = sorted(self.crossings)
        for entry in self.entries if places else ():
            for extent in entry.extents:
                end = extent.offset + extent.length
                for at, cluster, other in places[bisect_left(places, (extent.offset,)) :]:
                    if at >= end:
                        break
                    self.add(
                        Finding(
                            "chain-shared",
                            entry.shown,
                            "FAT",
                            {"cluster": cluster, "other": other},
                        )
                    )
