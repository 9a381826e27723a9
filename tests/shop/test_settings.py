"""The settings of a shop: strict, bounded, and read back as they were written."""

from __future__ import annotations

import time

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from cardprep.errors import ShopFolderError
from cardprep.shop.settings import (
    SETTINGS_LIMIT,
    ShopSettings,
    Signing,
    parse_settings,
    settings_text,
)
from cardprep.terms import spelled_out
from cardprep.texts.catalogue import refusal

GANNET = ShopSettings(name="Gannet Slip Marine Electronics", bench="B", operator="Ines")
TEXT = settings_text(GANNET).decode()


def test_read_back() -> None:
    assert parse_settings(TEXT.encode(), "shop.toml") == GANNET
    assert TEXT.startswith("# ")


def test_how_common_things_are() -> None:
    settings = parse_settings(f"{TEXT}[commonness]\nskipped = 40\n".encode(), "shop.toml")
    assert settings.commonness == {"skipped": 40}


def test_signing_may_be_left_out() -> None:
    assert GANNET.signing is Signing.FILE
    text = TEXT.replace('signing = "file"', "")
    assert parse_settings(text.encode(), "shop.toml") == GANNET


@pytest.mark.parametrize(
    ("old", "new", "reason"),
    [
        pytest.param("format = 1", "format = 2", "settings-format", id="other format"),
        pytest.param("format = 1", "format = true", "settings-format", id="truth value"),
        pytest.param("format = 1", "", "settings-format", id="no format"),
        pytest.param("format = 1", "format 1", "settings-toml", id="no TOML"),
        pytest.param("format = 1", "format = 1\nformat = 1", "settings-toml", id="key twice"),
        pytest.param("format = 1", "a = [" + "[" * 3000, "settings-toml", id="nested"),
        pytest.param("format = 1", 'a = """', "settings-toml", id="text that does not end"),
        pytest.param("format = 1", f"format = {'9' * 5000}", "settings-toml", id="huge number"),
        pytest.param("operator", "operater", "settings-key", id="slip of the pen"),
        pytest.param("format = 1", "format = 1\n[more]", "settings-key", id="table"),
        pytest.param("name =", "# name =", "settings-text", id="no name"),
        pytest.param('"Ines"', "7", "settings-text", id="no text"),
        pytest.param('"Ines"', '" "', "settings-text", id="empty"),
        pytest.param('"Ines"', f'"{"x" * 81}"', "settings-text", id="too long"),
        pytest.param('"Ines"', '"I\\nS"', "settings-control", id="line end"),
        pytest.param('"Ines"', '"\u202e"', "settings-control", id="bidirectional mark"),
        pytest.param('"B"', '"b"', "settings-bench", id="small letter"),
        pytest.param('"B"', '"BB"', "settings-bench", id="two letters"),
        pytest.param('"B"', '"Ä"', "settings-bench", id="letter beyond Z"),
        pytest.param('"file"', '"none"', "settings-signing", id="way of signing"),
        pytest.param("format = 1", 'format = 1\nlog = "x"', "settings-log", id="log"),
        pytest.param("format = 1", "format = 1\ncommonness = 3", "settings-numbers", id="no table"),
        pytest.param(
            "format = 1",
            'format = 1\ncommonness = {skipped = "often"}',
            "settings-numbers",
            id="no number",
        ),
        pytest.param("format = 1", "format = 1\nlog = 1", "settings-text", id="log no text"),
        pytest.param("# Settings", "#" * SETTINGS_LIMIT, "file-large", id="too large"),
    ],
)
def test_mistakes(old: str, new: str, reason: str) -> None:
    text = TEXT.replace(old, new, 1)
    assert text != TEXT
    with pytest.raises(ShopFolderError) as raised:
        parse_settings(text.encode(), "/shop/\x1b.toml")
    assert raised.value.reason == f"shop.{reason}"
    assert raised.value.parameters["path"] == "/shop/\\x1b.toml"
    assert "(" not in refusal(raised.value).message


def test_where_the_mistake_is() -> None:
    with pytest.raises(ShopFolderError) as raised:
        parse_settings(TEXT.replace("format = 1", "format = x").encode(), "shop.toml")
    assert raised.value.parameters["line"] == TEXT.split("\n").index("format = 1") + 1
    with pytest.raises(ShopFolderError) as raised:
        parse_settings(TEXT.replace("operator", "operater").encode(), "shop.toml")
    assert raised.value.parameters["right"] == "operator"
    with pytest.raises(ShopFolderError) as raised:
        parse_settings(b"zzz = 1\n" + TEXT.encode(), "shop.toml")
    assert raised.value.parameters["right"] == (
        "format, name, bench, operator, signing, log, commonness"
    )


NAMES = st.text(min_size=1, max_size=80).filter(
    lambda text: bool(text.strip()) and spelled_out(text).replace("\\\\", "\\") == text
)


@settings(deadline=None, max_examples=150)
@given(
    made=st.builds(
        ShopSettings,
        name=NAMES,
        bench=st.from_regex(r"[A-Z]", fullmatch=True),
        operator=NAMES,
        signing=st.sampled_from(Signing),
        log=st.none() | st.just("postgresql://bench@db.example/log"),
    )
)
@example(ShopSettings(name='"\\{name}', bench="B", operator="'"))
def test_any_settings_are_read_back(made: ShopSettings) -> None:
    assert parse_settings(settings_text(made), "shop.toml") == made


@settings(deadline=None, max_examples=200)
@given(st.binary(max_size=200) | st.text(max_size=200).map(str.encode))
def test_any_bytes(data: bytes) -> None:
    with pytest.raises(ShopFolderError):
        parse_settings(data, "shop.toml")


@pytest.mark.parametrize("piece", ["a.", "[", "{a=", "\n[a.b]", '"', "a=1\n"])
def test_time_is_bounded(piece: str) -> None:
    begun = time.monotonic()
    with pytest.raises(ShopFolderError):
        parse_settings((piece * SETTINGS_LIMIT)[:SETTINGS_LIMIT].encode(), "shop.toml")
    assert time.monotonic() - begun < 10
