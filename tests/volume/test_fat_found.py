"""What the walk keeps, and where it stops keeping."""

from __future__ import annotations

import pytest

from cardprep.findings import Finding
from cardprep.volume import fat_found
from cardprep.volume.fat_found import Tree
from cardprep.volume.model import DeletedEntry, Extent, VolumeEntry


def file(name: str, *extents: Extent) -> VolumeEntry:
    return VolumeEntry(
        path=(name,),
        short=name,
        is_folder=False,
        size=sum(extent.length for extent in extents),
        attributes=0x20,
        created=None,
        accessed=None,
        modified=None,
        extents=extents,
        is_whole=True,
    )


def test_findings_are_named_up_to_a_limit_and_then_counted(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(fat_found, "NAMED_LIMIT", 3)
    tree = Tree()
    for number in range(5):
        tree.add(Finding("time-odd", str(number)))
    for number in range(3):
        tree.add(Finding("name-damaged", str(number)))
    tree.close()
    *named, last = tree.findings
    assert [finding.path for finding in named] == ["0", "1", "2", "0", "1", "2"]
    assert (last.slug, last.parameters) == ("more-findings", {"kind": "time-odd", "count": 2})


def test_who_is_crossed_is_named() -> None:
    tree = Tree()
    tree.entries = [
        file("before", Extent(0, 100)),
        file("hit", Extent(1000, 100), Extent(2000, 100)),
        file("after", Extent(2100, 100)),
        file("empty"),
    ]
    tree.add_crossing(2099, 7, "thief")
    tree.add_crossing(1000, 5, "other thief")
    tree.add_crossing(1100, 6, "hits nobody")
    tree.close()
    assert [(f.path, f.parameters["cluster"], f.parameters["other"]) for f in tree.findings] == [
        ("hit", 5, "other thief"),
        ("hit", 7, "thief"),
    ]
    assert {finding.slug for finding in tree.findings} == {"chain-shared"}


def test_no_more_crossings_are_kept_than_are_named() -> None:
    tree = Tree()
    for number in range(1000):
        tree.add_crossing(number, number, "thief")
    assert len(tree.crossings) == 64


def test_when_it_is_too_much(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(fat_found, "ENTRY_LIMIT", 2)
    monkeypatch.setattr(fat_found, "STORED_LIMIT", 10)
    gone = DeletedEntry(folder=(), short="?", size=0, modified=None, first_cluster=0)
    assert not Tree(entries=[file("a")] * 2, deleted=[gone] * 2, stored=10).is_too_much
    assert Tree(entries=[file("a")] * 3).is_too_much
    assert Tree(deleted=[gone] * 3).is_too_much
    assert Tree(stored=11).is_too_much
