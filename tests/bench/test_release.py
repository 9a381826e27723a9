"""Files taken in: onto the shelf and into the manifest, or not at all."""

from __future__ import annotations

import hashlib
from dataclasses import replace
from pathlib import Path

import pytest

from cardprep.bench.open import Bench, Place, open_bench
from cardprep.bench.release import check_manifest, sign_manifest, take_in
from cardprep.errors import CardprepError, StoppedError
from cardprep.images.report import Soundness
from cardprep.progress import Cancel, silent
from cardprep.terms import Version
from tests.bench.conftest import app_facts, boot_facts


def test_a_file_taken_in_is_on_the_shelf_under_its_digest(
    shop: Place, downloads: tuple[Path, Path]
) -> None:
    with open_bench(shop, "test") as bench:
        taken = take_in(bench, downloads[0], boot_facts(), silent, Cancel())
        sha256 = hashlib.sha256(downloads[0].read_bytes()).hexdigest()
        assert taken.image.sha256 == sha256
        assert bench.shelf.path(sha256).read_bytes() == downloads[0].read_bytes()
        assert (taken.container.format, taken.container.soundness) == ("s-record", Soundness.HOLDS)
        assert (taken.on_shelf, taken.in_manifest) == (False, False)
        assert sha256 in (shop.shop / "manifest.toml").read_text("utf-8")
        (record,) = bench.log.find("digest", sha256)
        assert record.body["known_by"] == {
            "how": "own-download",
            "address": "https://ottervane.example/v40",
            "on": "2026-11-20",
        }


def test_the_same_file_twice_is_said_and_changes_nothing(
    shop: Place, downloads: tuple[Path, Path], tmp_path: Path
) -> None:
    with open_bench(shop, "test") as bench:
        take_in(bench, downloads[0], boot_facts(), silent, Cancel())
        text = (shop.shop / "manifest.toml").read_bytes()
        other = tmp_path / "another name (1).s37"
        other.write_bytes(downloads[0].read_bytes())
        again = take_in(bench, other, boot_facts(), silent, Cancel())
        assert (again.on_shelf, again.in_manifest) == (True, True)
        assert again.image.file == downloads[0].name
        assert (shop.shop / "manifest.toml").read_bytes() == text
        assert bench.log.size() == 2


@pytest.mark.parametrize(
    ("damage", "facts", "reason"),
    [
        pytest.param(
            lambda data: data[:5000] + bytes((data[5000] ^ 0xFF,)) + data[5001:],
            {},
            "intake.broken",
            id="one byte of the file altered",
        ),
        pytest.param(lambda data: data, {"expected": "0" * 64}, "intake.checksum", id="checksum"),
        pytest.param(lambda data: data, {"type": "loader"}, "intake.type", id="no such type"),
        pytest.param(
            lambda data: data, {"models": ("OV-V99",)}, "intake.model", id="no such model"
        ),
        pytest.param(
            lambda data: data,
            {"needs": (("loader", Version("1")),)},
            "intake.type",
            id="needs no such type",
        ),
        pytest.param(
            lambda _: b"<!DOCTYPE html><html><body>please log in</body></html>",
            {},
            "intake.packed",
            id="a web page saved as firmware",
        ),
        pytest.param(lambda _: b"", {}, "intake.empty", id="empty file"),
    ],
)
def test_what_is_refused_changes_neither_shelf_nor_manifest(
    shop: Place,
    downloads: tuple[Path, Path],
    damage: object,
    facts: dict[str, object],
    reason: str,
) -> None:
    assert callable(damage)
    downloads[0].write_bytes(damage(downloads[0].read_bytes()))
    text = (shop.shop / "manifest.toml").read_bytes()
    with open_bench(shop, "test") as bench:
        with pytest.raises(CardprepError) as caught:
            take_in(bench, downloads[0], replace(boot_facts(), **facts), silent, Cancel())  # type: ignore[arg-type]
        assert caught.value.reason == reason
        assert bench.shelf.digests() == []
        assert bench.log.size() == 1
    assert (shop.shop / "manifest.toml").read_bytes() == text


def test_a_file_that_is_not_there(shop: Place, tmp_path: Path) -> None:
    with open_bench(shop, "test") as bench, pytest.raises(CardprepError) as caught:
        take_in(bench, tmp_path / "nothing", boot_facts(), silent, Cancel())
    assert caught.value.reason == "shelf.source-not-there"


def test_stopping_leaves_nothing(shop: Place, downloads: tuple[Path, Path]) -> None:
    cancel = Cancel()
    cancel.ask()
    with open_bench(shop, "test") as bench:
        with pytest.raises(StoppedError):
            take_in(bench, downloads[1], app_facts(), silent, cancel)
        assert bench.shelf.digests() == []


def test_remarks_in_the_manifest_survive(shop: Place, downloads: tuple[Path, Path]) -> None:
    with open_bench(shop, "test") as bench:
        take_in(bench, downloads[0], boot_facts(), silent, Cancel())
        sign_manifest(bench)
    text = (shop.shop / "manifest.toml").read_text("utf-8")
    assert "# --- the demonstration: displays and models (invented)" in text


def test_signing_counts_up_and_names_the_text_before(bench: Bench) -> None:
    first = bench.trusted()
    assert first.manifest.serial == 2
    assert sign_manifest(bench).changed is False
    manifest = bench.shop.manifest
    manifest.write_bytes(manifest.read_bytes() + b"\n# looked at on Friday\n")
    with open_bench(bench.place) as opened:
        signed = sign_manifest(opened)
        assert (signed.serial, signed.changed) == (3, True)
        assert opened.trusted().manifest.previous == first.sha256


def test_mistakes_are_all_named(shop: Place) -> None:
    manifest = shop.shop / "manifest.toml"
    with open_bench(shop) as bench:
        found, mistakes = check_manifest(bench)
        assert found is not None
        assert mistakes == ()
        manifest.write_text(manifest.read_text("utf-8") + '[[display]]\nmodle = "X"\n', "utf-8")
        found, mistakes = check_manifest(bench)
        assert found is None
        assert mistakes
