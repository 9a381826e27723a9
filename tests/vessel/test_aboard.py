"""What is told of a vessel, held against what the manifest knows."""

from __future__ import annotations

import pytest

from cardprep.cli import words
from cardprep.errors import CardprepError
from cardprep.job.visit import Display, Unit, Vessel
from cardprep.manifest.model import Manifest
from cardprep.manifest.text import parse
from cardprep.vessel.aboard import Mention, check_visit, unasked

TEXT = """
format = 1
serial = 1
shop = "Gannet Slip"

[[display]]
model = "OV-D9"
file_systems = ["fat32"]

[[model]]
name = "OV-V40"
kind = "radio"
role = "fixed VHF radio"
types = ["bootloader", "application"]
companion = { model = "OV-H4", presence = "optional" }

[[model]]
name = "OV-V42"
kind = "radio"
role = "fixed VHF radio"
types = ["application"]
companion = { model = "OV-H4", presence = "always" }
versions = { application = ["A", "B"] }

[[model]]
name = "OV-H4"
kind = "handset"
role = "handset"
types = ["application"]

[[model]]
name = "OV-N2"
kind = "instrument"
role = "wind instrument"
types = ["application"]
"""
VESSEL = Vessel(name="Saltwhistle", mmsi="211123456")
DISPLAY = Display(model="OV-D9")


@pytest.fixture(scope="module")
def manifest() -> Manifest:
    return parse(TEXT.encode(), file="manifest.toml")


def unit(text: str) -> Unit:
    return words.unit(text)


GOOD = unit("model=OV-V40; role=main radio; handset=unknown; wants application=4.30")


def test_a_visit_that_is_right(manifest: Manifest) -> None:
    assert check_visit(VESSEL, (DISPLAY,), (GOOD,), manifest) == ()


def test_what_is_worth_a_mention(manifest: Manifest) -> None:
    kept = unit("model=OV-N2; role=wind; has application=1.0")
    vessel = Vessel(name="Saltwhistle", mmsi="217123456")
    assert check_visit(vessel, (DISPLAY,), (GOOD, kept), manifest) == (
        Mention("mention.country", "217"),
        Mention("mention.no-wish", "wind, OV-N2"),
    )


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        pytest.param("model=OV-V4O; role=r", "job.model-unknown", id="a letter for a digit"),
        pytest.param("model=OV-N2; role=r; has bootloader=1", "job.type-unknown", id="a type"),
        pytest.param("model=OV-V40; role=r", "job.handset-unasked", id="nobody asked"),
        pytest.param("model=OV-V42; role=r; handset=none", "job.handset-always", id="always"),
        pytest.param("model=OV-V40; role=r; handset=OV-H5", "job.handset-other", id="another"),
        pytest.param("model=OV-N2; role=r; handset=OV-H4", "job.no-handset", id="has none"),
        pytest.param(
            "model=OV-V42; role=r; handset=OV-H4; has application=C",
            "job.version-order",
            id="a version that is not on the list",
        ),
        pytest.param(
            "model=OV-V40; role=r; handset=none; wants application=4.x",
            "job.version-order",
            id="a version that has no place",
        ),
    ],
)
def test_what_cannot_be_right(manifest: Manifest, text: str, reason: str) -> None:
    with pytest.raises(CardprepError) as caught:
        check_visit(VESSEL, (DISPLAY,), (unit(text),), manifest)
    assert caught.value.reason == reason


def test_what_was_most_likely_meant_is_named(manifest: Manifest) -> None:
    with pytest.raises(CardprepError) as caught:
        check_visit(VESSEL, (Display(model="OV-D8"),), (GOOD,), manifest)
    assert caught.value.reason == "job.display-unknown"
    assert caught.value.parameters["meant"] == "OV-D9"


@pytest.mark.parametrize(
    ("mmsi", "reason"),
    [
        pytest.param("123456789", "job.mmsi-form", id="no form"),
        pytest.param("002111234", "job.mmsi-kind", id="a coast station"),
        pytest.param("821112345", "job.mmsi-kind", id="a handheld radio"),
    ],
)
def test_an_mmsi_that_is_no_vessels(manifest: Manifest, mmsi: str, reason: str) -> None:
    with pytest.raises(CardprepError) as caught:
        check_visit(Vessel(name="S", mmsi=mmsi), (DISPLAY,), (GOOD,), manifest)
    assert caught.value.reason == reason


def test_one_serial_twice(manifest: Manifest) -> None:
    one = unit("model=OV-N2; role=wind; serial=7")
    other = unit("model=OV-N2; role=more wind; serial=7")
    with pytest.raises(CardprepError) as caught:
        check_visit(VESSEL, (DISPLAY,), (one, other), manifest)
    assert caught.value.reason == "job.serial-twice"


def test_who_is_to_be_asked_for(manifest: Manifest) -> None:
    silent = unit("model=OV-V40; role=main radio")
    wind = unit("model=OV-N2; role=wind")
    assert [number for number, _ in unasked((wind, silent, GOOD), manifest)] == [1]
