"""From a plan to stages: the display's folder and volume, and what does not fit."""

from __future__ import annotations

from typing import Any

import pytest

from cardprep.errors import BadValueError, LayoutError, NoPlanError
from cardprep.layout.geometry import USUAL_SIZES
from cardprep.manifest.model import FileSystem, PartitionTable
from cardprep.terms import APPLICATION, BOOTLOADER, GIB, MIB
from cardprep.vessel.card_room import volume_settings
from cardprep.vessel.plan import plan
from cardprep.vessel.stages import stages_of
from tests.manifests import display_facts
from tests.vessel.visits import image, job, manifest, unit

APP = image(APPLICATION, "4.30", needs=((None, BOOTLOADER, "3.10"),))
BOOT = image(BOOTLOADER, "3.10")


def test_stages_stand_in_the_displays_folder_and_volume() -> None:
    has = {"bootloader": "3.02", "application": "4.17"}
    opened = job(unit(has, {"application": "4.30"}))
    shelf = manifest(APP, BOOT, displays=(display_facts(folder="UPDATE/RADIO"),))
    stages = stages_of(opened, plan(opened, shelf), shelf)
    assert [(stage.number, stage.of) for stage in stages] == [(1, 2), (2, 2)]
    assert stages[0].files[0].path == ("UPDATE", "RADIO", BOOT.file)
    assert stages[1].files[0].released == "2026-05-12T00:00:00Z"
    assert stages[0].settings.file_systems == ("fat16", "fat32")


@pytest.mark.parametrize(
    ("display", "reason"),
    [
        pytest.param(display_facts(model="OV-D7"), "plan.unknown-display", id="not known"),
        pytest.param(
            display_facts(file_systems=(FileSystem.EXFAT,)), "plan.file-system", id="exFAT only"
        ),
        pytest.param(display_facts(largest_card=1000), "layout.display-too-small", id="small"),
    ],
)
def test_displays_for_which_nothing_is_written(display: Any, reason: str) -> None:  # noqa: ANN401
    opened = job(unit({"bootloader": "3.10"}, {"application": "4.30"}))
    shelf = manifest(APP, BOOT, displays=(display,))
    with pytest.raises((NoPlanError, LayoutError)) as caught:
        stages_of(opened, plan(opened, shelf), shelf)
    assert caught.value.reason == reason


def test_a_stage_too_large_for_the_display() -> None:
    huge = image(APPLICATION, "4.30", size=3 * GIB)
    opened = job(unit({}, {"application": "4.30"}))
    shelf = manifest(huge, displays=(display_facts(largest_card=2 * 10**9),))
    with pytest.raises(NoPlanError):
        plan(opened, shelf)


def test_a_size_that_no_volume_has_is_refused() -> None:
    with pytest.raises(BadValueError) as caught:
        volume_settings(display_facts(volume_size=64 * 10**9))
    assert caught.value.reason == "stage.volume-size"


@pytest.mark.parametrize("printed", [2, 4, 8, 16, 32])
def test_a_printed_size_is_what_such_cards_hold(printed: int) -> None:
    """As the manifest's own remarks show it: volume_size = "4 GB"."""
    settings = volume_settings(display_facts(volume_size=printed * 10**9))
    assert settings.volume_size in USUAL_SIZES
    assert settings.volume_size < printed * 10**9


def test_only_the_file_systems_that_are_laid_out_are_asked_for() -> None:
    settings = volume_settings(
        display_facts(
            file_systems=(FileSystem.EXFAT, FileSystem.FAT32),
            volume_size=512 * MIB,
            partition_table=PartitionTable.NONE,
        )
    )
    assert settings.file_systems == ("fat32",)
    assert settings.volume_size == 512 * MIB
    assert settings.partition_table == "none"


def test_a_name_that_no_card_can_hold_is_refused_when_it_is_planned() -> None:
    shelf = manifest(image(APPLICATION, "4.30", file="AUX.BIN"))
    opened = job(unit({}, {"application": "4.30"}))
    with pytest.raises(LayoutError) as caught:
        stages_of(opened, plan(opened, shelf), shelf)
    assert caught.value.reason == "layout.name-device"
