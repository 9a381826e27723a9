"""What is odd about a file and not wrong with its content."""

from __future__ import annotations

from dataclasses import replace

import pytest

from cardprep.findings import Verdict
from cardprep.rules import odd
from cardprep.volume.model import Extent
from tests.manifests import image_facts, manifest_of
from tests.rules.looked_at import APP, context, judged, looked_at, slugs

IMAGE = looked_at("APP_430.BIN", APP)


@pytest.mark.parametrize(
    ("bits", "marks"),
    [
        pytest.param(0x00, None, id="none"),
        # Copying sets the archive bit, and read-only comes from read-only sources.
        pytest.param(0x21, None, id="read-only and archive"),
        pytest.param(0x02, "hidden", id="hidden"),
        pytest.param(0x24, "system", id="system"),
        pytest.param(0x06, "hidden, system", id="both"),
    ],
)
def test_marks_of_an_image(bits: int, marks: str | None) -> None:
    findings = odd.attributes(context(replace(IMAGE, attributes=bits)))
    assert [finding.parameters["marks"] for finding in findings] == ([marks] if marks else [])


def test_marks_of_other_files_are_no_matter() -> None:
    assert odd.attributes(context(replace(looked_at("Thumbs.db", b"x"), attributes=6))) == []


def test_an_image_in_pieces_is_only_noted() -> None:
    pieces = replace(IMAGE, extents=(Extent(0, 512), Extent(2048, 512)))
    judgement = judged(pieces)
    assert slugs(judgement.findings) == ["fragmented", "matches"]
    assert judgement.verdict is Verdict.USE


def test_a_decomposed_name() -> None:
    shelf = manifest_of(image_facts("É.BIN", APP))
    composed, apart = looked_at("\u00c9.BIN", APP), looked_at("E\u0301.BIN", APP)
    assert odd.decomposed(context(composed, manifest=shelf)) == []
    (finding,) = odd.decomposed(context(apart, manifest=shelf))
    assert finding.slug == "name-decomposed"


@pytest.mark.parametrize(
    ("name", "content"),
    [
        ("autorun.inf", b"[autorun]"),
        ("AUTORUN.INF", b"[autorun]"),
        ("setup.exe", b"x"),
        ("UPDATE.LNK", b"x"),
        ("notes", b"#!/bin/sh\n"),
        ("photo.dat", b"MZ" + bytes(58) + (64).to_bytes(4, "little") + b"PE\0\0"),
    ],
)
def test_programs(name: str, content: bytes) -> None:
    judgement = judged(IMAGE, looked_at(name, content))
    assert "program" in slugs(judgement.findings)
    # What it is nobody knows either, so the card is not called good.
    assert judgement.verdict is Verdict.CANNOT_SAY


@pytest.mark.parametrize("name", ["autorun.inf", "setup.exe"])
def test_an_image_of_the_shop_is_no_program(name: str) -> None:
    shelf = manifest_of(image_facts(name, APP))
    assert odd.programs(context(looked_at(name, APP), manifest=shelf)) == []


@pytest.mark.parametrize("name", ["readme.txt", "exe", "a.elf"])
def test_what_is_no_program(name: str) -> None:
    content = bytes.fromhex("7f454c4601010100000000000000000002002800")
    assert odd.programs(context(looked_at(name, content))) == []
