"""Words of the command line and of a job file, read into values or refused."""

from __future__ import annotations

import os
from collections.abc import Callable
from datetime import UTC, date, datetime
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cardprep.cli import words
from cardprep.errors import BadValueError, CardprepError, NotThereError
from cardprep.job.visit import Unit
from cardprep.manifest.model import (
    HandedOver,
    Leaves,
    MakersChecksum,
    Minutes,
    OwnDownload,
    SupportTicket,
)
from cardprep.terms import APPLICATION, CHART_DATA, Version

DAY = date(2026, 11, 20)


def test_days_and_moments() -> None:
    assert words.day("2026-11-20") == DAY
    assert words.moment("2026-11-20") == datetime(2026, 11, 20, tzinfo=UTC)
    assert words.moment("2026-11-20T20:15:59Z") == datetime(2026, 11, 20, 20, 15, 59, tzinfo=UTC)


def test_how_a_file_is_known() -> None:
    assert words.known_by("makers-checksum", "x", None) == MakersChecksum(address="x", on=None)
    assert words.known_by("own-download", "x", "2026-11-20") == OwnDownload(address="x", on=DAY)
    assert words.known_by("support-ticket", "T", None) == SupportTicket(ticket="T", on=None)
    assert words.known_by("handed-over", "me", "2026-11-20") == HandedOver(by="me", on=DAY)


def test_the_rest() -> None:
    assert words.needs(["bootloader 3.10", "chart data 2"]) == (
        ("bootloader", Version("3.10")),
        ("chart data", Version("2")),
    )
    (carried,) = words.carried(["OV-H4 application 2.41 PROGRAM on the screen"])
    assert (carried.model, carried.type, carried.mode) == (
        "OV-H4",
        APPLICATION,
        "PROGRAM on the screen",
    )
    (charts,) = words.carried(["OV-H4  chart data 7  MENU on the  screen"])
    assert (charts.type, charts.version, charts.mode) == (
        CHART_DATA,
        Version("7"),
        "MENU on the screen",
    )
    assert words.leaves("waiting for application") is Leaves.WAITING
    assert words.minutes("3-6") == Minutes(low=3, high=6)
    assert words.minutes(" 4 ") == Minutes(low=4, high=4)
    assert words.minutes("0-1440") == Minutes(low=0, high=1440)
    assert words.unit(
        "model=OV-V40; role=main radio; serial=0012; has application=unknown;wants application=4.30"
    ) == Unit(
        model="OV-V40",
        role="main radio",
        serial="0012",
        versions={"application": None},
        wanted={"application": Version("4.30")},
    )


@pytest.mark.parametrize(
    "text",
    [
        "model=OV-V40; role=main radio; has application=UNKNOWN; wants application=4.30;",
        " model = OV-V40 ;; role = main radio; has  application = unknown;wants application=4.30",
        "wants application=4.30; has application=unknown; role=main radio; model=OV-V40",
    ],
)
def test_a_unit_in_any_order_and_with_any_spaces(text: str) -> None:
    assert words.unit(text) == Unit(
        model="OV-V40",
        role="main radio",
        versions={"application": None},
        wanted={"application": Version("4.30")},
    )


