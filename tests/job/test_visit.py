"""The values of a visit and of a stage, and the strict doors to records and back."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cardprep import canonical
from cardprep.errors import BadValueError, CardprepError
from cardprep.job.stage import Stage, StageFile, VolumeSettings
from cardprep.job.visit import JOB_MOST, Display, Job, JobName, Unit, Vessel
from cardprep.terms import APPLICATION, BOOTLOADER, CHART_DATA, MIB, Version
from tests.stages import make_stage


@pytest.mark.parametrize(
    ("number", "text"),
    [
        pytest.param(1, "B1", id="first"),
        pytest.param(238, "B238", id="as in the design"),
        pytest.param(9999, "B9999", id="last in decimal"),
        pytest.param(10000, "BA000", id="first in base 36"),
        pytest.param(10035, "BA00Z", id="last digit"),
        pytest.param(10036, "BA010", id="carried"),
        pytest.param(JOB_MOST, "BZZZZ", id="last of all"),
    ],
)
def test_names_of_jobs(number: int, text: str) -> None:
    assert str(JobName("B", number)) == text
    assert JobName.parse(text) == JobName("B", number)
    assert JobName.parse(f" {text.lower()} ") == JobName("B", number)


@given(st.integers(1, JOB_MOST), st.integers(1, JOB_MOST))
def test_each_number_has_its_own_name(one: int, other: int) -> None:
    names = [str(JobName("B", number)) for number in (one, other)]
    assert (names[0] == names[1]) is (one == other)
    assert JobName.parse(names[0]).number == one
    assert len(names[0]) <= 5


@pytest.mark.parametrize(
    "text", ["", "B", "B0", "B01", "238", "B10000", "B12A", "BA00", "B-1", "Ñ1", "B1\n2"]
)
def test_what_is_no_job(text: str) -> None:
    with pytest.raises(BadValueError) as caught:
        JobName.parse(text)
    assert caught.value.reason == "job.name"


@pytest.mark.parametrize(("bench", "number"), [("b", 1), ("", 1), ("B", 0), ("B", JOB_MOST + 1)])
def test_what_cannot_be_made_a_job(bench: str, number: int) -> None:
    with pytest.raises(BadValueError):
        JobName(bench, number)


@pytest.mark.parametrize(
    ("make", "reason"),
    [
        pytest.param(lambda: Vessel(name=""), "job.line", id="no name"),
        pytest.param(lambda: Vessel(name="a\nb"), "job.line", id="line break"),
        pytest.param(lambda: Vessel(name="a\u202eb"), "job.line", id="turned round"),
        pytest.param(lambda: Vessel(name="x" * 201), "job.line", id="endless"),
        pytest.param(lambda: Vessel(name="S", mmsi="12345678"), "job.mmsi", id="eight digits"),
        pytest.param(lambda: Vessel(name="S", mmsi="12345678x"), "job.mmsi", id="a letter"),
        pytest.param(lambda: Unit(model="", role="r"), "job.line", id="no model"),
        pytest.param(lambda: Unit(model="m", role=" "), "job.line", id="no role"),
        pytest.param(lambda: Unit(model="m", role="r", serial="\0"), "job.line", id="serial"),
        pytest.param(lambda: Display(model=""), "job.line", id="no display"),
        pytest.param(
            lambda: Job(
                name=JobName("B", 1),
                vessel=Vessel(name="S"),
                display=Display(model="D"),
                units=(),
            ),
            "job.no-units",
            id="no units",
        ),
    ],
)
def test_what_no_sheet_could_carry(make: Callable[[], object], reason: str) -> None:
    with pytest.raises(BadValueError) as caught:
        make()
    assert caught.value.reason == reason


def test_names_in_any_script_are_fine() -> None:
    # Leading zeros of an MMSI are data.
    for name in ("Saltwhistle", "Ναυτίλος", "Łódź", "سفينة", "海の星", "back\\slash"):
        assert Vessel(name=name, mmsi="002111234").name == name


@pytest.mark.parametrize(
    ("change", "reason"),
    [
        pytest.param({"path": ()}, "stage.path", id="no path"),
        pytest.param({"path": ("a", "")}, "stage.path", id="empty part"),
        pytest.param({"size": -1}, "stage.size", id="size"),
        pytest.param({"sha256": "x"}, "stage.digest", id="digest"),
        pytest.param({"sha256": "A" * 64}, "stage.digest", id="capitals"),
        pytest.param({"released": "2026-02-14"}, "stage.released", id="a day alone"),
    ],
)
def test_what_is_no_file_of_a_stage(change: dict[str, Any], reason: str) -> None:
    values: dict[str, Any] = {
        "path": ("A.BIN",),
        "size": 1,
        "sha256": "0" * 64,
        "image_type": APPLICATION,
        "models": ("OV-V40",),
        "version": Version("1"),
        "released": "2026-02-14T13:37:42Z",
    }
    StageFile(**values)
    with pytest.raises(BadValueError) as caught:
        StageFile(**values | change)
    assert caught.value.reason == reason


@pytest.mark.parametrize(
    ("change", "reason"),
    [
        pytest.param({"file_systems": ()}, "stage.file-systems", id="none"),
        pytest.param({"file_systems": ("exfat",)}, "stage.file-systems", id="exFAT"),
        pytest.param({"partition_table": "gpt"}, "stage.partition-table", id="GPT"),
        pytest.param({"volume_size": MIB}, "stage.volume-size", id="small"),
        pytest.param({"volume_size": 64 * MIB + 1}, "stage.volume-size", id="no whole MiB"),
    ],
)
def test_what_is_not_laid_out(change: dict[str, Any], reason: str) -> None:
    with pytest.raises(BadValueError) as caught:
        VolumeSettings(**change)
    assert caught.value.reason == reason


def test_what_is_no_stage() -> None:
    for numbers in ((0, 1), (2, 1), (1, 100)):
        with pytest.raises(BadValueError) as caught:
            make_stage([(("A",), b"")], number=numbers[0], of=numbers[1])
        assert caught.value.reason == "stage.number"
    with pytest.raises(BadValueError) as caught:
        make_stage([])
    assert caught.value.reason == "stage.empty"


# --- records

LINES = st.text(st.characters(codec="utf-8", categories=("L", "N")), min_size=1, max_size=20)
VERSIONS = st.from_regex(r"[0-9]{1,3}\.[0-9]{1,3}", fullmatch=True).map(Version)
KINDS = st.sampled_from([kind.word for kind in (BOOTLOADER, APPLICATION, CHART_DATA)])
UNITS = st.builds(
    Unit,
    model=LINES,
    role=LINES,
    serial=st.none() | LINES,
    versions=st.dictionaries(KINDS, st.none() | VERSIONS),
    wanted=st.dictionaries(KINDS, VERSIONS),
)
JOBS = st.builds(
    Job,
    name=st.builds(JobName, st.sampled_from("ABZ"), st.integers(1, JOB_MOST)),
    vessel=st.builds(Vessel, name=LINES, mmsi=st.none() | st.just("211123456")),
    display=st.builds(Display, model=LINES, software=st.none() | VERSIONS),
    units=st.lists(UNITS, min_size=1, max_size=4).map(tuple),
)


@given(JOBS)
def test_a_job_comes_back_from_its_record(job: Job) -> None:
    line = canonical.dumps(job.to_record())
    assert Job.from_record(canonical.loads(line)) == job


def test_a_stage_comes_back_from_its_record() -> None:
    changes: list[dict[str, Any]] = [{}, {"volume_size": 64 * MIB, "largest_card": 10**9}]
    for settings in changes:
        stage, _ = make_stage([(("d", "A.BIN"), b"x"), (("B",), b"")], **settings)
        assert Stage.from_record(canonical.loads(canonical.dumps(stage.to_record()))) == stage


JSON = st.recursive(
    st.none() | st.booleans() | st.integers(-(2**53), 2**53) | st.text(max_size=10),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=8), inner),
    max_leaves=12,
)


@given(JSON)
def test_any_value_is_a_job_or_a_refusal(value: Any) -> None:  # noqa: ANN401
    for read in (Job.from_record, Stage.from_record):
        with pytest.raises(CardprepError):
            read(value)
