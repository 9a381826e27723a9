"""Every finding as the code gives it can be worded, and no slug reaches a person."""

from __future__ import annotations

import itertools
import re
from collections.abc import Iterator
from dataclasses import replace
from functools import cache
from typing import Any

import pytest

from cardprep.cli import words
from cardprep.errors import refusal_classes
from cardprep.findings import KINDS, Finding
from cardprep.inspection.card import inspect_card
from cardprep.job.visit import Display, Job, JobName, Vessel
from cardprep.layout.build import lay_out
from cardprep.layout.compare import Compared, Difference
from cardprep.manifest.model import (
    Carried,
    Companion,
    FileSystem,
    Need,
    PartitionTable,
    Presence,
    SupposedFacts,
)
from cardprep.medium.protocol import MediumKind
from cardprep.paper.card import finding_lines
from cardprep.rules.context import Context
from cardprep.rules.judge import judge
from cardprep.terms import APPLICATION, BOOTLOADER, CHUNK, MIB, Version
from cardprep.texts.catalogue import finding as worded
from cardprep.texts.catalogue import refusal, screen, word
from cardprep.texts.exfat import EXFAT_FINDINGS
from cardprep.texts.findings import FINDINGS
from cardprep.texts.refusals import REFUSALS
from cardprep.texts.screens import SCREENS, WORDS
from cardprep.volume.model import Extent, Left
from tests.cards import MemorySectors
from tests.exfat import SUB, built
from tests.manifests import display_facts, image_facts, manifest_of
from tests.rules.gone import gone, with_deleted
from tests.rules.looked_at import APP, BOOT, GONE, MANIFEST, OLD, context, flipped, looked_at
from tests.rules.second import twice
from tests.rules.whole import HEX, zipped
from tests.stages import laid_out_bytes, make_stage
from tests.vessel.visits import model

PAGE = b"<!DOCTYPE html><html>log in</html>"
STAGE = make_stage([(("UPDATE", "APP_430.BIN"), APP)])[0]
STAGE_FILES: list[tuple[tuple[str, ...], bytes]] = [(("APP_430.BIN",), APP)]
BOOT_STAGE = make_stage([(("BOOT_310.BIN",), BOOT)], number=1)[0]
STAGE_OF_BOOT = replace(
    BOOT_STAGE,
    files=tuple(
        replace(file, image_type=BOOTLOADER, version=Version("3.10"), models=("OV-V40",))
        for file in BOOT_STAGE.files
    ),
)


def laid_out(files: list[tuple[tuple[str, ...], bytes]]) -> bytes:
    stage, source = make_stage(files, volume_size=64 * MIB)
    layout = lay_out(stage)
    return laid_out_bytes(layout, source).ljust(layout.card_size, b"\0")


def of_rules() -> Iterator[Finding]:
    """Give the findings of rules over cards with one thing or another wrong."""
    files = [
        [looked_at("APP_430.BIN", APP), looked_at("BOOT_310.BIN", BOOT)],
        [looked_at("APP_430.BIN", APP), looked_at("APP_417.BIN", OLD)],
        [looked_at("APP_430.BIN", flipped(APP, 5)), looked_at("GONE.BIN", GONE)],
        [looked_at("APP_430 (1).BIN", APP[:-9] + bytes(9)), looked_at("APP_430.BIN", APP[:65536])],
        [looked_at("APP_430.BIN", APP[:65536] + bytes(len(APP) - 65536))],
        [looked_at("NEW NAME.BIN", APP, short="NEWNAM~1.BIN"), looked_at("A.HEX", HEX)],
        [
            looked_at("APP_430.BIN", APP, short="APP_43~1.BIN"),
            looked_at("X", b"x", short="GONE.BIN"),
        ],
        [looked_at("APP_430.BIN", PAGE), looked_at("A.ZIP", zipped("a", b"b"))],
        [looked_at("._A.BIN", b"x"), looked_at("Thumbs.db", b"x"), looked_at("OVD9.LOG", b"x")],
        [looked_at(".Trash-1000/files/OLD.BIN", OLD), looked_at("HOLIDAY.JPG", b"x")],
        [],
    ]
    for made in files:
        yield from judge(context(*made)).findings
        yield from judge(context(*made, stage=STAGE, superseded=True)).findings
    yield from judge(context(manifest=None, untrusted="manifest.changed")).findings
    shelf = manifest_of(*MANIFEST.images, display=display_facts(folder="UPDATE"))
    wrong, right = looked_at("APP_430.BIN", APP), looked_at("UPDATE/APP_430.BIN", APP)
    yield from judge(context(wrong, manifest=shelf, stage=STAGE)).findings
    # Content that differs in its place, without a manifest to say what the file is.
    gone = looked_at("UPDATE/APP_430.BIN", flipped(APP, 9))
    place = Difference(structure="file content", path="UPDATE/APP_430.BIN", offset=9)
    differs = Compared(complete=True, differences=(place,), sha256="ab" * 32, length=1)
    yield from judge(
        context(gone, manifest=None, untrusted="manifest.changed", stage=STAGE, compared=differs)
    ).findings
    changes = [Difference(structure="FAT 2", path=None, offset=7)]
    changes.append(Difference(structure="file content", path="UPDATE/APP_430.BIN", offset=9))
    for complete, differences in ((True, ()), (False, ()), (True, tuple(changes))):
        compared = Compared(complete=complete, differences=differences, sha256="ab" * 32, length=1)
        for read_back in (False, True):
            held = context(
                right, manifest=shelf, stage=STAGE, compared=compared, read_back=read_back
            )
            seen = replace(held, inspection=replace(held.inspection, past_the_cache=False))
            yield from judge(seen).findings


