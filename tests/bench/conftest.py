"""A workshop in a temporary folder, invented as in the demonstration."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from cardprep.bench.intake import take_in
from cardprep.bench.intake_facts import IntakeFacts
from cardprep.bench.jobs import Visit, open_job, plan_job
from cardprep.bench.open import Bench, Place, new_shop, open_bench
from cardprep.bench.sign import sign_manifest
from cardprep.cli import words
from cardprep.job.visit import Display, JobName, Vessel
from cardprep.progress import Cancel, silent
from cardprep.sshsig import PrivateKey
from cardprep.terms import Version
from scripts.demo_files import DISPLAYS_AND_MODELS, write_files

SEED = bytes(range(32))


class Clock:
    """A clock that goes on by a minute whenever it is asked."""

    def __init__(self) -> None:
        self.minutes = 0

    def __call__(self) -> str:
        self.minutes += 1
        return f"2026-11-25T{20 + self.minutes // 60:02d}:{self.minutes % 60:02d}:00Z"


@pytest.fixture
def place(tmp_path: Path) -> Place:
    return Place(
        shop=tmp_path / "shop",
        settings=tmp_path / "settings",
        agent_socket=None,
        version="0",
        clock=Clock(),
    )


@pytest.fixture
def shop(place: Place) -> Place:
    """Make a shop folder with the demonstration's displays and models, and nothing on the shelf."""
    new_shop(
        place,
        name="Gannet Slip Marine Electronics",
        bench="B",
        operator="R. Tarn",
        key=PrivateKey(SEED),
    )
    manifest = place.shop / "manifest.toml"
    manifest.write_text(manifest.read_text("utf-8") + DISPLAYS_AND_MODELS, "utf-8")
    return place


@pytest.fixture
def downloads(tmp_path: Path) -> tuple[Path, Path]:
    """Bootloader and application, as they would lie in a download folder."""
    return write_files(tmp_path / "downloads")


def boot_facts() -> IntakeFacts:
    return IntakeFacts(
        models=("OV-V40",),
        type="bootloader",
        version=Version("3.10"),
        released=words.moment("2026-03-02"),
        known_by=words.known_by("own-download", "https://ottervane.example/v40", "2026-11-20"),
        leaves=words.leaves("waiting for application"),
    )


def app_facts() -> IntakeFacts:
    return IntakeFacts(
        models=("OV-V40",),
        type="application",
        version=Version("4.30"),
        released=words.moment("2026-05-12"),
        known_by=words.known_by("support-ticket", "T-1174", None),
        needs=(("bootloader", Version("3.10")),),
        carried=words.carried(["OV-H4 application 2.41 PROGRAM stands on the screen"]),
    )


@pytest.fixture
def bench(shop: Place, downloads: tuple[Path, Path]) -> Iterator[Bench]:
    """Open an evening: both files taken in, manifest signed, a job opened and planned."""
    with open_bench(shop, "test") as opened:
        take_in(opened, downloads[0], boot_facts(), silent, Cancel())
        take_in(opened, downloads[1], app_facts(), silent, Cancel())
        sign_manifest(opened)
    with open_bench(shop, "test") as opened:
        unit = words.unit(
            "model=OV-V40; role=main radio; serial=V40-00317; handset=OV-H4; has bootloader=3.02;"
            "has application=4.17; wants application=4.30"
        )
        vessel = Vessel(name="Saltwhistle", mmsi="211123456")
        open_job(opened, Visit(vessel=vessel, display=Display(model="OV-D9"), units=(unit,)))
        plan_job(opened, JobName("B", 1))
        yield opened
