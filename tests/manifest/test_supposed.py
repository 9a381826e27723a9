"""The shop's rules for unknown files: what they say, every mistake, and how they are spelled.

The sample and the rules are invented.
"""

from __future__ import annotations

import re
from fnmatch import translate
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cardprep.errors import ManifestTextError
from cardprep.manifest.edit import add_supposed
from cardprep.manifest.model import AddressRange, SupposedFacts
from cardprep.manifest.supposed import RULES_LIMIT
from cardprep.manifest.text import find_mistakes, parse
from cardprep.terms import APPLICATION, BOOTLOADER
from cardprep.texts.catalogue import refusal

SAMPLE = (Path(__file__).parents[2] / "fixtures" / "gannet_slip.toml").read_bytes()
FIRST = SAMPLE.count(b"\n") + 1
RULE = """\
[[supposed]]
type = "application"
models = ["OV-V40", "OV-H4"]
names = ["OVV40_*.s37", "v40-?.hex"]
addresses = ["08010000-080FFFFF", "0-ff"]
begins = ["5330", "27051956"]
"""
FACTS = SupposedFacts(
    type=APPLICATION,
    models=("OV-V40", "OV-H4"),
    names=("OVV40_*.s37", "v40-?.hex"),
    addresses=(AddressRange(low=0x08010000, high=0x080FFFFF), AddressRange(low=0, high=0xFF)),
    begins=("5330", "27051956"),
)


def with_rule(text: str) -> bytes:
    return SAMPLE + text.encode()


def changed(line: int, text: str) -> bytes:
    lines = RULE.split("\n")
    lines[line - 1] = text
    return with_rule("\n".join(lines))


def test_what_a_rule_says() -> None:
    assert parse(with_rule(RULE)).supposed == (FACTS,)
    assert parse(SAMPLE).supposed == ()


@pytest.mark.parametrize(
    ("line", "text", "key", "reason"),
    [
        (2, "", "type", "missing-text"),
        (2, 'type = "firmware"', "type", "not-one-of"),
        (2, 'type = "bootloader"', "models[2]", "type-not-of-model"),
        (3, "", "models", "missing-list"),
        (3, 'models = ["OV-V41"]', "models[1]", "model-unknown"),
        (3, 'models = ["OV-V40", "OV-V40"]', "models[2]", "listed-twice"),
        (4, "names = []", "names", "list-empty"),
        (4, 'names = [""]', "names[1]", "name-pattern"),
        (4, 'names = ["*"]', "names[1]", "name-pattern"),
        (4, 'names = ["*.*"]', "names[1]", "name-pattern"),
        (4, 'names = ["a", "UPDATE/*.s37"]', "names[2]", "name-pattern"),
        (4, 'names = ["a:b"]', "names[1]", "name-pattern"),
        (4, 'names = ["a", "a"]', "names[2]", "listed-twice"),
        (4, "names = 1", "names", "not-list"),
        (4, f"names = {[f'n{n}' for n in range(17)]}", "names", "list-long"),
        (5, 'addresses = ["8010000"]', "addresses[1]", "addresses"),
        (5, 'addresses = ["2-1"]', "addresses[1]", "addresses"),
        (5, 'addresses = ["0-100000000"]', "addresses[1]", "addresses"),
        (5, 'addresses = ["0x0-0xff"]', "addresses[1]", "addresses"),
        (5, 'addresses = ["0-FF", "00-ff"]', "addresses[2]", "listed-twice"),
        (5, "addresses = [[0, 255]]", "addresses[1]", "not-text"),
        (6, 'begins = ["53"]', "begins[1]", "begins"),
        (6, 'begins = ["533"]', "begins[1]", "begins"),
        (6, 'begins = ["0x5330"]', "begins[1]", "begins"),
        (6, f'begins = ["{"00" * 33}"]', "begins[1]", "begins"),
        (6, 'begin = ["5330"]', "begin", "key-unknown"),
    ],
)
def test_a_mistake_is_named_with_line_and_key(line: int, text: str, key: str, reason: str) -> None:
    (found,) = find_mistakes(changed(line, text))
    assert found.reason == f"manifest.{reason}"
    # What is not there is missed at the heading, and a type is held against each model.
    at = 1 if reason.startswith("missing") else 3 if "models" in key else line
    assert found.parameters["line"] == FIRST + at - 1
    assert found.parameters["key"] == f"supposed[1].{key}"
    assert "{" not in refusal(found).message


def test_a_rule_that_names_nothing() -> None:
    (found,) = find_mistakes(with_rule("\n".join(RULE.split("\n")[:3])))
    assert found.reason == "manifest.supposed-empty"


def test_more_rules_than_are_read() -> None:
    (found,) = find_mistakes(with_rule(RULE * (RULES_LIMIT + 1)))
    assert found.reason == "manifest.list-long"


# --- spelled


def test_a_rule_is_spelled_as_a_person_would() -> None:
    after = add_supposed(SAMPLE, FACTS)
    assert after.startswith(SAMPLE)
    assert parse(after).supposed == (FACTS,)
    assert b'addresses = ["08010000-080FFFFF", "00000000-000000FF"]' in after
    again = add_supposed(after, SupposedFacts(**{**_fields(FACTS), "names": ("x*",)}))  # type: ignore[arg-type]
    assert [rule.names[0] for rule in parse(again).supposed] == ["OVV40_*.s37", "x*"]


def _fields(rule: SupposedFacts) -> dict[str, object]:
    return {name: getattr(rule, name) for name in SupposedFacts.__slots__}


ADDRESS = st.integers(0, 2**32 - 1)
RANGES = st.tuples(ADDRESS, ADDRESS).map(lambda pair: AddressRange(low=min(pair), high=max(pair)))
NAMES = st.text("abZ0*?[]-!. _", max_size=12)


@settings(deadline=None, max_examples=100)
@given(
    names=st.lists(NAMES, max_size=3),
    addresses=st.lists(RANGES, max_size=3, unique=True),
    begins=st.lists(st.binary(min_size=2, max_size=32).map(bytes.hex), max_size=3, unique=True),
)
def test_what_is_spelled_is_read_back(
    names: list[str], addresses: list[AddressRange], begins: list[str]
) -> None:
    rule = SupposedFacts(
        type=BOOTLOADER,
        models=("OV-V40",),
        names=tuple(names),
        addresses=tuple(addresses),
        begins=tuple(begins),
    )
    try:
        after = add_supposed(SAMPLE, rule)
    except ManifestTextError:
        # Names that could not stand in a rule, or nothing in it at all.
        return
    (read,) = parse(after).supposed
    assert read == rule
    for name in read.names:
        re.compile(translate(name))


@settings(deadline=None, max_examples=100)
@given(key=st.sampled_from(["names", "addresses", "begins", "models", "type"]), text=st.text())
def test_any_value_is_read_or_named(key: str, text: str) -> None:
    escaped = "".join(f"\\U{ord(sign):08X}" for sign in text if not 0xD800 <= ord(sign) < 0xE000)
    lines = [line for line in RULE.split("\n") if not line.startswith(f"{key} ")]
    for value in (f'["{escaped}"]', f'"{escaped}"'):
        for error in find_mistakes(with_rule("\n".join([*lines, f"{key} = {value}\n"]))):
            assert refusal(error).message