def of_damage() -> Iterator[Finding]:
    """Give what is found on cards with one byte after another of their tables damaged."""
    for systems in (("fat16",), ("fat32",)):
        stage, source = make_stage(
            [(("UPDATE FOLDER", "APPLICATION.BIN"), b"x" * 9000), (("B.BIN",), b"y")],
            file_systems=systems,
            volume_size=64 * MIB,
        )
        layout = lay_out(stage)
        whole = bytearray(layout.card_size)
        whole[: layout.length] = laid_out_bytes(layout, source)
        for region in layout.regions:
            if region.structure in ("gap", "slack", "file content"):
                continue
            for at in range(region.offset, region.offset + min(len(region.content), 512), 3):
                whole[at] ^= 0xFF
                yield from inspect_card(MemorySectors(whole)).findings
                whole[at] ^= 0xFF


def of_exfat() -> Iterator[Finding]:
    """Give what is found on exFAT cards with one byte after another of their tables damaged."""
    whole = built()
    stretches = [(0, 120, 1), (508, 4, 1), (1020, 4, 1), (whole.fat * 512, 8, 1)]
    stretches += [(whole.system_file(0x81), 4, 1), (whole.system_file(0x82), 4, 1)]
    stretches += [(whole.root, 1024, 1), (whole.cluster(SUB[0]), 320, 3)]
    for start, length, step in stretches:
        for at in range(start, start + length, step):
            whole.data[at] ^= 0xFF
            yield from inspect_card(whole.medium()).findings
            whole.data[at] ^= 0xFF


@cache
def collected() -> tuple[Finding, ...]:
    all_of_them = (*of_rules(), *of_damage(), *of_exfat(), *of_visits())
    found = {repr(finding): finding for finding in all_of_them}
    return tuple(found.values())


def intel_hex(data: bytes) -> bytes:
    """Return an Intel HEX file: segments of 64 KiB, 16 bytes a line, checksums, an end."""
    lines = []
    for at in range(0, len(data), 16):
        if at % 0x10000 == 0:
            lines.append(hex_record(0, 4, (at >> 16).to_bytes(2, "big")))
        lines.append(hex_record(at & 0xFFFF, 0, data[at : at + 16]))
    return "".join([*lines, ":00000001FF\n"]).encode()


def hex_record(address: int, kind: int, data: bytes) -> str:
    body = bytes((len(data), address >> 8, address & 0xFF, kind)) + data
    return f":{body.hex().upper()}{-sum(body) & 0xFF:02X}\n"


