"""How a capture is told from an image file: a few bytes at both ends."""

from __future__ import annotations

import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

from cardprep.errors import CaptureBrokenError
from cardprep.medium.capture_mark import looks_like_capture
from cardprep.medium.descriptor import DescriptorSectors
from cardprep.medium.open import open_card
from tests.captures import capture
from tests.cards import MemorySectors


def test_what_is_no_capture(tmp_path: Path) -> None:
    with zipfile.ZipFile(tmp_path / "other.zip", "w") as archive:
        archive.writestr("card.img", b"x")
        archive.comment = b"cardprep"
    for data in (b"", b"x", bytes(512), b"PK\x05\x06" + bytes(100)):
        assert not looks_like_capture(MemorySectors(data))
    with open_card(tmp_path / "other.zip") as opened:
        assert isinstance(opened, DescriptorSectors)


@pytest.mark.parametrize(
    "data",
    [
        pytest.param(b"PK\x03\x04", id="the first bytes and no more"),
        pytest.param(b"PK\x03\x04" + bytes(26) + b"CAPTURE.txt" + bytes(5000), id="the beginning"),
        pytest.param(bytes(5000) + b"PK\x05\x06" + bytes(18) + b"cardprep capture 1", id="the end"),
        pytest.param(
            bytes(5000) + b"PK\x05\x06" + bytes(18) + b"cardprep capture 9",
            id="the end of one of another version",
        ),
    ],
)
def test_what_only_looks_like_one_is_refused(tmp_path: Path, data: bytes) -> None:
    assert looks_like_capture(MemorySectors(data))
    (tmp_path / "c.zip").write_bytes(data)
    with pytest.raises(CaptureBrokenError):
        open_card(tmp_path / "c.zip")


def test_nothing_of_the_file_cannot_be_read(tmp_path: Path) -> None:
    assert not looks_like_capture(MemorySectors(bytes(512), bad=[(0, 512)]))
    capture(MemorySectors(bytes(512)), tmp_path / "c.zip")


def test_what_reads_captures_is_loaded_where_there_is_one(tmp_path: Path) -> None:
    capture(MemorySectors(bytes(512)), tmp_path / "c.zip")
    (tmp_path / "image").write_bytes(bytes(512))
    program = (
        "import sys; from pathlib import Path; from cardprep.medium.open import open_card\n"
        "open_card(Path(sys.argv[1])).close(); print('cardprep.medium.capture' in sys.modules)"
    )
    for name, loaded in (("image", "False\n"), ("c.zip", "True\n")):
        command = [sys.executable, "-c", program, str(tmp_path / name)]
        assert subprocess.check_output(command, text=True) == loaded
