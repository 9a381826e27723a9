"""ELF: both classes and byte orders, cut short, contradicting, and what objcopy writes."""

from __future__ import annotations

import struct
import subprocess
from collections.abc import Mapping
from pathlib import Path

import pytest
from elftools.elf.elffile import ELFFile

from cardprep.images.report import Soundness
from tests.images.fed import broken_at, reasons, report_of, whole_from

CODE = bytes(range(100))


# Source: System V ABI, chapter 4, "ELF Header" and "Sections"; chapter 5, "Program Header".
def elf(
    changed: Mapping[str, int] | None = None,
    *,
    wide: bool = False,
    order: str = "<",
    sections: bool = True,
) -> bytes:
    """Return an ELF file of one segment and, perhaps, two sections, one of zeros."""
    own, program, section = (64, 56, 64) if wide else (52, 32, 40)
    at, length = own + program, len(CODE)
    fields = {"programs_at": own, "program_size": program, "programs": 1, "own": own}
    fields |= {"sections_at": at + length if sections else 0, "section_size": section}
    fields |= {"sections": 3 if sections else 0, "length": length, "section_length": length}
    fields |= changed or {}
    identity = b"\x7fELF" + bytes((2 if wide else 1, 1 if order == "<" else 2, 1)) + bytes(9)
    head = struct.pack(
        order + ("HHI3QI6H" if wide else "HHI3II6H"),
        *(2, 0x28, 1, 0x08000000, fields["programs_at"], fields["sections_at"], 0, fields["own"]),
        *(fields["program_size"], fields["programs"]),
        *(fields["section_size"], fields["sections"], 0),
    )
    if wide:
        entry = struct.pack(order + "2I6Q", 1, 5, at, 0, 0, fields["length"], length, 4)
    else:
        entry = struct.pack(order + "8I", 1, at, 0, 0, fields["length"], length, 5, 4)
    made = identity + head + entry + CODE
    if not sections:
        return made
    form = order + ("2I4Q2I2Q" if wide else "10I")
    made += bytes(section)
    made += struct.pack(form, 0, 1, 0, 0, at, fields["section_length"], 0, 0, 0, 0)
    # Zeros that the loader makes: a great length, and no room in the file.
    return made + struct.pack(form, 0, 8, 0, 0, at, 1 << 30, 0, 0, 0, 0)


@pytest.mark.parametrize("order", ["<", ">"])
@pytest.mark.parametrize("wide", [False, True])
def test_each_class_and_byte_order(wide: bool, order: str) -> None:
    report = report_of(elf(wide=wide, order=order))
    assert (report.format, report.soundness, report.problems) == ("elf", Soundness.UNCHECKED, ())
    assert report.facts == {
        "size": len(elf(wide=wide)),
        "bits": 64 if wide else 32,
        "machine_number": 0x28,
        "entry_address": 0x08000000,
        "segments": 1,
        "sections": 3,
        "contents_end": len(elf(wide=wide)),
    }


@pytest.mark.parametrize("sections", [False, True])
@pytest.mark.parametrize("wide", [False, True])
def test_no_beginning_goes_for_the_whole(wide: bool, sections: bool) -> None:
    made = elf(wide=wide, sections=sections)
    assert whole_from(made, "elf") == len(made)
    assert whole_from(made + b"trailing", "elf") == len(made)
    assert reasons(made[:-1]) == ["elf.cut-short"]
    assert reasons(made[:40]) == ["elf.header-cut-short"]


@pytest.mark.parametrize(
    ("changed", "reason"),
    [
        pytest.param({"own": 53}, "elf.header-size", id="length of the header"),
        pytest.param({"program_size": 33}, "elf.entry-size", id="length of an entry"),
        pytest.param({"section_size": 0}, "elf.entry-size", id="no length of an entry"),
        pytest.param({"programs_at": 20}, "elf.table-place", id="a table inside the header"),
        pytest.param({"sections_at": 60}, "elf.tables-overlap", id="one table in the other"),
        pytest.param({"programs": 65535}, "elf.cut-short", id="more entries than there are"),
        pytest.param({"length": 1 << 31}, "elf.cut-short", id="a segment behind the end"),
        pytest.param({"section_length": 1 << 31}, "elf.cut-short", id="a section behind the end"),
    ],
)
def test_what_contradicts_is_named(changed: dict[str, int], reason: str) -> None:
    assert reasons(elf(changed)) == [reason]


def test_any_byte_may_be_turned_round() -> None:
    for wide in (False, True):
        assert broken_at(elf(wide=wide, order=">"))


@pytest.mark.oracle
def test_objcopy_writes_a_whole_one_and_another_reader_agrees(tmp_path: Path) -> None:
    raw, out = tmp_path / "raw.bin", tmp_path / "out.o"
    raw.write_bytes(CODE)
    for form in ("elf32-little", "elf64-little", "elf32-big", "elf64-big"):
        subprocess.run(f"objcopy -I binary -O {form} {raw} {out}".split(), check=True)
        made = out.read_bytes()
        report = report_of(made)
        assert (report.format, report.problems) == ("elf", ())
        with out.open("rb") as file:
            judge = ELFFile(file)
            assert report.facts["bits"] == judge.elfclass
            assert report.facts["sections"] == judge.num_sections()
        assert reasons(made[:-1]) == ["elf.cut-short"]
