"""Changing a manifest's text: what was there stays, and the new thing is read back."""

from __future__ import annotations

import hashlib
import tomllib
from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cardprep.errors import ManifestTextError
from cardprep.manifest.edit import (
    add_display,
    add_image,
    add_image_type,
    add_model,
    new_text,
    set_serial,
)
from cardprep.manifest.model import Companion, HandedOver, Leaves, Minutes, Presence
from cardprep.manifest.text import parse
from cardprep.terms import ImageType, Version, VersionOrder, spelled_out

SAMPLE = (Path(__file__).parents[2] / "fixtures" / "gannet_slip.toml").read_bytes()
MANIFEST = parse(SAMPLE)
NEW_IMAGE = replace(
    MANIFEST.images[1],
    file="OVV40_APP_431.bin",
    version=Version("4.31"),
    sha256="a" * 64,
    size=5 * 65536,
    chunks=tuple(f"{number:016x}" for number in range(5)),
    known_by=HandedOver(by='"Fingers" O\'Neill', on=date(2026, 10, 1)),
)
DIGEST = "ab" * 32


def lines_kept(before: bytes, after: bytes) -> bool:
    """Return whether every line of `before` stands in `after`, in order."""
    there = iter(after.split(b"\n"))
    return all(line in there for line in before.split(b"\n") if line)


def test_new_text() -> None:
    data = new_text("Gannet Slip Marine Electronics")
    manifest = parse(data)
    assert (manifest.serial, manifest.previous) == (1, None)
    assert manifest.shop == "Gannet Slip Marine Electronics"
    assert (manifest.displays, manifest.models, manifest.images) == ((), (), ())


def test_the_examples_in_a_new_text_are_right() -> None:
    lines = new_text('The "Slip"').decode().split("\n")
    # Where a line is an example, its # gone leaves TOML; a second # begins a remark.
    examples = [line[2:] for line in lines if line.startswith("# ") and line[2:3] != "#"]
    tables = "\n".join(line for line in examples if line.startswith("[[") or " = " in line)
    for told, digits in (("64 digits", 64), ("32 digits", 32), ("16 digits for each 64 KiB", 512)):
        tables = tables.replace(told, "1" * digits)
    handset = '[[model]]\nname = "OV-H4"\nkind = "handset"\nrole = "x"\ntypes = ["application"]\n'
    manifest = parse(f"format = 1\nserial = 1\nshop = 'x'\n{tables}\n{handset}".encode())
    assert manifest.image_types == (ImageType("voice prompts", "VOIC"),)
    assert manifest.displays[0].folder == "UPDATE"
    assert [model.name for model in manifest.models] == ["OV-V40", "OV-H4"]
    assert manifest.images[0].needs[0].at_least == Version("3.10")
    assert manifest.supposed[0].addresses[0].low == 0x08010000


@pytest.mark.parametrize("shop", ["", " ", "a\nb", "x" * 81, "\x00", "\ud800"])
def test_no_name_of_a_shop(shop: str) -> None:
    with pytest.raises(ManifestTextError):
        new_text(shop)


def test_the_sample_can_be_built_from_nothing() -> None:
    data = new_text(MANIFEST.shop)
    for image_type in MANIFEST.image_types:
        data = add_image_type(data, image_type)
    for display in MANIFEST.displays:
        data = add_display(data, display)
    # A companion has to be there before the one it belongs to.
    for model in (MANIFEST.models[1], MANIFEST.models[0], MANIFEST.models[2]):
        data = add_model(data, model)
    for image in MANIFEST.images:
        data = add_image(data, image)
    data = set_serial(data, 7, MANIFEST.previous)
    built = parse(data)
    assert sorted(built.models, key=str) == sorted(MANIFEST.models, key=str)
    assert replace(built, models=MANIFEST.models) == MANIFEST
    assert lines_kept(new_text(MANIFEST.shop).replace(b"serial = 1\n", b""), data)


def test_an_image_goes_below_the_last_one() -> None:
    data = SAMPLE.replace(b"# ---- images ----", b"# ---- images: newest last ----")
    after = add_image(data, NEW_IMAGE)
    assert after.startswith(data)
    assert parse(after).images == (*MANIFEST.images, NEW_IMAGE)


def test_a_model_goes_before_the_remark_that_follows() -> None:
    model = replace(MANIFEST.models[0], name="OV-V42")
    after = add_model(SAMPLE, model)
    before, rest = SAMPLE.split(b"\n\n# ---- images ----")
    assert after.startswith(before + b"\n\n[[model]]\nname = ")
    assert after.endswith(b"\n\n# ---- images ----" + rest)
    assert parse(after).models[-1] == model


