"""Files taken in: onto the shelf and into the manifest, or not at all."""

from __future__ import annotations

import hashlib
import io
import zipfile
import zlib
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from cardprep.bench.intake import TakenIn, take_in
from cardprep.bench.intake_facts import PublishedSum
from cardprep.bench.intake_file import Unpack
from cardprep.bench.open import Bench, Place, open_bench
from cardprep.bench.sign import check_manifest, sign_manifest
from cardprep.cli import words
from cardprep.errors import CardprepError, StoppedError
from cardprep.images.report import Soundness
from cardprep.progress import Cancel, silent
from cardprep.terms import Version
from cardprep.texts.catalogue import refusal
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
        pytest.param(
            lambda data: data,
            {"published": PublishedSum.parse("0" * 64)},
            "intake.checksum",
            id="checksum",
        ),
        pytest.param(
            lambda data: data,
            {"released": words.moment("2099-01-01")},
            "intake.future",
            id="released some day",
        ),
        pytest.param(
            lambda data: data,
            {"list_checked": words.day("2099-01-01")},
            "intake.future",
            id="a list that nobody can have seen",
        ),
        pytest.param(
            lambda data: data,
            {"known_by": words.known_by("makers-checksum", "https://x.example", None)},
            "intake.checksum-missing",
            id="the maker's checksum without one",
        ),
        pytest.param(
            lambda data: zipped(("A.BIN", data), ("B.BIN", data)),
            {},
            "intake.packed-zip",
            id="a ZIP that nobody asked to unpack",
        ),
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
            "intake.no-image",
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


def test_a_mistake_of_what_was_told_names_no_line(
    shop: Place, downloads: tuple[Path, Path]
) -> None:
    with open_bench(shop, "test") as bench:
        facts = replace(boot_facts(), version=Version("v3.10"))
        with pytest.raises(CardprepError) as caught:
            take_in(bench, downloads[0], facts, silent, Cancel())
        assert caught.value.reason == "intake.told"
        text = refusal(caught.value)
        assert "line" not in text.message
        assert text.remedy.endswith("Nothing was changed.")
        assert bench.shelf.digests() == []


@pytest.mark.skipif(not Path("/proc/self/environ").exists(), reason="Linux only")
def test_what_a_system_makes_up_is_no_file(shop: Place) -> None:
    with open_bench(shop, "test") as bench:
        with pytest.raises(CardprepError) as caught:
            take_in(bench, Path("/proc/self/environ"), boot_facts(), silent, Cancel())
        assert caught.value.reason == "intake.changed"
        assert bench.shelf.digests() == []


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


# --- archives, checksums, what the manifest has already


