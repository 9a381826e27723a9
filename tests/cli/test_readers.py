"""The command ``readers``: what it lists, what it offers, what it says when there is nothing."""

from __future__ import annotations

import json
from dataclasses import replace
from typing import Any

import pytest

from cardprep.bench import readers as bench_readers
from cardprep.cli.run import run
from cardprep.medium.readers import Reader, ReaderKind
from cardprep.medium.registers import CardIdentification

CID = "aa585951454d552101deadbeef006200"
HOSTILE = "a\x1b[2J\u202e\nUSE\udcff"
USB = Reader(
    path="/dev/sdb",
    kind=ReaderKind.USB,
    size=31_914_983_424,
    model="Generic SD/MMC CRW",
    serial="0123A",
    cid=None,
    card=None,
    write_protected=True,
    disk_sequence=9,
    mounted=("/media/NO NAME",),
    holds_system=False,
)
EMPTY = replace(USB, path="/dev/sdc", size=0, write_protected=False, mounted=())
NATIVE = replace(
    USB,
    path="/dev/mmcblk0",
    kind=ReaderKind.SD_SLOT,
    cid=CID,
    card=CardIdentification.parse(CID),
    serial=None,
    mounted=(),
)
SYSTEM = replace(USB, path="/dev/sda", mounted=("/", "/boot"), holds_system=True)
UNTOLD = replace(USB, path="E:/", kind=ReaderKind.REMOVABLE, size=None, model="", serial=None)


class Asked:
    """The program on a machine with readers that are made up."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
        self._monkeypatch = monkeypatch
        self._capsys = capsys
        monkeypatch.setenv("COLUMNS", "80")

    def lines(self, *readers: Reader, told: bool = True) -> str:
        found = readers if told else None
        self._monkeypatch.setattr(bench_readers, "find_readers", lambda _platform: found)
        assert run(["readers"]) == 0
        return self._capsys.readouterr().out

    def object(self, *readers: Reader, told: bool = True) -> Any:  # noqa: ANN401 - whatever JSON holds
        found = readers if told else None
        self._monkeypatch.setattr(bench_readers, "find_readers", lambda _platform: found)
        assert run(["readers", "--json"]) == 0
        return json.loads(self._capsys.readouterr().out)


@pytest.fixture
def machine(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Asked:
    return Asked(monkeypatch, capsys)


def test_a_card_in_a_usb_reader(machine: Asked) -> None:
    assert machine.lines(USB) == (
        "/dev/sdb  USB reader or disk, 29.7 GiB (31914983424 bytes)\n"
        "    Generic SD/MMC CRW\n"
        "    USB serial number 0123A\n"
        "    write-protected\n"
        "    mounted at /media/NO NAME\n"
        "next: cardprep check /dev/sdb\n"
    )


def test_a_card_in_a_native_slot_shows_its_register(machine: Asked) -> None:
    said = machine.lines(NATIVE)
    assert "SD slot" in said
    assert "card QEMU!, serial number deadbeef, made 2006-02" in said
    assert f"CID {CID}" in said


def test_the_system_s_own_disk_is_never_offered(machine: Asked) -> None:
    said = machine.lines(SYSTEM, EMPTY)
    assert "this computer's own system runs from it" in said
    assert "/dev/sdc  USB reader or disk, no card in it" in said
    assert "next:" not in said
    assert "put one in" in said
    assert machine.lines(SYSTEM, USB).endswith("next: cardprep check /dev/sdb\n")
    offered = [one["offered"] for one in machine.object(SYSTEM, EMPTY, USB)["readers"]]
    assert offered == [False, False, True]


def test_nothing_is_there(machine: Asked) -> None:
    said = machine.lines()
    assert "image file" in said
    assert "put a card in" in said
    assert machine.object() == {"readers": [], "was_told": True}


def test_a_system_that_does_not_tell_is_not_one_without_readers(machine: Asked) -> None:
    said = machine.lines(told=False)
    assert "does not tell" in said
    assert said != machine.lines()
    assert machine.object(told=False) == {"readers": [], "was_told": False}


def test_a_size_that_is_not_told(machine: Asked) -> None:
    said = machine.lines(UNTOLD)
    assert said.startswith("E:/  removable disk\n")
    assert said.endswith("next: cardprep check E:/\n")


def test_objects_have_all_that_is_known(machine: Asked) -> None:
    (found,) = machine.object(NATIVE)["readers"]
    assert found == {
        "path": "/dev/mmcblk0",
        "kind": "sd-slot",
        "has_card": True,
        "offered": True,
        "size": 31_914_983_424,
        "model": "Generic SD/MMC CRW",
        "usb_serial": None,
        "cid": CID,
        "card": {
            "maker": 0xAA,
            "owner": "XY",
            "product": "QEMU!",
            "revision": "0.1",
            "serial": 0xDEADBEEF,
            "made": "2006-02",
            "checksum_holds": None,
        },
        "write_protected": True,
        "disk_sequence": 9,
        "mounted": [],
        "holds_system": False,
    }


def test_hostile_places_do_no_harm(machine: Asked) -> None:
    hostile = replace(USB, path=f"/media/{HOSTILE}", mounted=(HOSTILE,))
    for said in (machine.lines(hostile), *machine.object(hostile)["readers"][0]["mounted"]):
        assert "\x1b" not in said
        assert "\u202e" not in said
        assert "\nUSE" not in said


def test_this_machine(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["readers"]) == 0
    assert capsys.readouterr().out
    assert run(["readers", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["was_told"] is True