def test_remarks_between_and_behind_values_stay() -> None:
    noisy = "".join(
        f"{line}  # remark {number}\n\n# above {number + 1}\n"
        if line.endswith('"')
        else f"{line}\n"
        for number, line in enumerate(SAMPLE.decode().split("\n"))
    ).encode()
    assert parse(noisy) == MANIFEST
    after = add_display(add_image(noisy, NEW_IMAGE), replace(MANIFEST.displays[0], model="OV-D7"))
    assert lines_kept(noisy, after)
    assert after.count(b"# remark") == noisy.count(b"# remark") > 20


def test_line_ends_of_windows_stay() -> None:
    windows = SAMPLE.replace(b"\n", b"\r\n")
    after = set_serial(add_image(windows, NEW_IMAGE), 8, DIGEST)
    assert after.replace(b"\r\n", b"").count(b"\n") == 0
    assert parse(after).images[-1] == NEW_IMAGE


def test_text_without_line_end() -> None:
    after = add_image(SAMPLE.rstrip(b"\n"), NEW_IMAGE)
    assert parse(after).images[-1] == NEW_IMAGE
    bare = b'format = 1\nserial = 1\nshop = "x" # y'
    assert add_image_type(bare, ImageType("voice", "VOIC")).startswith(bare + b"\n\n[[image_type]]")


def test_values_are_spelled_as_a_person_would() -> None:
    display = replace(
        MANIFEST.displays[0],
        model="OV-D7",
        volume_size=512 * 2**20,
        largest_card=536_871_424,
        announces=(),
    )
    after = add_display(SAMPLE, display).decode()
    assert 'volume_size = "512 MiB"\nlargest_card = 536871424\n' in after
    assert "announces = []\n" in after
    image = replace(NEW_IMAGE, released=datetime(2026, 5, 12, tzinfo=UTC), from_versions=())
    text = add_image(SAMPLE, image).decode()
    assert "released = 2026-05-12\n" in text
    assert f"chunks = '''\n{' '.join(NEW_IMAGE.chunks[:4])}\n{NEW_IMAGE.chunks[4]}\n'''\n" in text
    assert text.count("from_versions") == SAMPLE.count(b"from_versions")


def test_mistakes_of_the_new_table_are_named() -> None:
    with pytest.raises(ManifestTextError) as raised:
        add_image(SAMPLE, replace(NEW_IMAGE, models=("OV-V44",)), file="m.toml")
    assert raised.value.reason == "manifest.model-unknown"
    assert raised.value.parameters["line"] == 127
    with pytest.raises(ManifestTextError) as raised:
        add_model(SAMPLE, MANIFEST.models[1])
    assert raised.value.reason == "manifest.twice"


def test_mistakes_that_were_there_are_named() -> None:
    with pytest.raises(ManifestTextError) as raised:
        add_image(SAMPLE.replace(b"format = 1", b"format = x"), NEW_IMAGE)
    assert (raised.value.reason, raised.value.parameters["line"]) == ("manifest.not-toml", 3)


def test_a_list_without_headings_cannot_be_added_to() -> None:
    data = b'image_type = [{ word = "voice", code = "VOIC" }]\n' + new_text("Gannet Slip")
    with pytest.raises(ManifestTextError) as raised:
        add_image_type(data, ImageType("pilots", "PILO"))
    assert raised.value.reason == "manifest.edit-heading"


def test_facts_that_cannot_be_spelled_are_refused() -> None:
    with pytest.raises(ManifestTextError) as raised:
        add_model(SAMPLE, replace(MANIFEST.models[1], name="OV-H5", seen_off=""))
    assert raised.value.reason == "manifest.edit-other"


def test_next_serial() -> None:
    digest = hashlib.sha256(SAMPLE).hexdigest()
    after = set_serial(SAMPLE, 8, digest)
    assert parse(after) == replace(MANIFEST, serial=8, previous=digest)
    changed = [line for line in after.split(b"\n") if line not in SAMPLE.split(b"\n")]
    assert changed == [b"serial = 8", f'previous = "{digest}"'.encode()]


