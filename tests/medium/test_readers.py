"""Card readers as udev tells of them: which disks are readers, and what is in them."""

from __future__ import annotations

import os
import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import ClassVar

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cardprep.medium import system_readers
from cardprep.medium.readers import (
    Disk,
    Mount,
    Reader,
    ReaderKind,
    Udev,
    mounts_in,
    readers_among,
    removable_volumes,
)
from cardprep.medium.system_readers import MachineUdev, find_readers, mounts

# A register of an emulated card: CRC stripped by the host, made up otherwise.
CID = "aa585951454d552101deadbeef006200"
# Version 2 with TMP_WRITE_PROTECT; Source: SD Physical Layer Simplified Specification, 5.3.3.
LOCKED_CSD = "400e00325b590000ffff7f800a401000"
GIB = 1 << 30

USB = {"ID_BUS": "usb", "ID_VENDOR": "Generic-", "ID_MODEL": "SD_MMC", "DISKSEQ": "7"}


def disk(
    name: str,
    attributes: dict[str, str] | None = None,
    properties: dict[str, str] | None = None,
    above: Iterable[str] = (),
    numbers: Iterable[str] = ("8:0",),
) -> Disk:
    return Disk(
        name=name,
        path=f"/dev/{name}",
        numbers=frozenset(numbers),
        above=frozenset(above),
        properties=properties or {},
        attributes={"size": str(2 * GIB // 512), "ro": "0", "removable": "0", **(attributes or {})},
    )


@dataclass
class FakedUdev(Udev):
    """The udev of a machine that is made up."""

    found: list[Disk]

    def disks(self) -> Iterable[Disk]:
        return self.found


def one(found: Disk, *shown: Mount) -> Reader:
    (reader,) = readers_among(FakedUdev([found]).disks(), shown)
    return reader


NATIVE = disk(
    "mmcblk0",
    {"device/name": "SD32G", "device/cid": CID, "diskseq": "12", "device/vendor": "0x0000"},
    above=("mmc", "mmc_host", "pci"),
    numbers=("179:0", "179:1"),
)


def test_a_native_slot() -> None:
    reader = one(NATIVE, Mount("179:1", "/media/card"), Mount("8:1", "/"))
    assert reader.card is not None
    assert (reader.card.product, reader.card.serial) == ("QEMU!", 0xDEADBEEF)
    assert reader.cid == CID
    assert (reader.kind, reader.path, reader.size) == (ReaderKind.SD_SLOT, "/dev/mmcblk0", 2 * GIB)
    assert (reader.model, reader.serial, reader.disk_sequence) == ("SD32G", None, 12)
    assert reader.mounted == ("/media/card",)
    assert reader.has_card
    assert not reader.holds_system
    assert not reader.write_protected


def test_a_slot_of_a_usb_reader() -> None:
    texts = {"device/vendor": "Generic ", "device/model": "SD/MMC   CRW", "usb/serial": "0123A"}
    reader = one(disk("sdb", {**texts, "removable": "1", "ro": "1"}, USB, ("scsi", "usb")))
    assert (reader.kind, reader.model) == (ReaderKind.USB, "Generic SD/MMC CRW")
    assert (reader.serial, reader.disk_sequence) == ("0123A", 7)
    assert reader.write_protected
    assert (reader.cid, reader.card) == (None, None)


def test_a_reader_is_known_without_the_rules_of_udev() -> None:
    reader = one(disk("sdb", {"usb/manufacturer": "M", "usb/product": "P"}, above=("scsi", "usb")))
    assert (reader.kind, reader.model, reader.serial) == (ReaderKind.USB, "M P", None)


def test_what_udev_calls_it_when_sysfs_has_no_name() -> None:
    assert one(disk("sdb", None, USB)).model == "Generic- SD_MMC"
    assert one(disk("sdb", None, {"ID_DRIVE_FLASH_SD": "1"})).model == ""


@pytest.mark.parametrize(
    ("found", "kind"),
    [
        pytest.param(disk("sdb", None, {"ID_DRIVE_FLASH_SD": "1"}), "sd-slot", id="flash SD"),
        pytest.param(disk("mmcblk12"), "sd-slot", id="name only"),
        pytest.param(disk("mspblk0", above=("mmc",)), "sd-slot", id="subsystem only"),
        pytest.param(disk("sdb", {"removable": "1"}), "removable", id="removable"),
        pytest.param(disk("sda"), None, id="built-in disk"),
        pytest.param(disk("nvme0n1", {"removable": "0"}), None, id="built-in memory"),
        pytest.param(disk("loop3", {"removable": "1"}), None, id="loop device"),
        pytest.param(disk("sr0", {"removable": "1"}, USB), None, id="optical drive by name"),
        pytest.param(disk("sdc", {"removable": "1"}, {**USB, "ID_CDROM": "1"}), None, id="optical"),
        pytest.param(disk("fd0", {"removable": "1"}), None, id="floppy drive"),
        pytest.param(disk("dm-0"), None, id="mapped"),
        pytest.param(disk("zram0"), None, id="compressed memory"),
        pytest.param(disk("mmcblk0boot0", above=("mmc",)), None, id="boot partition"),
        pytest.param(disk("mmcblk0rpmb", above=("mmc",)), None, id="replay-protected block"),
    ],
)
def test_which_disks_are_readers(found: Disk, kind: str | None) -> None:
    kinds = [reader.kind.value for reader in readers_among([found], ())]
    assert kinds == ([] if kind is None else [kind])


def test_memory_that_is_soldered_in_is_no_card() -> None:
    boots = [disk(f"mmcblk0boot{n}", above=("mmc",)) for n in (0, 1)]
    card = disk("mmcblk1", above=("mmc",))
    found = readers_among([disk("mmcblk0", above=("mmc",)), *boots, card], ())
    assert [reader.path for reader in found] == ["/dev/mmcblk1"]


def test_readers_stand_in_the_order_of_their_paths() -> None:
    names = ("sdaa", "sdc", "sdb")
    found = readers_among([disk(name, None, USB) for name in names], ())
    assert [reader.path for reader in found] == ["/dev/sdb", "/dev/sdc", "/dev/sdaa"]


@pytest.mark.parametrize(
    ("size", "wanted", "has_card"),
    [("0", 0, False), ("1", 512, True), ("", None, True), ("-1", None, True), ("9" * 99, None, 1)],
)
def test_sizes(size: str, wanted: int | None, has_card: bool) -> None:
    reader = one(disk("sdb", {"size": size}, USB))
    assert (reader.size, reader.has_card) == (wanted, bool(has_card))


@pytest.mark.parametrize("place", ["/", "/boot/efi", "/home", "/cdrom"])
def test_the_disk_of_the_running_system_is_known(place: str) -> None:
    stick = disk("sda", None, USB, numbers=("8:0", "8:2", "253:0"))
    reader = one(stick, Mount("253:0", place), Mount("8:2", "/mnt"), Mount("253:0", place))
    assert reader.holds_system
    assert reader.mounted == (place, "/mnt")
    assert not one(stick, Mount("8:16", place)).holds_system


def test_a_locked_card() -> None:
    assert one(disk("mmcblk0", {"device/csd": LOCKED_CSD}, above=("mmc",))).write_protected
    open_csd = LOCKED_CSD[:-4] + "0000"
    assert not one(disk("mmcblk0", {"device/csd": open_csd}, above=("mmc",))).write_protected


@pytest.mark.parametrize("register", ["", "zz", "00", "\x1b[2J", "f" * 32])
def test_registers_that_are_none(register: str) -> None:
    hostile = {"device/cid": register, "device/csd": register}
    reader = one(disk("mmcblk0", hostile, above=("mmc",)))
    assert (reader.cid is None) == (reader.card is None) == (register != "f" * 32)
    assert not reader.write_protected


@given(st.text(), st.text(), st.text())
def test_what_a_device_calls_itself_does_no_harm(vendor: str, model: str, serial: str) -> None:
    texts = {"device/vendor": vendor, "device/model": model, "usb/serial": serial, "diskseq": model}
    reader = one(disk("sdb", texts, {"ID_BUS": "usb"}))
    for character in reader.model + (reader.serial or ""):
        assert character == " " or unicodedata.category(character)[0] not in "CZ"


# Source of the form: proc_pid_mountinfo(5), with its own example in the first line.
MOUNTINFO = rb"""36 35 98:0 /mnt1 /mnt2 rw,noatime master:1 - ext3 /dev/root rw,errors=continue
40 1 0:44 /@ / rw,relatime - btrfs /dev/sda2 rw,subvol=/@
41 1 8:17 / /media/NO\040NAME\134x rw shared:5 master:6 - vfat /dev/sdb1 rw
42 1 0:21 / /proc rw - proc proc rw
43 1 0:45 / /pool rw - zfs tank rw

half a line
44 1 8:33 / /media/\303\251\377 rw - vfat
"""


def test_what_is_mounted() -> None:
    found = mounts_in(MOUNTINFO, {"/dev/sda2": "8:2"}.get)
    assert found == (
        Mount("98:0", "/mnt2"),
        Mount("8:2", "/"),
        Mount("8:17", "/media/NO NAME\\x"),
        Mount("8:33", "/media/é\udcff"),
    )


@given(st.binary())
def test_any_bytes_give_mounts_or_none(text: bytes) -> None:
    for mount in mounts_in(text, lambda _: None):
        assert not mount.number.startswith("0:")


@dataclass(frozen=True)
class Volume:
    """A mounted volume as psutil tells of it."""

    device: str
    mountpoint: str
    opts: str


def test_elsewhere_the_system_says_what_is_removable() -> None:
    volumes = [
        Volume("C:\\", "C:\\", "rw,fixed"),
        Volume("D:\\", "D:\\", "ro,cdrom,removable"),
        Volume("E:\\", "E:\\", "rw,removable"),
        Volume("F:\\", "F:\\", "ro,removable"),
    ]
    found = removable_volumes(volumes, "win32")
    assert [(reader.path, reader.write_protected) for reader in found] == [
        ("E:/", False),
        ("F:/", True),
    ]
    for reader in found:
        assert (reader.kind, reader.size) == (ReaderKind.REMOVABLE, None)
        assert reader.has_card
    (kept,) = removable_volumes([Volume("/dev/x", "/a\\b", "removable,rootfs")], "darwin")
    assert kept.path == "/a\\b"
    assert kept.holds_system


# --- this very machine


def test_every_disk_of_this_machine_is_seen() -> None:
    there = {path.name for path in Path("/sys/block").iterdir()}
    seen = {found.name: found for found in MachineUdev().disks()}
    assert seen.keys() == there
    for name, found in seen.items():
        folder = Path("/sys/block") / name
        numbers = {path.read_text().strip() for path in folder.glob("*/dev")}
        assert found.numbers >= numbers | {(folder / "dev").read_text().strip()}
        assert set(found.attributes) >= {"size", "ro", "removable"}
        assert found.attributes["removable"] == (folder / "removable").read_text().strip()
        assert Path(found.path).is_block_device()


def test_every_reader_of_this_machine_is_there() -> None:
    found = find_readers("linux")
    assert found is not None
    for reader in found:
        assert Path(reader.path).is_block_device()
        assert reader.size is None or reader.size % 512 == 0
        assert all(Path(where).is_dir() for where in reader.mounted)


def test_this_machine_runs_from_no_disk_that_is_offered() -> None:
    number = Path("/").stat().st_dev
    root = f"{os.major(number)}:{os.minor(number)}"
    for found in MachineUdev().disks():
        if root in found.numbers:
            # Made removable, it would be listed, and not be offered.
            listed = readers_among([disk("sdz", None, USB, numbers=found.numbers)], mounts())
            assert [reader.holds_system for reader in listed] == [True]


def test_what_is_built_on_a_disk_belongs_to_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    numbers = {"sdb": "8:16", "sdb1": "8:17", "dm-0": "253:0", "dm-1": "253:1"}
    for name, number in numbers.items():
        (tmp_path / name / "holders").mkdir(parents=True)
        (tmp_path / name / "dev").write_text(f"{number}\n")
    (tmp_path / "sdb" / "sdb1").mkdir()
    (tmp_path / "sdb" / "sdb1" / "partition").write_text("1\n")
    # A table of its own for each; the last one leads back to where it began.
    for name, holder in (("sdb1", "dm-0"), ("dm-0", "dm-1"), ("dm-1", "sdb1"), ("dm-1", "gone")):
        (tmp_path / name / "holders" / holder).mkdir()
    monkeypatch.setattr(system_readers, "_CLASS", tmp_path)
    assert set(system_readers._numbers("sdb")) == set(numbers.values())


class FakedDevice:
    """A device in pyudev's form, with some answers that no text can hold."""

    sys_name = "sdzz"
    device_node = "/dev/sdzz"
    attributes: ClassVar = {"size": b"8", "device/model": b" M\xff ", "device/vendor": b"V"}

    def __init__(self, subsystem: str, usb: FakedDevice | None = None) -> None:
        self.subsystem = subsystem
        self.usb = usb
        self.ancestors = [usb] if usb else []
        self.properties = self

    def find_parent(self, subsystem: str, device_type: str) -> FakedDevice | None:
        assert (subsystem, device_type) == ("usb", "usb_device")
        return self.usb

    def get(self, name: str) -> str | None:
        if name == "ID_MODEL":
            raise UnicodeDecodeError("utf-8", b"\xff", 0, 1, "no text")
        return "usb" if name == "ID_BUS" else None


def test_a_usb_device_is_asked_what_it_is_called() -> None:
    usb = FakedDevice("usb")
    usb.attributes = {"serial": b"77\x1b", "product": b"P"}  # type: ignore[misc]
    found = system_readers._disk(FakedDevice("block", usb))
    assert found.above == {"usb"}
    assert found.numbers == frozenset()
    assert found.properties == {"ID_BUS": "usb"}
    assert found.attributes == {
        "size": "8",
        "device/model": "M\udcff",
        "device/vendor": "V",
        "usb/serial": "77\x1b",
        "usb/product": "P",
    }
    reader = one(found)
    assert (reader.model, reader.serial) == (r"V M\udcff", r"77\x1b")


def test_a_system_that_does_not_tell(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(system_readers, "_MOUNTINFO", tmp_path / "none")
    assert find_readers("linux") is None


def test_other_systems_are_asked_for_their_volumes() -> None:
    assert find_readers("win32") is not None


def test_numbers_of_devices_that_file_systems_name(tmp_path: Path) -> None:
    assert system_readers._number_of(str(tmp_path)) is None
    assert system_readers._number_of(str(tmp_path / "none")) is None
    assert system_readers._number_of("/dev/\0") is None
    for found in MachineUdev().disks():
        assert system_readers._number_of(found.path) in found.numbers
