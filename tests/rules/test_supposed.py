"""Supposed types: which rule fits which file, that a supposition stays one, and mixing."""

from __future__ import annotations

from dataclasses import replace

import pytest

from cardprep.findings import Finding, Verdict
from cardprep.manifest.model import AddressRange, SupposedFacts
from cardprep.rules.judge import Judgement, judge
from cardprep.terms import APPLICATION, BOOTLOADER, ImageType
from scripts.demo_files import s_record
from tests.manifests import display_facts
from tests.rules.looked_at import APP, BOOT, MANIFEST, context, looked_at, slugs

CODE = s_record(bytes(range(200)), 0x08010000, "invented")
PAGE = b"<!DOCTYPE html><html>log in</html>"


def rule(
    kind: ImageType = APPLICATION,
    *,
    models: tuple[str, ...] = ("OV-V40",),
    names: tuple[str, ...] = (),
    addresses: tuple[tuple[int, int], ...] = (),
    begins: tuple[str, ...] = (),
) -> SupposedFacts:
    ranges = tuple(AddressRange(low=low, high=high) for low, high in addresses)
    return SupposedFacts(type=kind, models=models, names=names, addresses=ranges, begins=begins)


def judged(*files: tuple[str, bytes | None], rules: tuple[SupposedFacts, ...]) -> Judgement:
    made = [looked_at(path, data) for path, data in files]
    return judge(context(*made, manifest=replace(MANIFEST, supposed=rules)))


def found(path: str, data: bytes | None, *rules: SupposedFacts) -> Finding:
    findings = judged(("APP_430.BIN", APP), (path, data), rules=rules).findings
    (finding,) = [f for f in findings if f.slug in {"supposed-type", "unknown-file"}]
    return finding


@pytest.mark.parametrize(
    ("path", "data", "of", "fits"),
    [
        pytest.param("X/v40_a.S37", CODE, rule(names=("V40_*.s37",)), True, id="a name"),
        pytest.param("V40_A.BIN", CODE, rule(names=("V40_*.s37",)), False, id="another name"),
        pytest.param("V40_A.s37x", CODE, rule(names=("V40_*.s37",)), False, id="a longer name"),
        pytest.param("B", CODE, rule(names=("a", "b")), True, id="the second name"),
        pytest.param("V40_A.s37", None, rule(names=("V40_*",)), True, id="a name, not read"),
        pytest.param("A", CODE, rule(addresses=((0x08010000, 0x080100C7),)), True, id="addresses"),
        pytest.param(
            "A", CODE, rule(addresses=((0x08010000, 0x080100C6),)), False, id="one address more"
        ),
        pytest.param(
            "A", CODE, rule(addresses=((0, 9), (0, 0xFFFFFFFF))), True, id="the second range"
        ),
        pytest.param("A", BOOT[1:], rule(addresses=((0, 0xFFFFFFFF),)), False, id="no addresses"),
        pytest.param("A", b"OVT1rest", rule(begins=("0000", "4f5654")), True, id="first bytes"),
        pytest.param("A", b"OV", rule(begins=("4f5654",)), False, id="too few bytes"),
        pytest.param("A", b"", rule(begins=("4f56",)), False, id="no bytes"),
        pytest.param("A", None, rule(begins=("4f56",)), False, id="bytes, not read"),
        pytest.param("A.B", b"OVT1", rule(names=("a.*",), begins=("4f56",)), True, id="both"),
        pytest.param(
            "B.B", b"OVT1", rule(names=("a.*",), begins=("4f56",)), False, id="one of two"
        ),
        pytest.param("V40.DAT", PAGE, rule(names=("V40*",)), False, id="a web page is no image"),
    ],
)
def test_which_rule_fits(path: str, data: bytes | None, of: SupposedFacts, fits: bool) -> None:
    finding = found(path, data, of)
    assert (finding.slug, finding.path) == ("supposed-type" if fits else "unknown-file", path)
    assert finding.undecided
    assert finding.releasable


def test_it_is_named_and_never_a_match() -> None:
    judgement = judged(("V40.BIN", b"code"), rules=(rule(names=("v40*",), models=("A", "B")),))
    assert slugs(judgement.findings) == ["no-image", "supposed-type"]
    assert judgement.verdict is Verdict.CANNOT_SAY
    parameters = judgement.findings[0].parameters
    assert parameters == {"type": "application", "models": "A, B", "size": 4}


def test_several_rules_are_all_told() -> None:
    rules = (rule(names=("v*",)), rule(BOOTLOADER, names=("*0.bin",), models=("OV-V42",)))
    parameters = found("V40.BIN", b"x", *rules).parameters
    assert parameters["type"] == "application, bootloader"
    assert parameters["models"] == "OV-V40, OV-V42"


@pytest.mark.parametrize(
    "path", ["APP_430.BIN", "APP_431.BIN", "APP_430 (1).BIN", "OVD9.LOG", ".Trashes/V40.BIN"]
)
def test_what_is_known_otherwise_is_not_supposed(path: str) -> None:
    judgement = judged((path, b"x"), rules=(rule(names=("*APP*", "OVD9*", "V40*")),))
    assert "supposed-type" not in slugs(judgement.findings)


# --- mixed, if it is what it is supposed to be

BOOTS = rule(BOOTLOADER, names=("v40*",))
APPS = rule(APPLICATION, names=("w40*",))


@pytest.mark.parametrize(
    ("files", "rules", "mixed"),
    [
        pytest.param([("APP_430.BIN", APP), ("V40", b"x")], (BOOTS,), True, id="with an image"),
        pytest.param([("BOOT_310.BIN", BOOT), ("V40", b"x")], (BOOTS,), False, id="of one type"),
        pytest.param([("V40", b"x"), ("W40", b"y")], (BOOTS, APPS), True, id="two supposed"),
        pytest.param([("V40", b"x"), ("V40b", b"y")], (BOOTS, APPS), False, id="two of one type"),
        pytest.param(
            [("APP_430.BIN", APP), ("V40", b"x")],
            (BOOTS, rule(names=("v*",))),
            False,
            id="nobody knows which type",
        ),
    ],
)
def test_mixed_is_a_caution_of_its_own(
    files: list[tuple[str, bytes | None]], rules: tuple[SupposedFacts, ...], mixed: bool
) -> None:
    judgement = judged(*files, rules=rules)
    assert ("mixed-if-supposed" in slugs(judgement.findings)) is mixed
    assert judgement.verdict is Verdict.CANNOT_SAY
    if mixed:
        (finding,) = [f for f in judgement.findings if f.slug == "mixed-if-supposed"]
        assert finding.parameters["types"] == "application, bootloader"
        assert finding.parameters["limit"] == 1


def test_what_is_mixed_already_is_said_once() -> None:
    files = [("APP_430.BIN", APP), ("BOOT_310.BIN", BOOT), ("V40", b"x")]
    told = slugs(judged(*files, rules=(BOOTS,)).findings)
    assert "mixed-types" in told
    assert "mixed-if-supposed" not in told


def test_a_display_that_takes_two_types() -> None:
    display = display_facts(types_per_card=2)
    shelf = replace(MANIFEST, supposed=(BOOTS,), displays=(display,))
    files = [looked_at("APP_430.BIN", APP), looked_at("V40", b"x")]
    told = judge(context(*files, manifest=shelf, reader="OV-D9")).findings
    assert "supposed-type" in slugs(told)
    assert "mixed-if-supposed" not in slugs(told)
