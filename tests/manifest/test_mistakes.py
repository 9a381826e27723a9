"""Every mistake of a manifest is named by its line, its key and what would be right.

The sample is invented, and so are its digests.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from cardprep.errors import ManifestTextError
from cardprep.manifest.text import SIZE_LIMIT, find_mistakes, parse
from cardprep.texts.catalogue import refusal

SAMPLE = (Path(__file__).parents[2] / "fixtures" / "gannet_slip.toml").read_bytes()
LINES = SAMPLE.decode().split("\n")


def with_lines(edits: dict[int, str]) -> bytes:
    """Return the sample with other lines, counted from 1."""
    lines = list(LINES)
    for number, line in edits.items():
        lines[number - 1] = line
    return "\n".join(lines).encode()


# line of the sample: what stands there instead; then line, key and reason of the one mistake.
MISTAKES = [
    pytest.param({3: ""}, 1, "format", "missing-whole-number", id="no format"),
    pytest.param({3: "format = 2"}, 3, "format", "format", id="format of the future"),
    pytest.param({4: 'serial = "7"'}, 4, "serial", "not-whole-number", id="number in quotes"),
    pytest.param({4: "serial = 7.0"}, 4, "serial", "not-whole-number", id="number with a dot"),
    pytest.param({4: "serial = true"}, 4, "serial", "not-whole-number", id="truth value"),
    pytest.param({4: "serial = 0"}, 4, "serial", "number", id="serial of none"),
    pytest.param({4: "serial = " + "9" * 90}, 4, "serial", "number", id="huge number"),
    pytest.param({4: "serial = -0x7"}, 4, "-", "not-toml", id="sign and base"),
    pytest.param({4: f"serial = 0x{'f' * 9000}"}, 4, "-", "over-plain", id="huger number"),
    pytest.param({4: "serial = 1"}, 5, "previous", "previous-of-first", id="one before the first"),
    pytest.param({5: ""}, 1, "previous", "missing-text", id="none before the seventh"),
    pytest.param({5: 'previous = "5AD2"'}, 5, "previous", "digest", id="digest cut short"),
    pytest.param({6: 'shop = ""'}, 6, "shop", "text-empty", id="shop without a name"),
    pytest.param({6: f'shop = "{"x" * 81}"'}, 6, "shop", "text-long", id="name too long"),
    pytest.param({6: 'shop = "Slip\\u202e"'}, 6, "shop", "text-control", id="bidirectional mark"),
    pytest.param({6: 'shop = "a\\nb"'}, 6, "shop", "text-control", id="line end in a name"),
    pytest.param({7: 'shopp = "x"'}, 7, "shopp", "key-unknown", id="unknown key at the top"),
    pytest.param({7: "image_typ = 1"}, 7, "image_typ", "key-unknown", id="unknown table"),
    pytest.param(
        {11: '[[image_type]]\nword = "Voice"\ncode = "VOI2"'},
        *(12, "image_type[2].word", "image-type-word"),
        id="word of an image type",
    ),
    pytest.param({10: 'code = "voi"'}, 10, "image_type[1].code", "image-type-code", id="code"),
    pytest.param(
        {11: '[[image_type]]\nword = "application"\ncode = "APP2"'},
        *(12, "image_type[2].word", "type-twice"),
        id="usual word again",
    ),
    pytest.param(
        {10: 'code = "APPL"'}, 10, "image_type[1].code", "type-twice", id="usual code again"
    ),
    pytest.param({10: ""}, 8, "image_type[1].code", "missing-text", id="no code"),
    pytest.param({15: ""}, 14, "display[1].model", "missing-text", id="display without model"),
    pytest.param(
        {16: 'file_systems = "fat32"'}, 16, "display[1].file_systems", "not-list", id="no brackets"
    ),
    pytest.param(
        {16: "file_systems = []"}, 16, "display[1].file_systems", "list-empty", id="reads nothing"
    ),
    pytest.param(
        {16: 'file_systems = ["fat32", "fat23"]'},
        *(16, "display[1].file_systems[2]", "not-one-of"),
        id="unknown file system",
    ),
    pytest.param(
        {16: 'file_systems = [\n  "fat32",\n  "fat32"]'},
        *(18, "display[1].file_systems[2]", "listed-twice"),
        id="file system twice, list over lines",
    ),
    pytest.param(
        {17: 'partition_table = "gpt"'},
        *(17, "display[1].partition_table", "not-one-of"),
        id="partition table",
    ),
    pytest.param({18: 'volume_size = "4GB"'}, 18, "display[1].volume_size", "size", id="no space"),
    pytest.param({18: 'volume_size = ""'}, 18, "display[1].volume_size", "size", id="no size"),
    pytest.param({18: "volume_size = 0"}, 18, "display[1].volume_size", "size", id="zero"),
    pytest.param({18: "volume_size = 1000"}, 18, "display[1].volume_size", "size", id="no sectors"),
    pytest.param({18: "volume_size = -1"}, 18, "display[1].volume_size", "number", id="negative"),
    pytest.param(
        {18: "volume_size = 4.5"}, 18, "display[1].volume_size", "not-whole-number", id="fraction"
    ),
    pytest.param(
        {18: 'volume_size = "99999 TiB"'}, 18, "display[1].volume_size", "size", id="too large"
    ),
    pytest.param(
        {18: 'volume_size = "64 GB"'},
        *(18, "display[1].volume_size", "volume-over-card"),
        id="volume larger than the card",
    ),
    pytest.param(
        {20: "types_per_card = 17"}, 20, "display[1].types_per_card", "number", id="too many types"
    ),
    pytest.param({21: 'folder = "/A"'}, 21, "display[1].folder", "folder", id="from the root"),
    pytest.param({21: 'folder = "A/../B"'}, 21, "display[1].folder", "folder", id="upward"),
    pytest.param({21: 'folder = "A\\\\B"'}, 21, "display[1].folder", "folder", id="backslash"),
    pytest.param(
        {21: f'folder = "{"/".join("A" * 9)}"'}, 21, "display[1].folder", "folder", id="too deep"
    ),
    pytest.param(
        {22: 'announces = ["firmware"]'}, 22, "display[1].announces[1]", "not-one-of", id="type"
    ),
    pytest.param({23: 'writes = ["A|B"]'}, 23, "display[1].writes[1]", "pattern", id="pattern"),
    pytest.param({23: 'writes = ["A", 7]'}, 23, "display[1].writes[2]", "not-text", id="no text"),
    pytest.param(
        {23: 'writes = ["A", "A"]'}, 23, "display[1].writes[2]", "listed-twice", id="pattern twice"
    ),
    pytest.param(
        {23: f"writes = {[str(number) for number in range(65)]}"},
        *(23, "display[1].writes", "list-long"),
        id="list too long",
    ),
    pytest.param({23: 'wirtes = ["A"]'}, 23, "display[1].wirtes", "key-unknown", id="slip"),
    pytest.param({28: f'name = "{"V" * 41}"'}, 28, "model[1].name", "text-long", id="long name"),
    pytest.param({29: 'kind = "wireless"'}, 29, "model[1].kind", "not-one-of", id="kind"),
    pytest.param({30: ""}, 27, "model[1].role", "missing-text", id="no role"),
    pytest.param({31: "companion = 'OV-H4'"}, 31, "model[1].companion", "not-table", id="no table"),
    pytest.param(
        {31: 'companion = { model = "OV-H4", presence = "no" }'},
        *(31, "model[1].companion.presence", "not-one-of"),
        id="presence",
    ),
    pytest.param(
        {31: 'companion = { model = "OV-H4" }'},
        *(31, "model[1].companion.presence", "missing-text"),
        id="presence left out",
    ),
    pytest.param(
        {31: 'companion = { model = "OV-H4", presence = "always", at = 1 }'},
        *(31, "model[1].companion.at", "key-unknown"),
        id="more than a companion",
    ),
    pytest.param({32: "types = []"}, 32, "model[1].types", "list-empty", id="no types"),
    pytest.param(
        {35: 'note_before = ["MMSI", ""]'},
        *(35, "model[1].note_before[2]", "text-empty"),
        id="nothing to note",
    ),
    pytest.param(
        {40: 'loader = "at start"'}, 40, "model[1].read_at.loader", "not-one-of", id="no type"
    ),
    pytest.param({40: "bootloader = 1"}, 40, "model[1].read_at.bootloader", "not-text", id="where"),
    pytest.param(
        {48: 'versions = { application = ["2.30", "2.38b", "2 41"] }'},
        *(48, "model[2].versions.application[3]", "version"),
        id="no version in an order",
    ),
    pytest.param({59: 'file = "A/B.bin"'}, 59, "image[1].file", "file-name", id="with a folder"),
    pytest.param({59: 'file = "A.bin "'}, 59, "image[1].file", "file-name", id="space at the end"),
    pytest.param({59: 'file = ".."'}, 59, "image[1].file", "file-name", id="folder above"),
    pytest.param({59: f'file = "{"ß" * 256}"'}, 59, "image[1].file", "text-long", id="name long"),
    pytest.param(
        {59: f'file = "{chr(0x1F6A2) * 128}"'}, 59, "image[1].file", "file-name", id="UTF-16 units"
    ),
    pytest.param({60: ""}, 58, "image[1].models", "missing-list", id="for no model"),
    pytest.param({60: "models = []"}, 60, "image[1].models", "list-empty", id="empty models"),
    pytest.param({61: 'type = "boot loader"'}, 61, "image[1].type", "not-one-of", id="type word"),
    pytest.param({62: 'version = "3,10"'}, 62, "image[1].version", "version", id="comma"),
    pytest.param({62: "version = 3.10"}, 62, "image[1].version", "not-text", id="no quotes"),
    pytest.param({63: 'released = "2026"'}, 63, "image[1].released", "not-day-or-time", id="year"),
    pytest.param(
        {63: "released = 08:30:00"}, 63, "image[1].released", "not-day-or-time", id="hour"
    ),
    pytest.param({63: "released = 1979-12-31"}, 63, "image[1].released", "year", id="before FAT"),
    pytest.param({63: "released = 2108-01-01"}, 63, "image[1].released", "year", id="after FAT"),
    pytest.param(
        {63: "released = 0001-01-01T00:00:00Z"}, 63, "image[1].released", "year", id="year one"
    ),
    pytest.param(
        {63: "released = 2026-05-12T08:30:00"}, 63, "image[1].released", "moment", id="no zone"
    ),
    pytest.param(
        {63: "released = 2026-05-12T08:30:00+02:00"},
        *(63, "image[1].released", "moment"),
        id="summer time",
    ),
    pytest.param(
        {63: "released = 2026-05-12T08:30:00.5Z"}, 63, "image[1].released", "moment", id="half"
    ),
    pytest.param({63: "released = 2026-02-30"}, 63, "-", "not-toml", id="30 February"),
    pytest.param({64: "size = 0"}, 64, "image[1].size", "number", id="no bytes"),
    pytest.param({64: "size = 65537"}, 67, "image[1].chunks", "chunk-count", id="a byte more"),
    pytest.param({65: 'sha256 = "11"'}, 65, "image[1].sha256", "digest", id="digest too short"),
    pytest.param(
        {65: f'sha256 = "{"A" * 64}"'}, 65, "image[1].sha256", "digest", id="capital letters"
    ),
    pytest.param({66: ""}, 58, "image[1].xxh3_128", "missing-text", id="no xxh3"),
    pytest.param({67: ""}, 58, "image[1].chunks", "missing-text", id="no chunks"),
    pytest.param({67: 'chunks = "11"'}, 67, "image[1].chunks", "chunk-digits", id="half a chunk"),
    pytest.param(
        {67: f'chunks = "{"g" * 16}"'}, 67, "image[1].chunks", "chunk-digits", id="not hex"
    ),
    pytest.param({68: ""}, 58, "image[1].known_by", "missing-table", id="not known by anything"),
    pytest.param(
        {68: 'known_by = { how = "hearsay" }'},
        *(68, "image[1].known_by.how", "not-one-of"),
        id="hearsay",
    ),
    pytest.param(
        {68: 'known_by = { how = "handed over", by = "me" }'},
        *(68, "image[1].known_by.on", "missing-day-or-time"),
        id="handed over when",
    ),
    pytest.param(
        {68: 'known_by = { how = "support ticket", ticket = "1", address = "x" }'},
        *(68, "image[1].known_by.address", "key-unknown"),
        id="ticket with an address",
    ),
    pytest.param({83: 'container = "U Boot"'}, 83, "image[2].container", "container", id="slug"),
    pytest.param(
        {85: '  { type = "bootloader" },'},
        *(85, "image[2].needs[1].at_least", "missing-text"),
        id="need without version",
    ),
    pytest.param({85: "  'bootloader',"}, 85, "image[2].needs[1]", "not-table", id="need a text"),
    pytest.param(
        {88: 'from_versions = ["4.17", "4.17"]'},
        *(88, "image[2].from_versions[2]", "listed-twice"),
        id="start twice",
    ),
    pytest.param(
        {89: 'carries = [{ model = "OV-H4", version = "2.41" }]'},
        *(89, "image[2].carries[1].mode", "missing-text"),
        id="carried in which mode",
    ),
    pytest.param({90: 'leaves = "dead"'}, 90, "image[2].leaves", "not-one-of", id="leaves"),
    pytest.param(
        {90: 'from_empty = "no"'},
        *(90, "image[2].from_empty", "not-true-or-false"),
        id="a text for false",
    ),
    pytest.param(
        {90: 'erases = ["application"]'},
        *(90, "image[2].erases[1]", "erases-itself"),
        id="erases itself",
    ),
    pytest.param(
        {90: 'erases = ["bootloader"]'},
        *(90, "image[2].erases[1]", "erases-its-need"),
        id="erases what it needs",
    ),
    pytest.param(
        {90: 'erases = ["chart data"]'},
        *(90, "image[2].erases[1]", "type-not-of-model"),
        id="erases what is not there",
    ),
    pytest.param(
        {
            60: 'models = ["OV-H4"]',
            61: 'type = "application"\nruns_with = ["2.41"]',
            62: 'version = "2.41"',
        },
        *(62, "image[1].runs_with", "runs-with-none"),
        id="runs with a handset that no unit has",
    ),
    pytest.param({91: "minutes = [9, 4]"}, 91, "image[2].minutes", "minutes", id="high first"),
    pytest.param({91: "minutes = [4]"}, 91, "image[2].minutes", "minutes", id="one number"),
    pytest.param({91: "minutes = [4, 1441]"}, 91, "image[2].minutes[2]", "number", id="a day"),
    pytest.param({91: "minutes = 4"}, 91, "image[2].minutes", "not-list", id="a number"),
    pytest.param(
        {92: "list_checked = 2026-09-01T00:00:00Z"},
        *(92, "image[2].list_checked", "day"),
        id="a time for a day",
    ),
    pytest.param(
        {92: "list_checked = 1970-01-01"}, 92, "image[2].list_checked", "year", id="the epoch"
    ),
    pytest.param({95: 'how = "found"'}, 95, "image[2].known_by.how", "not-one-of", id="how"),
    pytest.param({97: ""}, 94, "image[2].known_by.on", "missing-day-or-time", id="when"),
    pytest.param({98: "size = 1"}, 98, "image[2].known_by.size", "key-unknown", id="wrong table"),
    pytest.param({70: "[image]"}, 70, "-", "not-toml", id="one bracket"),
    pytest.param({59: 'file = "x'}, 59, "-", "not-toml", id="quote missing"),
    pytest.param({60: 'file = "again"'}, 60, "-", "not-toml", id="key twice"),
    pytest.param({7: "[image_type]\n[[image_type]]"}, 8, "-", "not-toml", id="table and list"),
    pytest.param({58: "x = " + "[" * 500}, 58, "-", "over-depth", id="nested"),
    pytest.param({58: ".".join("x" * 500)}, 58, "-", "over-parts", id="parts"),
    pytest.param({58: "x = [" + "0," * 100_001}, 58, "-", "over-values", id="values"),
    pytest.param({58: "# \x00"}, 58, "-", "control", id="NUL"),
    pytest.param({58: "# \x7f"}, 58, "-", "control", id="delete"),
    pytest.param({1: "\ufeff"}, 1, "-", "byte-order-mark", id="byte order mark"),
    pytest.param({4: "serial = " + "9" * 5000}, 4, "-", "over-plain", id="beyond Python"),
    pytest.param({123: 'x = """'}, 123, "-", "not-toml", id="text that does not end"),
]


