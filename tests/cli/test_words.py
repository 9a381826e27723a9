"""Words of the command line and of a job file, read into values or refused."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, date, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cardprep.cli import words
from cardprep.errors import BadValueError, CardprepError
from cardprep.job.visit import Found, Unit
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


def test_how_a_unit_is_found_and_what_its_handset_has() -> None:
    told = words.unit(
        "model=OV-V40; role=main; handset=OV-H4; handset has application=2.30;"
        "handset wants application=2.41; found=Handset blank; may fall=application, bootloader;"
        "displays=OV-D9"
    )
    assert told.companion_versions == {"application": Version("2.30")}
    assert told.companion_wanted == {"application": Version("2.41")}
    assert told.found is Found.HANDSET_BLANK
    assert told.may_fall == ("application", "bootloader")
    assert told.displays == ("OV-D9",)
    assert Unit.from_record(told.to_record(), "unit") == told
    with pytest.raises(BadValueError) as caught:
        words.found_as("dark")
    assert caught.value.reason == "words.found"