@pytest.mark.parametrize(
    ("head", "wanted"),
    [
        pytest.param("serial = 1", f'serial = 2\nprevious = "{DIGEST}"', id="none before"),
        pytest.param(
            "  'serial'=1  # up", f"  'serial'=2  # up\nprevious = \"{DIGEST}\"", id="remark stays"
        ),
        pytest.param(
            f'previous = "{"0" * 64}" # of the last\n"serial"  = 0x7',
            f'previous = "{DIGEST}" # of the last\n"serial"  = 2',
            id="other order",
        ),
        pytest.param(
            f"serial = 1_000\n\n# last\nprevious= '{'0' * 64}'",
            f'serial = 2\n\n# last\nprevious= "{DIGEST}"',
            id="other quotes",
        ),
    ],
)
def test_serial_in_many_spellings(head: str, wanted: str) -> None:
    rest = "\nformat = 1 # serial = 7\nshop = 'x'\n"
    assert set_serial((head + rest).encode(), 2, DIGEST) == (wanted + rest).encode()


def test_back_to_the_first() -> None:
    after = set_serial(SAMPLE, 1, None)
    assert parse(after) == replace(MANIFEST, serial=1, previous=None)
    assert set_serial(after, 1, None) == after


@pytest.mark.parametrize(
    ("head", "key"),
    [
        pytest.param(f"serial = 7\nprevious = '''\n{'0' * 64}'''", "previous", id="over lines"),
        pytest.param(f'serial = 7\n"previou\\u0073" = "{"0" * 64}"', "previous", id="escape"),
        pytest.param(f'"\\u0073erial" = 7\nprevious = "{"0" * 64}"', "serial", id="escape again"),
    ],
)
def test_lines_that_cannot_be_changed(head: str, key: str) -> None:
    with pytest.raises(ManifestTextError) as raised:
        set_serial((head + "\nformat = 1\nshop = 'x'").encode(), 8, DIGEST)
    assert (raised.value.reason, raised.value.parameters["key"]) == ("manifest.edit-line", key)


def test_a_serial_that_cannot_be() -> None:
    for serial in (0, 2**53):
        with pytest.raises(ManifestTextError):
            set_serial(SAMPLE, serial, DIGEST)
    with pytest.raises(ManifestTextError):
        set_serial(SAMPLE, 8, None)


VERSION = st.from_regex(r"[0-9A-Za-z][0-9A-Za-z.+_-]{0,9}", fullmatch=True)
# What shows as nothing, such as a variation selector, is refused in a manifest.
PRINTABLE = st.text(
    st.characters(exclude_categories=["C", "Z"], include_characters=" ").filter(
        lambda character: spelled_out(character) in (character, "\\\\")
    ),
    min_size=1,
    max_size=40,
).filter(lambda text: bool(text.strip()))


@settings(deadline=None, max_examples=60)
@given(
    role=PRINTABLE,
    seen=st.none() | PRINTABLE,
    notes=st.lists(PRINTABLE, max_size=5, unique=True),
    versions=st.lists(VERSION, min_size=1, max_size=40, unique=True).map(tuple).map(VersionOrder),
    low=st.integers(0, 60),
    longer=st.integers(0, 60),
    leaves=st.sampled_from(Leaves),
    truth=st.booleans(),
    moment=st.datetimes(datetime(1980, 1, 1), datetime(2107, 12, 31)),  # noqa: DTZ001 - naive by rule
)
def test_what_is_spelled_is_read_back(
    role: str,
    seen: str | None,
    notes: list[str],
    versions: VersionOrder,
    low: int,
    longer: int,
    leaves: Leaves,
    truth: bool,
    moment: datetime,
) -> None:
    model = replace(
        MANIFEST.models[1],
        name="OV-H5",
        role=role,
        companion=Companion(model="OV-H4", presence=Presence.OPTIONAL),
        types=(*MANIFEST.models[1].types, *MANIFEST.image_types),
        seen_off=seen,
        note_before=tuple(notes),
        versions=dict.fromkeys(MANIFEST.models[1].types, versions),
    )
    image = replace(
        NEW_IMAGE,
        models=("OV-H5",),
        version=Version(versions.listed[0]),
        needs=(),
        carries=(),
        from_versions=(),
        minutes=Minutes(low=low, high=low + longer),
        leaves=leaves,
        released=moment.replace(microsecond=0, tzinfo=UTC),
        withdrawn=seen,
        from_empty=truth,
        erases=MANIFEST.image_types if truth else (),
        runs_with=(Version("2.38b"),),
    )
    display = replace(
        MANIFEST.displays[0],
        model="OV-D10",
        ticks=truth,
        told_to_read=seen,
        shows_done=role,
        shows_failed=seen,
    )
    after = add_image(add_model(add_display(SAMPLE, display), model), image)
    assert parse(after).displays[-1] == display
    assert parse(after).models[-1] == model
    assert parse(after).images[-1] == image
    assert tomllib.loads(after.decode())["model"][-1]["role"] == role