@pytest.mark.parametrize(
    ("read", "reason"),
    [
        pytest.param(lambda: words.day("20.11.2026"), "words.day", id="another form of a day"),
        pytest.param(lambda: words.day("2026-02-30"), "words.day", id="no such day"),
        pytest.param(lambda: words.moment("2026-11-20T25:00:00Z"), "words.day", id="no such hour"),
        pytest.param(lambda: words.moment("2026-11-20 20:00"), "words.day", id="no zone"),
        pytest.param(lambda: words.known_by("found", "x", None), "words.known-by", id="how"),
        pytest.param(
            lambda: words.known_by("own-download", "x", None), "words.known-by-on", id="no day"
        ),
        pytest.param(
            lambda: words.known_by("makers-checksum", None, None),
            "words.known-by-source",
            id="no source",
        ),
        pytest.param(lambda: words.needs(["3.10"]), "words.needs", id="a version alone"),
        pytest.param(lambda: words.needs(["bootloader 3,10"]), "version", id="a comma"),
        pytest.param(lambda: words.carried(["OV-H4 2.41"]), "words.carries", id="no type"),
        pytest.param(
            lambda: words.carried(["OV-H4 loader 2.41 x"]), "words.carries", id="unknown type"
        ),
        pytest.param(lambda: words.leaves("broken"), "words.leaves", id="state"),
        pytest.param(lambda: words.minutes("soon"), "words.minutes", id="minutes"),
        pytest.param(lambda: words.unit("model"), "words.unit", id="no value"),
        pytest.param(lambda: words.unit("model=;role=r"), "words.unit", id="empty value"),
        pytest.param(lambda: words.unit("colour=red"), "words.unit", id="unknown key"),
        pytest.param(lambda: words.unit("model=m"), "words.unit-lacks", id="no role"),
        pytest.param(
            lambda: words.unit("role=r; has application=1"), "words.unit-lacks", id="model"
        ),
        pytest.param(lambda: words.unit(""), "words.unit-lacks", id="nothing at all"),
        pytest.param(lambda: words.unit("model=m; role=r; has=1"), "words.unit", id="has what"),
        pytest.param(lambda: words.unit("model=m; role=r; role=s"), "words.twice", id="role twice"),
        pytest.param(
            lambda: words.unit("model=m; role=r; has application=1; has application=2"),
            "words.twice",
            id="a version twice",
        ),
        pytest.param(
            lambda: words.unit("model=m; role=r; wants application=Unknown"),
            "words.wants-unknown",
            id="an unknown version wanted",
        ),
        pytest.param(lambda: words.unit("model=m; role=a\x1b[2J"), "job.line", id="control"),
        pytest.param(lambda: words.minutes("6-3"), "words.minutes", id="from more to less"),
        pytest.param(lambda: words.minutes("1441"), "words.minutes", id="more than a day"),
        pytest.param(lambda: words.minutes("-3"), "words.minutes", id="less than nothing"),
        pytest.param(lambda: words.moment("2026-11-20T23:59:60Z"), "words.day", id="leap second"),
        pytest.param(lambda: words.day("٢٠٢٦-11-20"), "words.day", id="other digits"),
        pytest.param(
            lambda: words.known_by("makers-checksum", "a\nb", None), "job.line", id="two lines"
        ),
        pytest.param(
            lambda: words.carried(["OV-H4 application 2.41"]), "words.carries", id="no mode"
        ),
        pytest.param(
            lambda: words.carried(["OV-H4 application 2,41 x"]), "version", id="its version"
        ),
        pytest.param(
            lambda: words.carried(["OV-H4 application 2.41 a\u202eb"]), "job.line", id="its mode"
        ),
        pytest.param(
            lambda: words.unit("model=m; role=r; has App=1"), "image-type.word", id="type"
        ),
        pytest.param(
            lambda: words.unit("model=m; role=r; has application=4,17"), "version", id="version"
        ),
    ],
)
def test_mistakes(read: Callable[[], object], reason: str) -> None:
    with pytest.raises(BadValueError) as caught:
        read()
    assert caught.value.reason == reason


READERS: tuple[Callable[[str], object], ...] = (
    words.day,
    words.moment,
    words.leaves,
    words.minutes,
    words.unit,
    lambda text: words.needs([text]),
    lambda text: words.carried([text]),
    lambda text: words.known_by(text, text, text),
)


@given(st.text(), st.sampled_from(READERS))
def test_any_text_is_a_value_or_a_refusal(text: str, read: Callable[[str], object]) -> None:
    try:
        read(text)
    except CardprepError as error:
        assert error.reason  # noqa: PT017 - nothing else may come out


GOOD = """
[vessel]
name = "Saltwhistle"
mmsi = "211123456"
[display]
model = "OV-D9"
software = "unknown"
[[unit]]
model = "OV-V40"
role = "main radio"
has = { bootloader = "3.02", application = "unknown" }
wants = { application = "4.30" }
"""


def test_a_job_file(tmp_path: Path) -> None:
    path = tmp_path / "visit.toml"
    path.write_text(GOOD)
    vessel, display, units = words.job_file(path)
    assert (vessel.name, vessel.mmsi) == ("Saltwhistle", "211123456")
    assert display.software is None
    assert units[0].versions == {"bootloader": Version("3.02"), "application": None}
    path.write_text(GOOD.replace('"unknown"\n[[', '"9.2"\n[['))
    assert words.job_file(path)[1].software == Version("9.2")


