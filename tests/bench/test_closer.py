"""Altered files of real cards, held against the shelf's copy by bench."""

from __future__ import annotations

from pathlib import Path

import pytest

from cardprep.bench.check import Checked, check_card
from cardprep.bench.open import Bench
from cardprep.findings import Finding, Verdict
from cardprep.medium.descriptor import DescriptorSectors
from cardprep.progress import Cancel, silent
from cardprep.terms import APPLICATION
from scripts.demo import make_card
from scripts.demo_files import application

APP = application()
AT = 1_234_567


def check(bench: Bench, path: Path) -> Checked:
    return check_card(bench, path, progress=silent, cancel=Cancel())


def found(checked: Checked, slug: str) -> Finding:
    return next(f for f in checked.judgement.findings if f.slug == slug)


def one_bit() -> bytes:
    return APP.content[:AT] + bytes((APP.content[AT] ^ 0x10,)) + APP.content[AT + 1 :]


@pytest.fixture
def card(tmp_path: Path) -> Path:
    path = tmp_path / "worn.img"
    make_card(path, ((APP.name, one_bit(), APPLICATION),))
    return path


def test_one_bit_is_found_on_a_card_and_in_a_folder(
    bench: Bench, card: Path, tmp_path: Path
) -> None:
    folder = tmp_path / "mounted"
    folder.mkdir()
    (folder / APP.name).write_bytes(one_bit())
    for path in (card, folder):
        parameters = found(check(bench, path), "altered").parameters
        assert (parameters["how"], parameters["where"]) == ("altered-bit", "where-byte")
        assert parameters["first"] == parameters["last"] == AT


def test_a_card_that_gives_other_bytes_the_second_time(
    bench: Bench, card: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    real, asked = DescriptorSectors.read_into, []

    def unsteady(sectors: DescriptorSectors, offset: int, buffer: memoryview) -> None:
        real(sectors, offset, buffer)
        # Of all reads of an inspection only those of a second look have this length here.
        if len(buffer) == 65536:
            asked.append(offset)
            buffer[77] ^= 1

    monkeypatch.setattr(DescriptorSectors, "read_into", unsteady)
    checked = check(bench, card)
    assert asked
    assert found(checked, "reads-differently").parameters["how"] == "again-other"
    assert checked.judgement.verdict is Verdict.DO_NOT_USE


@pytest.mark.parametrize("damage", ["gone", "damaged"])
def test_without_a_sound_copy_on_the_shelf_only_the_blocks_are_known(
    bench: Bench, card: Path, damage: str
) -> None:
    manifest = bench.trusted_or_reason()[0]
    assert manifest is not None
    image = next(i for i in manifest.manifest.images if i.file == APP.name)
    copy = bench.shelf.path(image.sha256)
    copy.chmod(0o600)
    if damage == "gone":
        copy.unlink()
    else:
        copy.write_bytes(one_bit())
    parameters = found(check(bench, card), "altered").parameters
    assert (parameters["where"], parameters["how"]) == ("where-blocks", "altered-part")


def test_of_a_right_card_nothing_is_read_twice(
    bench: Bench, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "right.img"
    make_card(path, ((APP.name, APP.content, APPLICATION),))
    monkeypatch.setattr("cardprep.bench.closer.look_closer", None)
    assert found(check(bench, path), "matches").path == APP.name
