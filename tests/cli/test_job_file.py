"""Job files: what was told of a visit, read into values or refused."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cardprep.cli.job_file import JOB_FILE_MOST, job_file
from cardprep.errors import BadValueError, CardprepError, NotThereError
from cardprep.job.visit import Found
from cardprep.terms import Version

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
    visit = job_file(path)
    assert (visit.vessel.name, visit.vessel.mmsi) == ("Saltwhistle", "211123456")
    assert visit.display.software is None
    assert not visit.together
    assert visit.units[0].versions == {"bootloader": Version("3.02"), "application": None}
    path.write_text(GOOD.replace('"unknown"\n[[', '"9.2"\n[['))
    assert job_file(path).display.software == Version("9.2")


MORE = """
together = true
[vessel]
name = "Saltwhistle"
[[display]]
model = "OV-D9"
[[display]]
model = "OV-D5"
software = "2.1"
[[unit]]
model = "OV-V40"
role = "main radio"
handset = "OV-H4"
handset_has = { application = "2.30" }
handset_wants = { application = "2.41" }
found = "waiting for application"
may_fall = ["application"]
displays = ["OV-D5"]
"""


def test_a_job_file_that_tells_more(tmp_path: Path) -> None:
    path = tmp_path / "visit.toml"
    path.write_text(MORE)
    visit = job_file(path)
    assert visit.together
    assert [display.model for display in visit.further_displays] == ["OV-D5"]
    (unit,) = visit.units
    assert unit.found is Found.WAITING
    assert unit.companion_versions == {"application": Version("2.30")}
    assert unit.companion_wanted == {"application": Version("2.41")}
    assert (unit.may_fall, unit.displays) == (("application",), ("OV-D5",))


@pytest.mark.parametrize(
    ("old", "new", "reason"),
    [
        pytest.param("= true", '= "yes"', "job-file.truth", id="a text for true"),
        pytest.param('["application"]', '"application"', "job-file.list", id="a text for a list"),
        pytest.param('["OV-D5"]', "[5]", "job-file.list", id="a number for a display"),
        pytest.param('"waiting for', '"hoping for', "words.found", id="found otherwise"),
        pytest.param('= "2.41"', '= "unknown"', "words.wants-unknown", id="unknown wanted"),
    ],
)
def test_mistakes_in_what_more_is_told(tmp_path: Path, old: str, new: str, reason: str) -> None:
    path = tmp_path / "visit.toml"
    assert old in MORE
    path.write_text(MORE.replace(old, new))
    with pytest.raises(BadValueError) as caught:
        job_file(path)
    assert caught.value.reason == reason


def test_a_pipe_is_not_waited_for(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")
    with pytest.raises(NotThereError) as caught:
        job_file(tmp_path / "pipe")
    assert caught.value.reason == "job-file.kind"


def test_a_key_of_very_many_parts_is_refused_before_it_is_read(tmp_path: Path) -> None:
    """The library that reads TOML takes gigabytes for such a line."""
    path = tmp_path / "bomb.toml"
    path.write_text(".".join("a" * 120_000) + " = 1\n")
    with pytest.raises(BadValueError) as caught:
        job_file(path)
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
        job_file(path)
    assert caught.value.reason == reason


def test_files_that_are_no_job_files(tmp_path: Path) -> None:
    for place, reason in (
        (tmp_path / "nothing", "job-file.not-there"),
        (tmp_path, "job-file.unreadable"),
        (tmp_path / "a\0b", "job-file.unreadable"),
    ):
        with pytest.raises(NotThereError) as missing:
            job_file(place)
        assert missing.value.reason == reason
    path = tmp_path / "visit.toml"
    for content, reason in (
        (b"\xff\xfe", "job-file.toml"),
        (b"# " * JOB_FILE_MOST, "job-file.large"),
        (b"unit = [3]", "job-file.key"),
        (b"a = " + b"[" * 5000, "job-file.nested"),
        (b'vessel = {name = "S"}\ndisplay = {model = "D"}\nunit = [3]', "job-file.key"),
        (b'vessel = {name = "S"}\ndisplay = {model = "D"}\nunit = []', "job-file.key"),
        (b"vessel = 3", "job-file.key"),
    ):
        path.write_bytes(content)
        with pytest.raises(BadValueError) as caught:
            job_file(path)
        assert caught.value.reason == reason


@given(st.binary(max_size=200))
def test_any_bytes_are_a_job_or_a_refusal(
    tmp_path_factory: pytest.TempPathFactory, data: bytes
) -> None:
    path = tmp_path_factory.getbasetemp() / "any.toml"
    path.write_bytes(data)
    with pytest.raises(CardprepError):
        job_file(path)


def test_a_mistake_names_the_unit(tmp_path: Path) -> None:
    path = tmp_path / "visit.toml"
    path.write_text(GOOD + '[[unit]]\nmodel = "OV-V42"\n')
    with pytest.raises(BadValueError) as caught:
        job_file(path)
    assert caught.value.parameters == {"name": str(path), "key": "unit.2.role"}


@given(st.sampled_from(GOOD.splitlines()), st.text(max_size=30))
def test_any_line_of_a_job_file_may_be_anything(
    tmp_path_factory: pytest.TempPathFactory, line: str, text: str
) -> None:
    path = tmp_path_factory.getbasetemp() / "line.toml"
    path.write_bytes(GOOD.replace(line, text).encode("utf-8", "surrogatepass"))
    try:
        job_file(path)
    except CardprepError as error:
        assert error.reason  # noqa: PT017 - nothing else may come out