@pytest.mark.parametrize(("edits", "line", "key", "reason"), MISTAKES)
def test_mistakes(edits: dict[int, str], line: int, key: str, reason: str) -> None:
    data = with_lines(edits)
    (error,) = find_mistakes(data, file="m.toml")
    assert error.reason == f"manifest.{reason}"
    assert (error.parameters["line"], error.parameters["key"]) == (line, key)
    message = refusal(error).message
    assert message.startswith(f"m.toml, line {line}, {key}: ")
    # A parameter that is not given would show as its name in brackets.
    assert message.count("(") == message.count("(mistake 1 of 1)") == 1
    with pytest.raises(ManifestTextError) as raised:
        parse(data, file="m.toml")
    assert (raised.value.reason, raised.value.parameters) == (error.reason, error.parameters)


@pytest.mark.parametrize(
    ("edits", "parameters"),
    [
        pytest.param({23: 'wirtes = ["A"]'}, {"right": "writes"}, id="nearest key"),
        pytest.param(
            {7: "zzz = 1"},
            {
                "right": "format, serial, previous, shop, image_type, display, model, image, "
                "supposed"
            },
            id="all keys",
        ),
        pytest.param({29: 'kind = "radar"'}, {"right": "radio", "found": "radar"}, id="word"),
        pytest.param({17: 'partition_table = "?"'}, {"right": "mbr, none"}, id="all words"),
        pytest.param({64: "size = 65537"}, {"found": 1, "right": 2}, id="chunks"),
        pytest.param({4: "serial = 0"}, {"low": 1, "high": 2**53 - 1, "found": "0"}, id="range"),
        pytest.param({4: "serial = -0"}, {"found": "0"}, id="minus nothing"),
        pytest.param({4: f"serial = -{'9' * 99}"}, {"found": "-2**64"}, id="far below"),
        pytest.param({59: 'file = "x'}, {"column": 10}, id="column"),
        pytest.param({59: 'file = "a\\u202eb"'}, {"found": "a\\u202eb"}, id="spelled out"),
    ],
)
def test_what_would_be_right(edits: dict[int, str], parameters: dict[str, str | int]) -> None:
    (error,) = find_mistakes(with_lines(edits))
    assert {name: error.parameters.get(name) for name in parameters} == parameters


