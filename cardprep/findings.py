"""Findings: what was established about a card, good or bad.

A finding has a slug, and parameters for the sentences which the catalogue in
``texts/findings.py`` keeps under that slug. Its severity and whether it leaves
something undecided come from the table of kinds below, which is the only place
that decides how bad a thing is.

*stop*: do not use the card. *caution*: use it only when the reason is
understood. *note*: worth knowing; matches are notes too. *undecided*: something
could not be looked at, and the card is not called good. *releasable*: a person
may overrule it in writing, with a reason and an authority; then it is a caution
that was decided. Altered bytes and an image for another model never are.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum

Parameter = str | int


class Severity(StrEnum):
    """How bad a finding is."""

    STOP = "stop"
    CAUTION = "caution"
    NOTE = "note"


class Verdict(StrEnum):
    """What is said of a card as a whole; it has no truth value that means "good"."""

    USE = "use"
    USE_WITH_CARE = "use-with-care"
    DO_NOT_USE = "do-not-use"
    CANNOT_SAY = "cannot-say"


@dataclass(frozen=True, slots=True)
class Kind:
    """What all findings of one slug have in common."""

    severity: Severity
    undecided: bool = False
    releasable: bool = False


_STOP = Kind(Severity.STOP)
_CAUTION = Kind(Severity.CAUTION)
_NOTE = Kind(Severity.NOTE)
_UNDECIDED = Kind(Severity.CAUTION, undecided=True)
_STOP_OR_WORD = Kind(Severity.STOP, releasable=True)
_UNDECIDED_OR_WORD = Kind(Severity.CAUTION, undecided=True, releasable=True)

KINDS: Mapping[str, Kind] = {
    # what the files are
    "matches": _NOTE,
    "mixed-types": _STOP_OR_WORD,
    "two-versions": _STOP_OR_WORD,
    "altered": _STOP,
    "cut-short": _STOP,
    "reads-differently": _STOP,
    "unknown-file": _UNDECIDED_OR_WORD,
    "supposed-type": _UNDECIDED_OR_WORD,
    "mixed-if-supposed": _CAUTION,
    "no-image": _UNDECIDED_OR_WORD,
    "card-empty": _UNDECIDED,
    "renamed": _STOP_OR_WORD,
    "short-name-of-image": _STOP,
    "short-name-differs": _CAUTION,
    "wrong-folder": _STOP_OR_WORD,
    "withdrawn": _STOP_OR_WORD,
    "leftover": _NOTE,
    "leftover-image": _CAUTION,
    "leftover-altered": _CAUTION,
    "leftover-like-image": _STOP_OR_WORD,
    "display-file": _NOTE,
    "container-broken": _STOP,
    "container-contradicts": _STOP,
    "left-packed": _STOP,
    "page-as-image": _STOP,
    "wrong-volume": _STOP_OR_WORD,
    "other-under-name": _UNDECIDED,
    "newer-than-shelf": _UNDECIDED_OR_WORD,
    "other-version": _UNDECIDED_OR_WORD,
    "owner-data": _CAUTION,
    "program": _CAUTION,
    "attribute-odd": _CAUTION,
    "name-decomposed": _CAUTION,
    "fragmented": _NOTE,
    # what was deleted
    "deleted-entries": _NOTE,
    "deleted-image": _NOTE,
    "deleted-image-part": _NOTE,
    "deleted-image-name": _NOTE,
    "deleted-content-left": _NOTE,
    # against a visit and its display
    "not-for-these-units": _STOP,
    "goes-back": _STOP_OR_WORD,
    "not-planned": _CAUTION,
    "needs-before": _STOP_OR_WORD,
    "needs-unknown": _CAUTION,
    "stage-before": _NOTE,
    "starts-elsewhere": _STOP_OR_WORD,
    "starts-unknown": _CAUTION,
    "handset-with-it": _NOTE,
    "handset-left-behind": _CAUTION,
    "other-card": _STOP,
    "other-job": _STOP,
    "card-too-large": _STOP_OR_WORD,
    "display-file-system": _STOP_OR_WORD,
    "display-partition-table": _CAUTION,
    # against a stage
    "stage-complete": _NOTE,
    "stage-file-missing": _STOP,
    "not-in-stage": _STOP_OR_WORD,
    "as-written": _NOTE,
    "differs-from-stage": _CAUTION,
    "content-differs-from-stage": _STOP,
    "read-back-differs": _STOP,
    "stage-not-compared": _UNDECIDED,
    "plan-superseded": _STOP_OR_WORD,
    "plan-renewed": _CAUTION,
    # what could not be looked at
    "read-error": Kind(Severity.STOP, undecided=True),
    "volume-unreadable": Kind(Severity.STOP, undecided=True),
    "no-volume": Kind(Severity.STOP, undecided=True),
    "manifest-untrusted": _UNDECIDED,
    "no-shop": _UNDECIDED,
    "folder-only": _CAUTION,
    "not-a-file": _CAUTION,
    "name-not-opened": _UNDECIDED,
    "read-through-cache": _CAUTION,
    "read-from-file": _NOTE,
    "too-many-files": Kind(Severity.STOP, undecided=True),
    "too-scattered": Kind(Severity.STOP, undecided=True),
    "more-findings": _NOTE,
    # the partition table
    "several-partitions": _CAUTION,
    "partition-beyond-card": _STOP,
    "partitions-overlap": _STOP,
    "partition-type-contradicts": _CAUTION,
    "partition-status-odd": _NOTE,
    "no-partition-table": _NOTE,
    "partition-table-odd": _CAUTION,
    "table-not-usual": _CAUTION,
    "too-many-partitions": Kind(Severity.STOP, undecided=True),
    "logical-chain-broken": Kind(Severity.STOP, undecided=True),
    "gpt-damaged": _CAUTION,
    "gpt-backup-differs": _CAUTION,
    "gpt-hybrid": _CAUTION,
    "gpt-stale": _NOTE,
    "foreign-volume": _NOTE,
    # the volume
    "boot-sector-odd": _CAUTION,
    "boot-copy-used": _CAUTION,
    "backup-boot-differs": _CAUTION,
    "fsinfo-odd": _CAUTION,
    "free-count-odd": _NOTE,
    "fat-head-odd": _CAUTION,
    "fat-type-disagrees": _CAUTION,
    "fats-differ": _CAUTION,
    "volume-dirty": _CAUTION,
    "volume-error-mark": _CAUTION,
    "volume-beyond-partition": _STOP,
    "hidden-sectors-differ": _NOTE,
    "labels-differ": _NOTE,
    "bitmap-odd": _CAUTION,
    "upcase-odd": _CAUTION,
    # chains and folders
    "chain-broken": _STOP,
    "chain-loops": _STOP,
    "chain-crossed": _STOP,
    "chain-shared": _STOP,
    "chain-too-short": _STOP,
    "chain-too-long": _CAUTION,
    "never-written": _UNDECIDED,
    "lost-clusters": _CAUTION,
    "clusters-marked-free": _CAUTION,
    "folder-damaged": _CAUTION,
    "entry-damaged": _UNDECIDED,
    "entries-after-end": _NOTE,
    "name-damaged": _CAUTION,
    "name-twice": _STOP,
    "time-odd": _NOTE,
    "deleted-folders-left": _NOTE,
}


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing established about a card.

    slug        a key of KINDS
    path        the file or folder on the card in harmless spelling, or None
    structure   the part of the card by its published name, or None
    parameters  what the sentences of the catalogue name
    released    whether a person overruled it in writing
    """

    slug: str
    path: str | None = None
    structure: str | None = None
    parameters: Mapping[str, Parameter] = field(default_factory=dict)
    released: bool = False

    def __post_init__(self) -> None:
        """Refuse a slug that has no kind; it would have no severity."""
        if self.slug not in KINDS:
            raise KeyError(self.slug)

    @property
    def severity(self) -> Severity:
        """How bad it is."""
        return Severity.CAUTION if self.released else KINDS[self.slug].severity

    @property
    def undecided(self) -> bool:
        """Whether something could not be looked at."""
        return KINDS[self.slug].undecided and not self.released

    @property
    def releasable(self) -> bool:
        """Whether a person may overrule it in writing."""
        return KINDS[self.slug].releasable
