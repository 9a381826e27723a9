"""Build the invented update files of the demonstration, in real containers with real checksums.

Nothing here is any maker's: the workshop Gannet Slip Marine Electronics, the
maker Ottervane, its models and the vessel Saltwhistle do not exist. The bytes
are pseudo-random and the same on every machine.
"""

from __future__ import annotations

import hashlib
import io
import random
import struct
import zipfile
import zlib
from dataclasses import dataclass
from pathlib import Path

README = b"INVENTED FOR A DEMONSTRATION. Copy the .img file to the root of a card.\r\n"

VISIT = """\
# Tomorrow's visit, as it was told on the telephone (invented).

[vessel]
name = "Saltwhistle"
mmsi = "211000317"

[display]
model = "OV-D9"
software = "unknown"

[[unit]]
model = "OV-V40"
role = "main radio"
serial = "V40-00317"
handset = "OV-H4"
has = { bootloader = "3.02", application = "4.17" }
wants = { application = "4.30" }
"""

WAYPOINTS = b"""<?xml version="1.0" encoding="UTF-8"?>
<gpx version="1.1" creator="invented" xmlns="http://www.topografix.com/GPX/1/1">
<wpt lat="54.5" lon="10.1"><name>Anchorage, invented</name></wpt>
</gpx>
"""

DISPLAYS_AND_MODELS = """
# --- the demonstration: displays and models (invented)

[[display]]
model = "OV-D9"
file_systems = ["fat16", "fat32"]
largest_card = "32 GB"
types_per_card = 1
announces = ["application"]
writes = ["OVD9.LOG"]

[[model]]
name = "OV-D9"
kind = "display"
role = "navigation display"
types = ["application"]

[[model]]
name = "OV-H4"
kind = "handset"
role = "second station of the radio"
types = ["application"]
seen_off = "screen dark and the key lamps out after the power key was held"
seen_in_mode = "PROGRAM stands on the screen"

[[model]]
name = "OV-V40"
kind = "radio"
role = "fixed VHF radio"
types = ["bootloader", "application"]
companion = { model = "OV-H4", presence = "optional" }
seen_off = "screen dark"
read_at = { bootloader = "first screen after power-on", application = "information page" }
note_before = ["MMSI", "ATIS", "region"]
read_back_after = ["MMSI", "ATIS", "region"]
entered_once = ["MMSI"]

# The bootloader of this radio lies below its application; so tells a file that nobody knows.
[[supposed]]
type = "bootloader"
models = ["OV-V40"]
names = ["*.s37", "*.s19"]
addresses = ["08000000-0800FFFF"]
"""


@dataclass(frozen=True, slots=True)
class DemoFile:
    """One invented update file and how it is taken in."""

    name: str
    content: bytes
    intake: tuple[str, ...]


def bootloader() -> DemoFile:
    """Return the bootloader 3.10 as an S-record file of some 100 KiB."""
    code = _code("OV-V40 bootloader 3.10", 40 * 1024)
    return DemoFile(
        "OVV40_BOOT_310.s37",
        s_record(code, 0x08000000, "OV-V40 BOOT 3.10"),
        (
            *("--type", "bootloader", "--model", "OV-V40", "--version", "3.10"),
            *("--released", "2026-03-02", "--leaves", "waiting for application"),
            *("--minutes", "1-1", "--known-by", "own-download"),
            *("--source", "https://updates.ottervane.example/ov-v40", "--on", "2026-11-20"),
        ),
    )


def application() -> DemoFile:
    """Return the application 4.30, for radio and handset, as a uImage of some 3 MB."""
    code = _code("OV-V40 application 4.30, carries OV-H4 2.41", 3 * 1024 * 1024 + 777)
    content = uimage(code, "OV-V40 APP 4.30", 1778544000)
    sha256 = hashlib.sha256(content).hexdigest()
    return DemoFile(
        "OVV40_APP_430.img",
        content,
        (
            *("--type", "application", "--model", "OV-V40", "--version", "4.30"),
            *("--released", "2026-05-12", "--needs", "bootloader 3.10"),
            *("--carries", "OV-H4 application 2.41 PROGRAM stands on the screen"),
            *("--minutes", "4-9", "--known-by", "makers-checksum"),
            *("--source", "https://updates.ottervane.example/ov-v40/sums", "--on", "2026-11-20"),
            *("--list-checked", "2026-11-20", "--checksum", f"sha256 {sha256}"),
        ),
    )


def archive() -> tuple[str, bytes]:
    """Return name and content of the ZIP in which the maker ships the application."""
    file, made = application(), io.BytesIO()
    with zipfile.ZipFile(made, "w", zipfile.ZIP_DEFLATED) as packed:
        # Fixed times, so that the same bytes come out every time.
        for name, content in ((f"OVV40/{file.name}", file.content), ("OVV40/README.TXT", README)):
            packed.writestr(zipfile.ZipInfo(name, (2026, 5, 12, 0, 0, 0)), content)
    return "OVV40_APP_430.zip", made.getvalue()


def write_files(folder: Path) -> tuple[Path, Path]:
    """Write both files as they would lie in a download folder; return their paths."""
    folder.mkdir(parents=True)
    paths = []
    for file in (bootloader(), application()):
        path = folder / file.name
        path.write_bytes(file.content)
        paths.append(path)
    return paths[0], paths[1]


def _code(name: str, size: int) -> bytes:
    head = f"INVENTED FOR A DEMONSTRATION. {name}\n".encode()
    return head + random.Random(name).randbytes(size - len(head))


def uimage(payload: bytes, name: str, time: int) -> bytes:
    """Return a legacy uImage: big-endian header of 64 bytes with two CRCs, then the payload."""
    fields = (0x27051956, 0, time, len(payload), 0x08010000, 0x08010000, zlib.crc32(payload))
    kinds = bytes((5, 2, 2, 0))
    header = struct.pack(">7I", *fields) + kinds + name.encode("ascii").ljust(32, b"\0")
    checked = zlib.crc32(header)
    return header[:4] + struct.pack(">I", checked) + header[8:] + payload


def s_record(data: bytes, start: int, name: str) -> bytes:
    """Return an S-record file: S0 header, S3 data of 32 bytes a line, S7 end."""
    lines = [_record(0, b"\0\0" + name.encode("ascii"))]
    for at in range(0, len(data), 32):
        address = (start + at).to_bytes(4, "big")
        lines.append(_record(3, address + data[at : at + 32]))
    lines.append(_record(7, start.to_bytes(4, "big")))
    return b"".join(lines)


def _record(kind: int, body: bytes) -> bytes:
    counted = bytes((len(body) + 1,)) + body
    checksum = ~sum(counted) & 0xFF
    return f"S{kind}{counted.hex().upper()}{checksum:02X}\n".encode("ascii")