def of_visits() -> Iterator[Finding]:
    """Give the findings about visits, displays and other stages."""
    facts = replace(
        image_facts("APP_430.BIN", APP),
        needs=(Need(model=None, type=BOOTLOADER, at_least=Version("3.10")),),
        from_versions=(Version("4.17"),),
    )
    carried = Carried(model="OV-H4", type=APPLICATION, version=Version("2.41"), mode="PROGRAM")
    companion = Companion(model="OV-H4", presence=Presence.OPTIONAL)
    older = replace(image_facts("APP_417.BIN", OLD), carries=(carried,))
    models = (model("OV-V40", companion=companion), model("OV-N2"))
    small = display_facts(
        largest_card=10**6, file_systems=(FileSystem.EXFAT,), partition_table=PartitionTable.NONE
    )
    seen = inspect_card(MemorySectors(bytearray(laid_out(STAGE_FILES))))
    for image in (facts, replace(facts, carries=(carried,))):
        shelf = replace(manifest_of(image, older, display=small), models=models)
        for has in ("unknown", "3.02"):
            unit = words.unit(
                f"model=OV-V40; role=r; handset=unknown; has bootloader={has}; "
                f"has application={'unknown' if has == 'unknown' else '4.20'}"
            )
            wind = words.unit("model=OV-N2; role=wind")
            for units in ((unit,), (wind,)):
                job = Job(
                    name=JobName("B", 1),
                    vessel=Vessel(name="S"),
                    display=Display(model="OV-D9"),
                    units=units,
                )
                yield from judge(Context(inspection=seen, manifest=shelf, job=job)).findings
                boot = STAGE_OF_BOOT
                yield from judge(
                    Context(inspection=seen, manifest=shelf, job=job, stages=(boot,))
                ).findings
        for compared in (None, Compared(complete=True, differences=(), sha256="0" * 64, length=1)):
            made = Context(
                inspection=seen, manifest=shelf, stage=STAGE, other=STAGE, other_compared=compared
            )
            yield from judge(made).findings
        yield from judge(replace(made, stage=None, job=job)).findings
        back = words.unit("model=OV-V40; role=r; handset=none; has application=9.0")
        before = replace(job, units=(back,))
        yield from judge(Context(inspection=seen, manifest=shelf, job=before)).findings
        again = replace(made, other=None, superseded=True)
        yield from judge(again).findings
        yield from judge(replace(again, stages=(STAGE,))).findings
    basket = looked_at("LOST.DIR/APP_430.BIN", APP[:-1])
    yield from judge(context(basket, replace(looked_at("APP_430.BIN", APP), volume=1))).findings
    hexes = [intel_hex(bytes([fill]) * 70_000) for fill in (0x55, 0xAA)]
    shelf = manifest_of(image_facts("A.HEX", hexes[0], container="intel-hex"))
    yield from judge(context(looked_at("A.HEX", hexes[1]), manifest=shelf)).findings
    ends = hexes[0].replace(b"\n", b"\r\n")
    yield from judge(context(looked_at("A.HEX", ends), manifest=shelf)).findings
    yield from of_second_looks()
    yield from of_suppositions()
    odd = replace(looked_at("e\u0301.BIN", OLD), attributes=6, extents=(Extent(0, 1), Extent(9, 1)))
    yield from judge(context(odd, looked_at("setup.exe", b"x"))).findings
    card = context(looked_at("APP_431.BIN", b"x"), looked_at("APP_1.BIN", b"x"))
    yield from judge(card).findings
    written = context(looked_at("APP_430.BIN", APP), stage=STAGE, read_back=True)
    for kind in (MediumKind.IMAGE_FILE, MediumKind.BLOCK_DEVICE):
        identity = replace(written.inspection.identity, kind=kind)
        inspection = replace(written.inspection, identity=identity, past_the_cache=False)
        yield from judge(replace(written, inspection=inspection)).findings


def of_suppositions() -> Iterator[Finding]:
    """Give what is found about a file that the shop's own rule takes for a bootloader."""
    rule = SupposedFacts(
        type=BOOTLOADER, models=("OV-V40",), names=("V40*",), addresses=(), begins=()
    )
    shelf = replace(MANIFEST, supposed=(rule,))
    files = (looked_at("APP_430.BIN", APP), looked_at("V40.BIN", b"x"))
    yield from judge(context(*files, manifest=shelf)).findings


def of_second_looks() -> Iterator[Finding]:
    """Give what is found where blocks of a file were read twice and held against the shelf's."""
    hole = APP[:1000] + bytes(600) + APP[1600:]
    one_bit = bytes((APP[0] ^ 4,)) + APP[1:]
    for data in (flipped(APP, 9), hole, one_bit, one_bit[:-1] + bytes((APP[-1] ^ 1,)), APP + b"x"):
        yield from judge(twice("APP_430.BIN", data)).findings
    yield from judge(context(looked_at("APP_431.BIN", PAGE))).findings
    for second in (None, APP[:CHUNK]):
        yield from judge(twice("APP_430.BIN", flipped(APP, 9), second=second)).findings


