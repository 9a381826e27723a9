"""Where a capture may be made: a new file, never a device, never on the card itself."""

from __future__ import annotations

import os
import stat
import subprocess
from pathlib import Path

import pytest

from cardprep.bench.capture_place import require_place
from cardprep.errors import CaptureRefusedError
from tests.cards import ENVIRONMENT, MIB, run


def refused(card: Path, target: Path, sysfs: Path = Path("/sys/dev/block")) -> str:
    with pytest.raises(CaptureRefusedError) as caught:
        require_place(card, target, sysfs)
    return caught.value.reason


@pytest.fixture
def card(tmp_path: Path) -> Path:
    path = tmp_path / "card.img"
    path.write_bytes(bytes(512))
    return path


def test_a_new_file_in_a_folder(card: Path, tmp_path: Path) -> None:
    require_place(card, tmp_path / "c.zip")
    assert sorted(path.name for path in tmp_path.iterdir()) == ["card.img"]


def test_what_is_there_stays(card: Path, tmp_path: Path) -> None:
    assert refused(card, card) == "capture.exists"
    assert refused(card, tmp_path) == "capture.exists"
    assert refused(card, Path("/dev/null")) == "capture.exists"
    (tmp_path / "link").symlink_to(tmp_path / "nowhere")
    assert refused(card, tmp_path / "link") == "capture.exists"
    os.mkfifo(tmp_path / "pipe")
    assert refused(card, tmp_path / "pipe") == "capture.exists"


def test_a_place_that_is_none(card: Path, tmp_path: Path) -> None:
    (tmp_path / "devices").symlink_to("/dev")
    for target in (
        tmp_path / "none" / "c.zip",
        card / "c.zip",
        Path("/dev/sdq"),
        tmp_path / "devices" / "sdq",
        tmp_path / ("x" * 300),
        tmp_path / "a\0b",
    ):
        assert refused(card, target) == "capture.place"


def made_up_sysfs(folder: Path, number: str, *, partition: bool) -> tuple[Path, Path]:
    """Return a sysfs in which a device stands on another one, and the folder of that one."""
    disk = folder / "devices" / "disk"
    device = disk / "part" if partition else folder / "devices" / "mapped"
    device.mkdir(parents=True)
    disk.mkdir(exist_ok=True)
    if partition:
        (device / "partition").write_text("1\n", encoding="ascii")
    else:
        (device / "slaves").mkdir()
        (device / "slaves" / "disk").symlink_to(disk)
    sysfs = folder / "dev" / "block"
    sysfs.mkdir(parents=True)
    (sysfs / number).symlink_to(device)
    return sysfs, disk


@pytest.mark.parametrize("partition", [True, False])
def test_on_a_partition_or_a_mapping_of_the_card(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, partition: bool
) -> None:
    number = tmp_path.stat().st_dev
    here = f"{os.major(number)}:{os.minor(number)}"
    sysfs, disk = made_up_sysfs(tmp_path, here, partition=partition)
    whole = Path.stat

    card = tmp_path / "reader"
    card.write_bytes(b"")

    def as_device(path: Path, **more: bool) -> os.stat_result:
        found = whole(path, **more)
        if path == card:
            return os.stat_result((stat.S_IFBLK, *found[1:10]), {"st_rdev": os.makedev(8, 16)})
        return found

    monkeypatch.setattr(Path, "stat", as_device)
    (disk / "dev").write_text("8:32\n", encoding="ascii")
    require_place(card, tmp_path / "c.zip", sysfs)
    (disk / "dev").write_text("8:16\n", encoding="ascii")
    assert refused(card, tmp_path / "c.zip", sysfs) == "capture.on-card"


def test_on_a_volume_that_lies_in_the_image(tmp_path: Path) -> None:
    card = tmp_path / "card.img"
    card.write_bytes(bytes(4 * MIB))
    made = subprocess.run(
        ["losetup", "--find", "--show", str(card)],
        env=ENVIRONMENT,
        capture_output=True,
        text=True,
        check=False,
    )
    if made.returncode:
        pytest.skip("this user may not make a block device")
    device, folder = Path(made.stdout.strip()), tmp_path / "mounted"
    folder.mkdir()
    try:
        run("mkfs.ext4", "-q", device)
        mounted = subprocess.run(
            ["mount", str(device), str(folder)], env=ENVIRONMENT, capture_output=True, check=False
        )
        if mounted.returncode:
            pytest.skip("this user may not mount")
        try:
            assert refused(card, folder / "c.zip") == "capture.on-card"
            assert refused(device, folder / "c.zip") == "capture.on-card"
            require_place(card, tmp_path / "c.zip")
        finally:
            run("umount", folder)
    finally:
        run("losetup", "--detach", device)
