"""What can be asked of a manifest: images by digest, by name and by model; versions; patterns."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from cardprep.errors import BadValueError
from cardprep.manifest.text import parse
from cardprep.terms import APPLICATION, BOOTLOADER, ImageType, Version

VOICE = ImageType("voice prompts", "VOIC")

SAMPLE = (Path(__file__).parents[2] / "fixtures" / "gannet_slip.toml").read_bytes()
LINES = SAMPLE.decode().split("\n")


def with_lines(edits: dict[int, str]) -> bytes:
    """Return the sample with other lines, counted from 1."""
    lines = list(LINES)
    for number, line in edits.items():
        lines[number - 1] = line
    return "\n".join(lines).encode()


def test_lookups() -> None:
    manifest = parse(SAMPLE)
    boot, new, old, _ = manifest.images
    assert manifest.by_sha256("2" * 64) is new
    assert manifest.by_sha256("9" * 64) is None
    assert manifest.by_file_name("ovv40_app_430.BIN") == (new,)
    assert manifest.by_file_name("OVV40") == ()
    assert manifest.images_for("OV-V40", APPLICATION) == (old, new)
    assert manifest.images_for("OV-V40", BOOTLOADER) == (boot,)
    assert manifest.images_for("OV-H4", APPLICATION) == ()
    assert manifest.display("OV-V40") is None
    assert manifest.model("OV-V42") is None
    assert manifest.image_type("voice prompts") == VOICE
    assert manifest.image_type("VOIC") is None
    assert manifest.all_types[-1] == VOICE


def test_one_file_name_for_several_versions() -> None:
    manifest = parse(with_lines({100: 'file = "ovv40_app_430.BIN"'}))
    assert manifest.by_file_name("OVV40_APP_430.bin") == (manifest.images[1], manifest.images[2])


def test_version_orders() -> None:
    manifest = parse(SAMPLE)
    order = manifest.version_order("OV-H4", APPLICATION)
    assert order.at_least(Version("2.41"), Version("2.38b"))
    for model, image_type in [("OV-V40", APPLICATION), ("nobody", BOOTLOADER)]:
        usual = manifest.version_order(model, image_type)
        assert usual.at_least(Version("2.31"), Version("2.9"))
        with pytest.raises(BadValueError):
            usual.key(Version("2.38b"))


@pytest.mark.parametrize(
    ("path", "written"),
    [
        ("OTTERVANE/D9.LOG", True),
        ("ottervane/d9.log", True),
        ("SCREENS/0001.png", True),
        ("SCREENS/a/0001.PNG", False),
        ("0001.PNG", False),
        ("X/OTTERVANE/D9.LOG", False),
        ("OTTERVANE/D9.LOG.bak", False),
        ("", False),
    ],
)
def test_what_a_display_writes_itself(path: str, written: bool) -> None:
    (display,) = parse(SAMPLE).displays
    assert display.may_write(path) is written
    assert not replace(display, writes=()).may_write(path)