def of_deleted() -> Iterator[Finding]:
    """Give what is said of deleted files, of all that can be left of one."""
    files = [gone("?PP_430.BIN", APP, left=left) for left in Left]
    files += [
        gone("?PP_430.BIN", APP[: 2 * CHUNK] + b"x"),
        gone("?PP_430.BIN", flipped(APP, 5)),
        gone("?PP_430.BIN", APP, seen=b"else"),
        gone("APP_430.BIN", APP, size=7),
        gone("X", b"x", unreadable=True),
        gone("APP_43?", b"x", long_name="APP_43?"),
    ]
    for asked in (True, False):
        yield from judge(with_deleted(*files, asked=asked)).findings
    yield from judge(with_deleted(*files, left_out=(3,))).findings


# Those above "what could not be looked at" in the table of kinds, and two below.
RULES = {*itertools.takewhile(lambda slug: slug != "read-error", KINDS)}
RULES |= {"manifest-untrusted", "read-through-cache"}


def test_all_findings_of_rules_are_collected() -> None:
    assert {finding.slug for finding in (*of_rules(), *of_visits(), *of_deleted())} >= RULES
    # And a good part of what can be wrong with a card's tables.
    assert len({finding.slug for finding in collected()} - RULES) > 20


def test_all_findings_of_exfat_alone_are_collected() -> None:
    assert {finding.slug for finding in collected()} >= EXFAT_FINDINGS.keys()


def named(slug: str) -> list[str]:
    text = FINDINGS[slug]
    return re.findall(r"\{(\w+)\}", text.seen + text.why + text.remedy)


def test_every_finding_is_worded_in_full() -> None:
    for finding in collected():
        text = worded(finding.slug, finding.path, finding.structure, finding.parameters)
        for sentence in (text.seen, text.why, text.remedy):
            assert "{" not in sentence
            assert not [name for name in named(finding.slug) if f"({name})" in sentence], sentence
            assert ": )" not in sentence, sentence
            assert "()" not in sentence, sentence


def test_no_slug_reaches_a_person() -> None:
    # File systems go by their own name.
    own_names = {"exFAT", "NTFS"}
    for finding in collected():
        for key in ("by", "format", "how", "promised", "what", "reason"):
            value = finding.parameters.get(key)
            if isinstance(value, str) and key in named(finding.slug) and value not in own_names:
                assert word(value) != value, (finding.slug, key, value)


@pytest.mark.parametrize("reason", sorted(REFUSALS))
def test_why_there_is_no_manifest_is_never_a_slug(reason: str) -> None:
    if reason.split(".", maxsplit=1)[0] in {"manifest", "shop", "log", "key"}:
        text = worded("manifest-untrusted", None, None, {"reason": reason})
        assert reason not in text.seen
        assert "{" not in text.seen


@pytest.mark.parametrize("name", [*WORDS, "fat.bin", "manifest.toml", "opaque"])
def test_names_of_files_are_never_taken_for_slugs(name: str) -> None:
    parameters: dict[str, Any] = dict.fromkeys(
        ("type", "version", "models", "expected", "files", "other", "given", "short"), name
    )
    for slug in ("renamed", "chain-shared", "withdrawn", "short-name-differs", "name-twice"):
        text = worded(slug, name, "FAT", {**parameters, "cluster": 3})
        for key in named(slug):
            if key in parameters:
                assert name in text.seen


def test_findings_say_what_to_do_unless_nothing_is_to_be_done() -> None:
    for slug, kind in KINDS.items():
        text = FINDINGS[slug]
        idle = text.remedy == FINDINGS["matches"].remedy
        assert not idle or kind.severity.value == "note", slug
        for sentence in (text.why, text.remedy):
            assert sentence.endswith("."), slug
            assert sentence[0].isupper() or sentence.startswith("{"), slug
        assert not text.seen.endswith("."), slug


def test_lines_are_whole_words_within_the_width() -> None:
    for finding in collected():
        for width in (40, 61, 80):
            for line in finding_lines(finding, width):
                assert len(line) <= width or len(line.split()) == 1 or " " not in line.strip(), line


def test_a_missing_parameter_shows_as_its_name() -> None:
    assert "(path)" not in worded("matches", None, None, {}).seen
    assert "(version)" in worded("matches", "A.BIN", None, {}).seen
    error = refusal_classes()[0]("nobody.worded-it", name="x")
    assert "nobody.worded-it" in refusal(error).message
    for slug in SCREENS:
        assert screen(slug)
