"""Names that can stand on a card, the short names that long ones get, labels and numbers."""

from __future__ import annotations

import re
from dataclasses import replace
from string import ascii_uppercase

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cardprep.errors import LayoutError
from cardprep.job.visit import JOB_MOST, JobName
from cardprep.layout.label import LABEL_MOST, serials, volume_label
from cardprep.layout.names import require_possible, stored_names
from cardprep.terms import BOOTLOADER, CHART_DATA, ImageType
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
        pytest.param(
            ["firmware-image.bin", "Firmwa~1.bin"],
            [b"FIRMWA~2BIN", b"FIRMWA~3BIN"],
            id="a real name in mixed case, for which readers look without case",
        ),
        pytest.param(
            ["firmware-image.bin", "firmwa~1.bin", "FIRMWA~2.bin"],
            [b"FIRMWA~3BIN", b"FIRMWA~1BIN", b"FIRMWA~2BIN"],
            id="real names in lower case",
        ),
        pytest.param([".hidden"], [b"HIDDEN~1   "], id="dot at the start"),
        pytest.param(["a.b.tar"], [b"AB~1    TAR"], id="dots inside"),
        pytest.param(["a+b.bin"], [b"A_B~1   BIN"], id="a character that only long names have"),
        pytest.param(["ß.bin"], [b"_~1     BIN"], id="no capital of one letter"),
    ],
)
def test_short_names(names: list[str], short: list[bytes]) -> None:
    assert [stored.short for stored in stored_names(tuple(names))] == short


@pytest.mark.parametrize(
    "twins",
    [
        pytest.param(("Update.bin", "UPDATE.BIN"), id="Latin"),
        pytest.param(("ναυτιλία.bin", "ΝΑΥΤΙΛΊΑ.bin"), id="Greek"),
        pytest.param(("öl.bin", "ÖL.bin"), id="accents"),
        pytest.param(("a long name of an image.bin", "A Long Name Of An Image.BIN"), id="long"),
    ],
)
def test_two_names_that_differ_in_case_are_refused(twins: tuple[str, str]) -> None:
    with pytest.raises(LayoutError) as caught:
        stored_names(twins)
    assert caught.value.reason == "layout.same-name"
    assert caught.value.parameters == {"name": twins[1], "other": twins[0]}


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


def smallest_free_tails(names: list[str]) -> list[bytes]:
    """Return the short names by the rule in its plainest form, which tries each tail for each name.

    Only for long names of ASCII letters, digits, `~` and one dot.
    """
    taken = set()
    for name in names:
        base, _, extension = name.upper().partition(".")
        if len(base) <= 8 and len(extension) <= 3:
            taken.add(f"{base:<8}{extension:<3}".encode())
    shorts = []
    for name in names:
        base, _, extension = name.partition(".")
        whole_in_one_case = all(part in (part.upper(), part.lower()) for part in (base, extension))
        if len(base) <= 8 and len(extension) <= 3 and whole_in_one_case:
            shorts.append(f"{base.upper():<8}{extension.upper():<3}".encode())
            continue
        tail = 0
        while True:
            tail += 1
            cut = base.upper()[:6][: 7 - len(str(tail))]
            short = f"{cut + f'~{tail}':<8}{extension.upper()[:3]:<3}".encode()
            if short not in taken:
                break
        taken.add(short)
        shorts.append(short)
    return shorts


# Few letters, so that stems, tails and real names meet often.
MEETING = st.lists(
    st.builds(
        "{}{}.{}".format,
        st.text("aB", min_size=1, max_size=7),
        st.sampled_from(["", "~1", "~2", "~9", "~10", "~11", "-long-name"]),
        st.sampled_from(["bin", "BIN", "b", "Bin"]),
    ),
    min_size=20,
    max_size=200,
    unique_by=lambda name: name.upper(),
)


@settings(deadline=None, max_examples=60)
@given(MEETING)
def test_each_long_name_gets_the_smallest_free_tail(names: list[str]) -> None:
    stored = stored_names(tuple(names))
    assert [entry.short for entry in stored] == smallest_free_tails(names)
    # No short name is what another file is called, in whatever case.
    called = {name.upper(): name for name in names}
    for entry in stored:
        base, extension = entry.short[:8].decode().rstrip(), entry.short[8:].decode().rstrip()
        assert called.get(f"{base}.{extension}", entry.name) == entry.name


@pytest.mark.parametrize("most", [5, 12, 105])
def test_more_names_of_one_stem_than_there_are_tails(
    monkeypatch: pytest.MonkeyPatch, most: int
) -> None:
    monkeypatch.setattr("cardprep.layout.names._TAILS", most)
    names = tuple(f"firmware-{n}.bin" for n in range(most))
    assert len({stored.short for stored in stored_names(names)}) == most
    with pytest.raises(LayoutError) as caught:
        stored_names((*names, "firmware-image.bin"))
    assert caught.value.reason == "layout.folder-full"
    # Another stem has tails of its own.
    stored_names((*names, "another-image.bin"))


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
        pytest.param("A1", 9, 9, "A1-9 APPL", id="shortest"),
        pytest.param("B9999", 99, 99, "B9999-99", id="longest number and stage"),
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


CODES = st.text("ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789", min_size=4, max_size=4)


@given(st.sampled_from(ascii_uppercase), st.integers(1, JOB_MOST), st.integers(1, 99), CODES)
def test_every_label_fits_a_volume(bench: str, number: int, stage_number: int, code: str) -> None:
    stage, _ = make_stage([(("A.BIN",), b"x")])
    job = JobName(bench, number)
    files = (stage_file(("A.BIN",), b"x", kind=ImageType("of the shop", code)),)
    label = volume_label(replace(stage, job=job, number=stage_number, of=99, files=files))
    assert len(label) <= LABEL_MOST
    # What is left out is left out from the end: never a part of the job's name or the stage.
    assert f"{job}-{stage_number} {code}".replace(" ", "").startswith(label.replace(" ", ""))
    assert label.partition(" ")[0].startswith(f"{job}-{stage_number}")
    # Characters that every system takes in a label.
    assert re.fullmatch(r"[A-Z0-9-]+( [A-Z0-9]{4})?", label)


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


def test_the_image_type_is_in_the_label_alone() -> None:
    stage, _ = make_stage([(("A.BIN",), b"x")])
    other = replace(stage, files=(stage_file(("A.BIN",), b"x", kind=BOOTLOADER),))
    assert (volume_label(stage), volume_label(other)) == ("B238-1 APPL", "B238-1 BOOT")
    assert serials(stage) == serials(other)


def test_serial_numbers_stay_what_they_are() -> None:
    """So that a card of today is found in the log for ever; see LAYOUT_VERSION."""
    stage, _ = make_stage([(("A.BIN",), b"x")])
    # From cardprep itself, typed in once.
    assert serials(stage) == (0xFADE43FB, 0x83027BC4)