def zipped(*files: tuple[str, bytes]) -> bytes:
    made = io.BytesIO()
    with zipfile.ZipFile(made, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in files:
            archive.writestr(name, content)
    return made.getvalue()


@pytest.fixture
def archive(downloads: tuple[Path, Path]) -> Path:
    """Make a ZIP as makers ship it: the image in a folder, and a text beside it."""
    path = downloads[1].with_name("update.zip")
    files = (("OVV40/OVV40_APP_430.img", downloads[1].read_bytes()), ("readme.txt", b"read me"))
    path.write_bytes(zipped(*files))
    return path


@pytest.mark.parametrize(
    "member", ["OVV40_APP_430.img", "OVV40/OVV40_APP_430.img", "ovv40_app_430.IMG"]
)
def test_an_image_out_of_a_zip(
    shop: Place, archive: Path, downloads: tuple[Path, Path], member: str
) -> None:
    with open_bench(shop, "test") as bench:
        unpack = Unpack(member=member)
        taken = take_in(bench, archive, app_facts(), silent, Cancel(), unpack=unpack)
        content = downloads[1].read_bytes()
        assert taken.image.file == "OVV40_APP_430.img"
        assert taken.image.sha256 == hashlib.sha256(content).hexdigest()
        assert bench.shelf.path(taken.image.sha256).read_bytes() == content
        (record,) = bench.log.find("file", "OVV40_APP_430.img")
        assert record.body["archive"] == {
            "name": "update.zip",
            "sha256": hashlib.sha256(archive.read_bytes()).hexdigest(),
            "member": "OVV40/OVV40_APP_430.img",
        }
        # Nothing else is left on the shelf, and the same again is said.
        assert bench.shelf.digests() == [taken.image.sha256]
        assert len([p for p in bench.shop.shelf.rglob("*") if p.is_file()]) == 1
        again = take_in(bench, archive, app_facts(), silent, Cancel(), unpack=unpack)
        assert (again.on_shelf, again.in_manifest) == (True, True)


@pytest.mark.parametrize(
    ("member", "reason"),
    [
        pytest.param(None, "intake.which-member", id="two files and none is named"),
        pytest.param("APP.img", "intake.no-member", id="no such file"),
    ],
)
def test_which_file_of_a_zip(shop: Place, archive: Path, member: str | None, reason: str) -> None:
    with open_bench(shop, "test") as bench:
        with pytest.raises(CardprepError) as caught:
            take_in(bench, archive, app_facts(), silent, Cancel(), unpack=Unpack(member=member))
        assert caught.value.reason == reason
        assert "OVV40/OVV40_APP_430.img" in str(caught.value.parameters["known"])
        assert bench.log.size() == 1


def test_the_only_file_of_a_zip_needs_no_name(shop: Place, downloads: tuple[Path, Path]) -> None:
    path = downloads[0].with_suffix(".zip")
    path.write_bytes(zipped((downloads[0].name, downloads[0].read_bytes())))
    with open_bench(shop, "test") as bench:
        taken = take_in(bench, path, boot_facts(), silent, Cancel(), unpack=Unpack())
        assert taken.image.file == downloads[0].name


def test_a_zip_that_is_taken_as_it_is(shop: Place, archive: Path) -> None:
    with open_bench(shop, "test") as bench:
        taken = take_in(bench, archive, app_facts(), silent, Cancel(), as_is=True)
        assert (taken.image.file, taken.image.container) == ("update.zip", "zip")


def test_a_zip_whose_names_contradict_each_other(shop: Place, archive: Path) -> None:
    data = archive.read_bytes()
    at = data.rindex(b"OVV40_APP_430.img")
    archive.write_bytes(data[:at] + b"OVV40_APP_431.img" + data[at + 17 :])
    with open_bench(shop, "test") as bench:
        with pytest.raises(CardprepError) as caught:
            take_in(bench, archive, app_facts(), silent, Cancel(), unpack=Unpack(member="x"))
        assert caught.value.reason.startswith("unpack.")
        assert bench.shelf.digests() == []


@pytest.mark.parametrize("of", ["archive", "image"])
@pytest.mark.parametrize(
    ("algorithm", "function"),
    [
        ("sha256", hashlib.sha256),
        ("sha512", hashlib.sha512),
        ("sha1", hashlib.sha1),
        ("md5", hashlib.md5),
        ("crc32", None),
    ],
)
def test_a_published_checksum_of_the_archive_or_of_the_image(
    shop: Place,
    archive: Path,
    downloads: tuple[Path, Path],
    algorithm: str,
    function: Callable[..., Any] | None,
    of: str,
) -> None:
    content = (archive if of == "archive" else downloads[1]).read_bytes()
    digits = f"{zlib.crc32(content):08X}" if function is None else function(content).hexdigest()
    facts = replace(app_facts(), published=PublishedSum.parse(f"{algorithm} {digits}"))
    unpack = Unpack(member="OVV40_APP_430.img")
    with open_bench(shop, "test") as bench:
        taken = take_in(bench, archive, facts, silent, Cancel(), unpack=unpack)
        assert taken.checked == facts.published
        (record,) = bench.log.find("file", "OVV40_APP_430.img")
        assert record.body["published"] == {"algorithm": algorithm, "sum": digits.lower()}


# Source: RFC 1321, A.5 (MD5 of "abc"); FIPS 180-4 examples (SHA-1, SHA-256 of "abc");
# the check value of CRC-32/ISO-HDLC over "123456789" is CBF43926 (RevEng catalogue).
@pytest.mark.parametrize(
    ("content", "text"),
    [
        (b"abc", "md5 900150983cd24fb0d6963f7d28e17f72"),
        (b"abc", "a9993e364706816aba3e25717850c26c9cd0d89d"),
        (b"abc", "SHA-256 ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"),
        (b"123456789", "crc32 CBF43926"),
    ],
)
def test_published_values(content: bytes, text: str) -> None:
    published = PublishedSum.parse(text)
    computed = published.start()
    computed.update(content)
    assert published.holds(computed)
    other = published.start()
    other.update(content + b"!")
    assert not published.holds(other)


@pytest.mark.parametrize("text", ["", "md5", "md5 12", "md4 " + "0" * 32, "g" * 64, "0" * 63])
def test_what_is_no_checksum(text: str) -> None:
    with pytest.raises(CardprepError) as caught:
        PublishedSum.parse(text)
    assert caught.value.reason == "words.checksum"


@pytest.mark.parametrize(
    ("changed", "key"),
    [
        pytest.param({"version": Version("3.11")}, "version", id="version"),
        pytest.param({"models": ("OV-V42",)}, "models", id="models"),
        pytest.param({"type": "application"}, "type", id="type"),
        pytest.param({"released": words.moment("2026-03-03")}, "released", id="released"),
        pytest.param({"minutes": words.minutes("30")}, "minutes", id="minutes"),
        pytest.param({"leaves": words.leaves("running")}, "leaves", id="leaves"),
        pytest.param({"needs": (("application", Version("1")),)}, "needs", id="needs"),
        pytest.param({"starts": (Version("1"),)}, "from_versions", id="starts"),
        pytest.param({"name": "OTHER.S37"}, "file", id="name"),
        pytest.param(
            {"known_by": words.known_by("handed-over", "the skipper", "2026-11-01")},
            "known_by",
            id="how known",
        ),
        pytest.param(
            {"carried": words.carried(["OV-H4 application 2.41 PROGRAM"])}, "carries", id="carries"
        ),
    ],
)
def test_the_same_bytes_with_other_facts_are_refused(
    shop: Place, downloads: tuple[Path, Path], changed: dict[str, Any], key: str
) -> None:
    with open_bench(shop, "test") as bench:
        take_in(bench, downloads[0], boot_facts(), silent, Cancel())
        text = bench.shop.manifest.read_bytes()
        with pytest.raises(CardprepError) as caught:
            take_in(bench, downloads[0], replace(boot_facts(), **changed), silent, Cancel())
        assert caught.value.reason == "intake.known-otherwise"
        assert str(caught.value.parameters["differs"]).startswith(f"{key}: ")
        line = caught.value.parameters["line"]
        assert isinstance(line, int)
        assert text.decode().splitlines()[line - 1] == "[[image]]"
        assert bench.shop.manifest.read_bytes() == text


def test_a_newer_day_of_the_makers_list(shop: Place, downloads: tuple[Path, Path]) -> None:
    def taken(bench: Bench, day: str) -> TakenIn:
        facts = replace(boot_facts(), list_checked=words.day(day))
        return take_in(bench, downloads[0], facts, silent, Cancel())

    with open_bench(shop, "test") as bench:
        take_in(bench, downloads[0], boot_facts(), silent, Cancel())
        for day in ("2026-11-01", "2026-11-20"):
            assert taken(bench, day).list_checked
            assert f"list_checked = {day}\n" in bench.shop.manifest.read_text("utf-8")
        assert not taken(bench, "2026-11-10").list_checked
        manifest, mistakes = check_manifest(bench)
        assert mistakes == ()
        assert manifest is not None
        assert str(manifest.images[0].list_checked) == "2026-11-20"


def test_one_name_for_two_versions_is_mentioned(shop: Place, downloads: tuple[Path, Path]) -> None:
    with open_bench(shop, "test") as bench:
        take_in(bench, downloads[1], app_facts(), silent, Cancel())
        older = downloads[1].parent / "older" / downloads[1].name
        older.parent.mkdir()
        older.write_bytes(b"\x27" + downloads[1].read_bytes()[100:])
        facts = replace(app_facts(), version=Version("4.20"))
        assert take_in(bench, older, facts, silent, Cancel()).same_name == ("4.30",)
