"""Findings: the table of kinds decides how bad a thing is, and nothing else does."""

from __future__ import annotations

import re
from dataclasses import FrozenInstanceError

import pytest

from cardprep.findings import KINDS, Finding, Severity

# Source: design, 'Rules' and 'The person and the job'. One of each sort is written out here,
# so that a slip in the table is seen: what may be loaded wrongly stops, what cannot be looked
# at is never called good, and an ordinary card of an ordinary customer gets notes only.
STOPS = (
    *("mixed-types", "two-versions", "altered", "cut-short", "renamed", "wrong-folder"),
    *("withdrawn", "left-packed", "leftover-like-image", "container-broken"),
    *("container-contradicts", "content-differs-from-stage", "not-in-stage", "stage-file-missing"),
    *("chain-loops", "chain-crossed", "chain-broken", "partition-beyond-card"),
)
UNDECIDED = (
    *("unknown-file", "read-error", "volume-unreadable", "no-volume", "manifest-untrusted"),
    "too-many-files",
)
NOTES = ("matches", "stage-complete", "as-written", "leftover", "read-from-file", "time-odd")


@pytest.mark.parametrize("slug", STOPS)
def test_what_stops(slug: str) -> None:
    assert Finding(slug).severity is Severity.STOP


@pytest.mark.parametrize("slug", UNDECIDED)
def test_what_leaves_something_undecided(slug: str) -> None:
    assert Finding(slug).undecided
    assert Finding(slug).severity is not Severity.NOTE


@pytest.mark.parametrize("slug", NOTES)
def test_what_is_only_worth_knowing(slug: str) -> None:
    assert Finding(slug).severity is Severity.NOTE
    assert not Finding(slug).undecided


def test_a_note_never_leaves_anything_undecided() -> None:
    # A card whose findings are all notes is called good.
    notes = [kind for kind in KINDS.values() if kind.severity is Severity.NOTE]
    assert notes
    assert not any(kind.undecided for kind in notes)


def test_the_words_for_severity() -> None:
    assert [str(severity) for severity in Severity] == ["stop", "caution", "note"]


@pytest.mark.parametrize("slug", list(KINDS))
def test_a_slug_is_lower_case_words_with_hyphens(slug: str) -> None:
    assert re.fullmatch(r"[a-z]+(-[a-z]+)*", slug)


@pytest.mark.parametrize("slug", ["", "Matches", "matches ", "no-such-thing"])
def test_a_slug_without_a_kind_is_our_own_fault(slug: str) -> None:
    with pytest.raises(KeyError):
        Finding(slug)


def test_a_finding_is_a_value() -> None:
    one = Finding("altered", "/APP/UNIT.BIN", "FAT", {"chunk": 3})
    assert one == Finding("altered", "/APP/UNIT.BIN", "FAT", {"chunk": 3})
    assert one != Finding("altered", "/APP/UNIT.BIN", "FAT", {"chunk": 4})
    assert Finding("matches").parameters == {}
    with pytest.raises(FrozenInstanceError):
        one.slug = "matches"  # type: ignore[misc]