def test_all_mistakes_are_shown_by_line() -> None:
    data = with_lines({4: "serial = 0", 29: 'kind = "x"', 64: "size = 'a'", 119: "siez = 1"})
    found = find_mistakes(data)
    assert [error.parameters["line"] for error in found] == [4, 29, 64, 113, 119]
    assert {error.parameters["mistakes"] for error in found} == {5}
    assert [error.parameters["number"] for error in found] == [1, 2, 3, 4, 5]
    with pytest.raises(ManifestTextError) as raised:
        parse(data)
    assert raised.value.parameters["line"] == 4
    assert refusal(raised.value).message == (
        f"manifest.toml, line 4, serial: 0 is not from 1 to {2**53 - 1} (mistake 1 of 5)"
    )


def test_no_more_than_a_hundred_mistakes() -> None:
    assert len(find_mistakes(SAMPLE + b"\n[[image]]" * 500)) == 100


def test_too_large() -> None:
    assert parse(SAMPLE + b"#" * (SIZE_LIMIT - len(SAMPLE))) == parse(SAMPLE)
    (error,) = find_mistakes(SAMPLE + b"#" * (SIZE_LIMIT - len(SAMPLE) + 1))
    assert error.reason == "manifest.too-large"


def test_not_utf_8() -> None:
    (error,) = find_mistakes(SAMPLE.replace(b"# ---- models", b"# \xe4"))
    assert error.reason == "manifest.not-utf-8"
    assert (error.parameters["line"], error.parameters["found"]) == (25, "e4")


def test_file_name_of_the_mistake_can_do_no_harm() -> None:
    (error,) = find_mistakes(b"", file="\x1b[2J.toml")
    assert error.parameters["file"] == "\\x1b[2J.toml"
