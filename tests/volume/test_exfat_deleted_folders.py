"""Deleted files and folders on exFAT volumes: listed as pytsk3 lists them, within bounds.

Judges: exfat-fuse, which deletes, and pytsk3.
"""

from __future__ import annotations

import random
import shutil
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cardprep.terms import MIB
from cardprep.volume import exfat_deleted_folders, fat_found
from cardprep.volume.card import read_card
from cardprep.volume.model import DeletedEntry, Left, Volume
from tests.cards import MemorySectors, run
from tests.deleted import Listed, listed_by_others
from tests.exfat import ExfatImage, make_exfat, mounted

pytestmark = pytest.mark.oracle

NAMES = (
    *("goes.bin", "stays.bin", "empty.bin", "Ünder fünf.bin", "a name of thirty characters.bin"),
    *("folder/inner.bin", "folder/deeper/last one of all.bin", "UPDATE/APP_430.BIN"),
)


def filled(image: Path, folder: Path, seed: int) -> dict[str, bytes]:
    """Make a volume with all of NAMES, and return their content."""
    choose = random.Random(seed)
    data = {
        name: b"" if name == "empty.bin" else choose.randbytes(choose.randint(1, 30_000))
        for name in NAMES
    }
    make_exfat(image, 16 * MIB, "-c", "4096")
    with mounted(image, folder) as root:
        for name, stored in data.items():
            (root / name).parent.mkdir(parents=True, exist_ok=True)
            (root / name).write_bytes(stored)
    return data


def read(data: bytes | bytearray) -> Volume:
    (volume,) = read_card(MemorySectors(data), into_deleted=True).volumes
    return volume


def ours(volume: Volume, image: ExfatImage) -> set[Listed]:
    """Return what was read, as pytsk3 has it."""
    return {
        Listed(
            (*entry.folder, entry.name),
            entry.is_folder,
            0 if entry.is_folder else entry.size,
            image.cluster(entry.first_cluster) if entry.is_folder or entry.size else None,
        )
        for entry in volume.deleted
    }


def test_names_sizes_and_clusters_are_those_that_others_list(tmp_path: Path) -> None:
    path = tmp_path / "volume"
    data = filled(path, tmp_path / "m", 1)
    with mounted(path, tmp_path / "m") as root:
        for name in ("goes.bin", "empty.bin", "Ünder fünf.bin", NAMES[4], "UPDATE/APP_430.BIN"):
            (root / name).unlink()
        shutil.rmtree(root / "folder")
    image = ExfatImage(path.read_bytes())
    volume = read(image.data)
    assert ours(volume, image) == listed_by_others(path)
    assert {entry.shown for entry in volume.entries} == {"stays.bin", "UPDATE"}
    by_name = {entry.shown: entry for entry in volume.deleted}
    assert by_name.keys() >= set(NAMES) - {"stays.bin"}
    for name, stored in data.items():
        if stored and name in by_name:
            (guess,) = by_name[name].guesses
            assert by_name[name].left is Left.FREE
            assert image.data[guess.offset : guess.offset + guess.length] == stored


@pytest.mark.parametrize("seed", range(3))
def test_cards_that_were_used_for_a_while(seed: int, tmp_path: Path) -> None:
    path = tmp_path / "volume"
    filled(path, tmp_path / "m", seed)
    choose = random.Random(seed)
    there = [name for name in NAMES if "/" not in name]
    for turn in range(4):
        with mounted(path, tmp_path / "m") as root:
            gone = choose.choice(there)
            (root / gone).unlink()
            there.remove(gone)
            there.append(f"new {turn} " + "x" * choose.randint(1, 40))
            (root / there[-1]).write_bytes(choose.randbytes(choose.randint(1, 50_000)))
    image = ExfatImage(path.read_bytes())
    volume = read(image.data)
    assert {entry.shown for entry in volume.entries} >= set(there)
    assert ours(volume, image) == listed_by_others(path)