def test_a_pipe_is_not_waited_for(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")
    with pytest.raises(NotThereError) as caught:
        words.job_file(tmp_path / "pipe")
    assert caught.value.reason == "job-file.kind"


def test_a_key_of_very_many_parts_is_refused_before_it_is_read(tmp_path: Path) -> None:
    """The library that reads TOML takes gigabytes for such a line."""
    path = tmp_path / "bomb.toml"
    path.write_text(".".join("a" * 120_000) + " = 1\n")
    with pytest.raises(BadValueError) as caught:
        words.job_file(path)
    assert caught.value.reason == "job-file.nested"


@pytest.mark.parametrize(
    ("old", "new", "reason"),
    [
        pytest.param("[vessel]", "[vessel", "job-file.toml", id="no TOML"),
        pytest.param('name = "Saltwhistle"', "", "job-file.key", id="no name"),
        pytest.param('name = "Saltwhistle"', "name = 3", "job-file.key", id="a number for a name"),
        pytest.param('mmsi = "211123456"', "mmsi = 211123456", "job-file.key", id="a number"),
        pytest.param('mmsi = "211123456"', 'call = "x"', "job-file.unknown", id="unknown key"),
        pytest.param("[display]", "[screen]", "job-file.unknown", id="unknown table"),
        pytest.param("[[unit]]", "[unit]", "job-file.key", id="one table for many"),
        pytest.param('role = "main radio"', "", "job-file.key", id="no role"),
        pytest.param('role = "main radio"', "role = 3", "job-file.key", id="a number for a role"),
        pytest.param('role = "main radio"', 'role = "r"\nserial = 3', "job-file.key", id="serial"),
        pytest.param('role = "main radio"', 'role = "a\\nb"', "job.line", id="two lines"),
        pytest.param('role = "main radio"', 'role = "r"\ncolour = 1', "job-file.unknown", id="key"),
        pytest.param('model = "OV-V40"', "model = []", "job-file.key", id="a list for a model"),
        pytest.param('model = "OV-D9"', "", "job-file.key", id="no display"),
        # 9.10 would become 9.1.
        pytest.param('software = "unknown"', "software = 9.10", "job-file.key", id="software"),
        pytest.param('software = "unknown"', 'software = "9,1"', "version", id="its version"),
        pytest.param('"211123456"', '"2111234567"', "job.mmsi", id="ten digits"),
        pytest.param('"4.30"', '"unknown"', "words.wants-unknown", id="unknown wanted"),
        pytest.param('application = "4.30"', 'App = "4.30"', "image-type.word", id="type"),
        pytest.param("[vessel]", "[vessel]\n[vessel]", "job-file.toml", id="a table twice"),
        pytest.param("[vessel]", "vessel = 3\n[other]", "job-file.unknown", id="no table"),
        pytest.param('{ application = "4.30" }', '"4.30"', "words.versions", id="no table"),
        pytest.param('"4.30"', "4.30", "words.versions", id="a number for a version"),
    ],
)
def test_mistakes_in_a_job_file(tmp_path: Path, old: str, new: str, reason: str) -> None:
    path = tmp_path / "visit.toml"
    assert old in GOOD
    path.write_text(GOOD.replace(old, new))
    with pytest.raises(BadValueError) as caught:
        words.job_file(path)
    assert caught.value.reason == reason


def test_files_that_are_no_job_files(tmp_path: Path) -> None:
    for place, reason in (
        (tmp_path / "nothing", "job-file.not-there"),
        (tmp_path, "job-file.unreadable"),
        (tmp_path / "a\0b", "job-file.unreadable"),
    ):
        with pytest.raises(NotThereError) as missing:
            words.job_file(place)
        assert missing.value.reason == reason
    path = tmp_path / "visit.toml"
    for content, reason in (
        (b"\xff\xfe", "job-file.toml"),
        (b"# " * words.JOB_FILE_MOST, "job-file.large"),
        (b"unit = [3]", "job-file.key"),
        (b"a = " + b"[" * 5000, "job-file.nested"),
        (b'vessel = {name = "S"}\ndisplay = {model = "D"}\nunit = [3]', "job-file.key"),
        (b'vessel = {name = "S"}\ndisplay = {model = "D"}\nunit = []', "job-file.key"),
        (b"vessel = 3", "job-file.key"),
    ):
        path.write_bytes(content)
        with pytest.raises(BadValueError) as caught:
            words.job_file(path)
        assert caught.value.reason == reason


@given(st.binary(max_size=200))
def test_any_bytes_are_a_job_or_a_refusal(
    tmp_path_factory: pytest.TempPathFactory, data: bytes
) -> None:
    path = tmp_path_factory.getbasetemp() / "any.toml"
    path.write_bytes(data)
    with pytest.raises(CardprepError):
        words.job_file(path)


def test_a_mistake_names_the_unit(tmp_path: Path) -> None:
    path = tmp_path / "visit.toml"
    path.write_text(GOOD + '[[unit]]\nmodel = "OV-V42"\n')
    with pytest.raises(BadValueError) as caught:
        words.job_file(path)
    assert caught.value.parameters == {"name": str(path), "key": "unit.2.role"}


@given(st.sampled_from(GOOD.splitlines()), st.text(max_size=30))
def test_any_line_of_a_job_file_may_be_anything(
    tmp_path_factory: pytest.TempPathFactory, line: str, text: str
) -> None:
    path = tmp_path_factory.getbasetemp() / "line.toml"
    path.write_bytes(GOOD.replace(line, text).encode("utf-8", "surrogatepass"))
    try:
        words.job_file(path)
    except CardprepError as error:
        assert error.reason  # noqa: PT017 - nothing else may come out
