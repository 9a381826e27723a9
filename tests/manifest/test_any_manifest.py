"""Any bytes are a manifest or a ManifestTextError, in bounded time; so is a damaged sample."""

from __future__ import annotations

import time
import tomllib
from pathlib import Path

import pytest
import tomlkit
from hypothesis import example, given, settings
from hypothesis import strategies as st

from cardprep.errors import ManifestTextError
from cardprep.manifest.text import SIZE_LIMIT, find_mistakes, parse
from cardprep.texts.catalogue import refusal

SAMPLE = (Path(__file__).parents[2] / "fixtures" / "gannet_slip.toml").read_bytes()
PLACES = st.integers(0, len(SAMPLE))


def read(data: bytes) -> None:
    """Read `data`; whatever comes out must be the one error, and can be worded."""
    found = find_mistakes(data)
    if not found:
        parse(data)
        return
    with pytest.raises(ManifestTextError) as raised:
        parse(data)
    for error in (raised.value, *found):
        assert refusal(error).message
        assert 1 <= int(error.parameters["line"]) <= data.count(b"\n") + 1
        assert error.parameters["mistakes"] == len(found)


@settings(deadline=None, max_examples=300)
@given(st.binary(max_size=300))
@example(b"\r\r\n[[image]]")
@example(b"\xef\xbb\xbf")
def test_any_bytes(data: bytes) -> None:
    read(data)


@settings(deadline=None, max_examples=300)
@given(st.text(max_size=200), st.integers(0, len(SAMPLE)))
def test_any_text_anywhere(text: str, at: int) -> None:
    read(SAMPLE[:at] + text.encode() + SAMPLE[at:])


@settings(deadline=None, max_examples=200)
@given(at=PLACES, length=st.integers(0, 200), other=PLACES)
def test_pieces_cut_out_and_moved(at: int, length: int, other: int) -> None:
    cut = SAMPLE[:at] + SAMPLE[at + length :]
    read(cut)
    read(cut[:other] + SAMPLE[at : at + length] + cut[other:])


@pytest.mark.parametrize("start", range(0, len(SAMPLE), 500))
def test_each_byte_altered(start: int) -> None:
    for at in range(start, min(start + 500, len(SAMPLE)), 5):
        data = bytearray(SAMPLE)
        data[at] ^= 0xFF
        read(bytes(data))
        data[at] = SAMPLE[at] ^ 0x01
        read(bytes(data))


SCALARS = st.one_of(
    st.booleans(),
    st.integers(),
    st.floats(allow_nan=False),
    st.text(max_size=10),
    st.dates(),
    st.times(),
    st.datetimes(),
    st.datetimes(timezones=st.timezones()),
)
VALUES = st.recursive(
    SCALARS,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner),
    max_leaves=5,
)
KEYS = sorted(
    {key for table in tomllib.loads(SAMPLE.decode())["image"] for key in table}
    | {key for name in ("model", "display") for key in tomllib.loads(SAMPLE.decode())[name][0]}
)


@settings(deadline=None, max_examples=150)
@given(
    table=st.sampled_from(["image", "model", "display", "image_type"]),
    key=st.sampled_from(KEYS),
    value=VALUES,
)
def test_any_value_under_any_key(table: str, key: str, value: object) -> None:
    values = tomllib.loads(SAMPLE.decode())
    values[table][-1][key] = value
    read(tomlkit.dumps(values).encode())


@settings(deadline=None, max_examples=100)
@given(name=st.sampled_from(["format", "serial", "shop", "image", "display", "x"]), value=VALUES)
def test_any_value_at_the_top(name: str, value: object) -> None:
    values = tomllib.loads(SAMPLE.decode())
    values[name] = value
    read(tomlkit.dumps(values).encode())


HEAD = b'format = 1\nserial = 1\nshop = "x"\n'


@pytest.mark.parametrize(
    "piece",
    [
        pytest.param(b"a.", id="parts of a key"),
        pytest.param(b"\r\r\na.", id="parts behind carriage returns"),
        pytest.param(b"x=[", id="brackets"),
        pytest.param(b"\r\n[", id="brackets on lines"),
        pytest.param(b"[[image]]\n", id="tables"),
        pytest.param(b"[[image]]\nfile='a'\n", id="tables with a key"),
        pytest.param(b"[image.a.b.c.d.e.f]\n", id="one table again and again"),
        pytest.param(b"# x\n", id="remarks"),
        pytest.param(b'"', id="quotes"),
        pytest.param(b"'''\n", id="quotes of three"),
        pytest.param(b"\\", id="backslashes"),
        pytest.param(b'"\\\\",', id="backslashes in quotes"),
        pytest.param(b"9", id="digits"),
        pytest.param("\U0001f6a2".encode(), id="ships"),
    ],
)
def test_time_is_bounded(piece: bytes) -> None:
    room = SIZE_LIMIT // 4
    for start in (b"", b"x = ["):
        data = HEAD + start + piece * (room // len(piece))
        begun = time.monotonic()
        find_mistakes(data)
        # Half a second at most here; what is not linear takes hours.
        assert time.monotonic() - begun < 20


@pytest.mark.parametrize("count", [9_000, 40_000])
def test_many_keys_of_one_table(count: int) -> None:
    lines = b"".join(b"key%d = 1\n" % number for number in range(count))
    begun = time.monotonic()
    assert len(find_mistakes(HEAD + lines)) == 100
    assert time.monotonic() - begun < 30


def test_many_images_that_refer_to_many_models() -> None:
    models = "".join(
        f'[[model]]\nname = "M{number}"\nkind = "other"\nrole = "x"\ntypes = ["application"]\n'
        for number in range(1000)
    )
    names = ", ".join(f'"M{number}"' for number in range(64))
    images = "".join(
        f'[[image]]\nfile = "a"\nmodels = [{names}]\ntype = "application"\nversion = "{number}"\n'
        f'released = 2026-01-01\nsize = 1\nsha256 = "{number:064x}"\nxxh3_128 = "{number:032x}"\n'
        f'chunks = "{number:016x}"\nknown_by = {{ how = "support ticket", ticket = "1" }}\n'
        for number in range(900)
    )
    begun = time.monotonic()
    manifest = parse(HEAD + (models + images).encode())
    assert time.monotonic() - begun < 30
    assert len(manifest.images) == 900