@pytest.fixture(scope="module")
def without_folder(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    """Return a volume on which a folder was deleted with all that was in it."""
    folder = tmp_path_factory.mktemp("exfat")
    filled(folder / "volume", folder / "m", 1)
    with mounted(folder / "volume", folder / "m") as root:
        shutil.rmtree(root / "folder")
    return (folder / "volume").read_bytes()


def gone(volume: Volume) -> dict[str, DeletedEntry]:
    return {entry.shown: entry for entry in volume.deleted}


INSIDE = {
    *("folder", "folder/inner.bin", "folder/deeper"),
    "folder/deeper/last one of all.bin",
}


def test_only_who_asks_for_it_looks_into_deleted_folders(without_folder: bytes) -> None:
    plain, asked = MemorySectors(without_folder), MemorySectors(without_folder)
    assert gone(read_card(plain).volumes[0]).keys() == {"folder"}
    assert gone(read_card(asked, into_deleted=True).volumes[0]).keys() == INSIDE
    assert len(asked.reads) == len(plain.reads) + 2


def test_entries_that_are_not_marked_were_deleted_with_their_folder(without_folder: bytes) -> None:
    image = ExfatImage(without_folder)
    at = image.cluster(gone(read(image.data))["folder"].first_cluster)
    for place in range(at, at + 4096, 32):
        if image.data[place] in (0x05, 0x40, 0x41):
            image.data[place] |= 0x80
    volume = read(image.data)
    assert gone(volume).keys() == INSIDE
    assert "folder/inner.bin" not in {entry.shown for entry in volume.entries}
    # A sum that does not hold is no folder's.
    image.data[at + 5] ^= 1
    assert gone(read(image.data)).keys() == {"folder"}


@pytest.mark.parametrize("filling", [b"\xff", b"x", b"\x81", b"\xc0"])
def test_a_cluster_that_is_not_the_folder_any_more(without_folder: bytes, filling: bytes) -> None:
    image = ExfatImage(without_folder)
    at = image.cluster(gone(read(image.data))["folder"].first_cluster)
    image.data[at : at + 4096] = filling * 4096
    assert gone(read(image.data)).keys() == {"folder"}


def test_a_cluster_that_is_in_use_again(without_folder: bytes) -> None:
    image = ExfatImage(without_folder)
    image.mark(gone(read(image.data))["folder"].first_cluster)
    found = gone(read(image.data))
    assert found.keys() == {"folder"}
    assert found["folder"].left is Left.IN_USE


def test_a_cluster_that_cannot_be_read(without_folder: bytes) -> None:
    image = ExfatImage(without_folder)
    at = image.cluster(gone(read(image.data))["folder"].first_cluster)
    sectors = MemorySectors(image.data, bad=[(at, at + 512)])
    card = read_card(sectors, into_deleted=True)
    assert gone(card.volumes[0]).keys() == {"folder"}
    assert {finding.slug for finding in card.findings} == {"no-partition-table"}


def test_a_name_whose_end_is_lost(tmp_path: Path) -> None:
    path = tmp_path / "volume"
    filled(path, tmp_path / "m", 1)
    with mounted(path, tmp_path / "m") as root:
        (root / NAMES[4]).unlink()
    image = ExfatImage(path.read_bytes())
    # The second piece of its name, as if a new entry stood in its place.
    at = image.data.index("characters.bin".encode("utf-16-le")[:20])
    image.data[at // 32 * 32] = 0x85
    (entry,) = read(image.data).deleted
    assert (entry.name, entry.name_is_whole) == ("a name of thirt?", False)


def test_folders_are_looked_into_within_bounds(
    without_folder: bytes, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(exfat_deleted_folders, "FOLDERS_READ", 1)
    volume = read(without_folder)
    assert gone(volume).keys() == INSIDE - {"folder/deeper/last one of all.bin"}
    (finding,) = (one for one in volume.findings if one.slug == "deleted-folders-left")
    assert finding.parameters == {"limit": 1}
    monkeypatch.setattr(exfat_deleted_folders, "FOLDERS_READ", 9)
    monkeypatch.setattr(exfat_deleted_folders, "DEPTH_LIMIT", 2)
    assert "folder/deeper/last one of all.bin" not in gone(read(without_folder))
    monkeypatch.setattr(fat_found, "ENTRY_LIMIT", 2)
    assert "deleted-folders-left" in {finding.slug for finding in read(without_folder).findings}


def test_any_bytes_in_a_deleted_folder(without_folder: bytes) -> None:
    intact = ExfatImage(without_folder)
    at = intact.cluster(gone(read(intact.data))["folder"].first_cluster)
    live = {entry.shown for entry in read(intact.data).entries}

    @settings(deadline=None, max_examples=100)
    @given(st.lists(st.tuples(st.integers(0, 400), st.integers(0, 255)), max_size=6))
    def law(changes: list[tuple[int, int]]) -> None:
        image = ExfatImage(intact.data)
        for place, value in changes:
            image.data[at + place] = value
        volume = read(image.data)
        assert {entry.shown for entry in volume.entries} == live
        assert "folder" in gone(volume)

    law()


def test_the_volumes_are_sound_to_others(tmp_path: Path, without_folder: bytes) -> None:
    path = tmp_path / "volume"
    path.write_bytes(without_folder)
    run("fsck.exfat", "-n", path)
