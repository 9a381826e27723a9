"""Names that can stand on a card, the short names that long ones get, labels and numbers."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cardprep.errors import LayoutError
from cardprep.job.visit import JOB_MOST, JobName
from cardprep.layout.label import LABEL_MOST, serials, volume_label
from cardprep.layout.names import require_possible, stored_names
from cardprep.terms import BOOTLOADER, CHART_DATA
from cardprep.volume.fat_names import short_is_possible
from tests.stages import make_stage, stage_file


@pytest.mark.parametrize(
    ("name", "reason"),
    [
        pytest.param("", "layout.name-empty", id="empty"),
        pytest.param(".", "layout.name-empty", id="dot"),
        pytest.param("..", "layout.name-empty", id="two dots"),
        pytest.param("a*b", "layout.name-character", id="asterisk"),
        pytest.param("a/b", "layout.name-character", id="slash"),
        pytest.param("a\\b", "layout.name-character", id="backslash"),
        pytest.param("a:b", "layout.name-character", id="colon"),
        pytest.param("a\nb", "layout.name-invisible", id="line break"),
        pytest.param("a\u202eb", "layout.name-invisible", id="right-to-left override"),
        pytest.param("a\ud800b", "layout.name-invisible", id="lone surrogate"),
        pytest.param("a ", "layout.name-end", id="space at the end"),
        pytest.param(" a", "layout.name-end", id="space at the start"),
        pytest.param("a.", "layout.name-end", id="dot at the end"),
        pytest.param("x" * 256, "layout.name-long", id="256 units"),
        pytest.param("\U0001f600" * 128, "layout.name-long", id="128 characters of two units"),
        pytest.param("con", "layout.name-device", id="device"),
        pytest.param("LPT1.bin", "layout.name-device", id="device with an ending"),
    ],
)
def test_names_that_cannot_stand_on_a_card(name: str, reason: str) -> None:
    with pytest.raises(LayoutError) as caught:
        require_possible(name)
    assert caught.value.reason == reason


@pytest.mark.parametrize("name", ["x" * 255, "a.b.c", ".hidden", "con1", "Ünter.bin", "a b"])
def test_names_that_can(name: str) -> None:
    require_possible(name)


@pytest.mark.parametrize(
    ("names", "short"),
    [
        pytest.param(["UPDATE.BIN"], [b"UPDATE  BIN"], id="short by itself"),
        pytest.param(
            ["firmware-image.bin", "firmware-other.bin"],
            [b"FIRMWA~1BIN", b"FIRMWA~2BIN"],
            id="counted up",
        ),
        pytest.param(
            ["firmware-image.bin", "FIRMWA~1.BIN"],
            [b"FIRMWA~2BIN", b"FIRMWA~1BIN"],
            id="a real short name comes first",
        ),
        pytest.param(["Ελλάς.bin"], [b"_____~1 BIN"], id="nothing of it in ASCII"),
        pytest.param([".hidden"], [b"HIDDEN~1   "], id="dot at the start"),
        pytest.param(["a.b.tar"], [b"AB~1    TAR"], id="dots inside"),
        pytest.param(["a+b.bin"], [b"A_B~1   BIN"], id="a character that only long names have"),
        pytest.param(["..."[:0] + "ß.bin"], [b"_~1     BIN"], id="no capital of one letter"),
    ],
)
def test_short_names(names: list[str], short: list[bytes]) -> None:
    assert [stored.short for stored in stored_names(tuple(names))] == short


def test_two_names_that_differ_in_case_are_refused() -> None:
    with pytest.raises(LayoutError) as caught:
        stored_names(("Update.bin", "UPDATE.BIN"))
    assert caught.value.reason == "layout.same-name"


NAMES = st.lists(
    st.text(st.characters(codec="utf-8", categories=("L", "N")), min_size=1, max_size=20).map(
        lambda text: f"{text}.bin"
    ),
    max_size=40,
    unique_by=lambda name: name.upper(),
)


@settings(deadline=None)
@given(NAMES)
def test_short_names_are_possible_and_each_is_there_once(names: list[str]) -> None:
    for name in [*names]:
        try:
            require_possible(name)
        except LayoutError:
            names.remove(name)
    stored = stored_names(tuple(names))
    assert [entry.name for entry in stored] == names
    shorts = [entry.short for entry in stored]
    assert len(set(shorts)) == len(shorts)
    assert all(len(short) == 11 and short_is_possible(short) for short in shorts)


def test_more_names_of_one_stem_than_two_digits_hold() -> None:
    names = tuple(f"firmware-{n}.bin" for n in range(1200))
    shorts = [stored.short for stored in stored_names(names)]
    assert shorts[8:10] == [b"FIRMWA~9BIN", b"FIRMW~10BIN"]
    assert shorts[999] == b"FIR~1000BIN"
    assert len(set(shorts)) == 1200


@pytest.mark.parametrize(
    ("job", "number", "of", "label"),
    [
        pytest.param("B238", 1, 2, "B238-1 APPL", id="as in the design"),
        pytest.param("B1", 2, 2, "B1-2 APPL", id="short"),
        pytest.param("B9999", 1, 2, "B9999-1APPL", id="no room for the space"),
        pytest.param("B238", 12, 12, "B238-12APPL", id="two digits of stage"),
        pytest.param("BZZZZ", 12, 12, "BZZZZ-12", id="no room for the type"),
    ],
)
def test_labels(job: str, number: int, of: int, label: str) -> None:
    stage, _ = make_stage([(("A.BIN",), b"x")], job=job, number=number, of=of)
    assert volume_label(stage) == label


def test_a_card_with_several_types_says_so() -> None:
    stage, _ = make_stage([(("A.BIN",), b"x")])
    files = (
        stage_file(("A.BIN",), b"x", kind=BOOTLOADER),
        stage_file(("B",), b"", kind=CHART_DATA),
    )
    assert volume_label(replace(stage, files=files)) == "B238-1 MANY"


@given(st.integers(1, JOB_MOST), st.integers(1, 99))
def test_every_label_fits_a_volume(number: int, stage_number: int) -> None:
    stage, _ = make_stage([(("A.BIN",), b"x")])
    label = volume_label(replace(stage, job=JobName("B", number), number=stage_number, of=99))
    assert len(label) <= LABEL_MOST
    assert label.startswith(f"{JobName('B', number)}-{stage_number}")


def test_all_that_decides_the_bytes_decides_the_serial_number() -> None:
    stage, _ = make_stage([(("A.BIN",), b"x")])
    others = [
        make_stage([(("A.BIN",), b"y")])[0],
        make_stage([(("B.BIN",), b"x")])[0],
        make_stage([(("A.BIN",), b"x")], job="B239")[0],
        make_stage([(("A.BIN",), b"x")], number=2)[0],
        make_stage([(("A.BIN",), b"x")], file_systems=("fat32",))[0],
        make_stage([(("A.BIN",), b"x")], partition_table="none")[0],
        replace(stage, files=(stage_file(("A.BIN",), b"x", released="2026-02-14T13:37:44Z"),)),
    ]
    numbers = [serials(one)[0] for one in (stage, *others)]
    assert len(set(numbers)) == len(numbers)
    # Typed in once, so that cards of today are found in the log for ever.
    assert serials(stage) == serials(make_stage([(("A.BIN",), b"x")])[0])
