"""Undamaged volumes of the three sizes of entry, made once for all tests that damage them."""

from __future__ import annotations

import pytest

from tests.cards import make_volume
from tests.volumes import FILES, OPTIONS, SIZES, START, VOLUME


@pytest.fixture(scope="session")
def originals(tmp_path_factory: pytest.TempPathFactory) -> dict[int, bytes]:
    """Return volumes by bits of an entry, with FILES and a label."""
    folder = tmp_path_factory.mktemp("volumes")
    for name, data in FILES.items():
        (folder / "files" / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / "files" / name).write_bytes(data)
    made = {}
    for bits in (12, 16, 32):
        image = folder / f"fat{bits}"
        options = (*OPTIONS[bits], "-n", "B238-1 BOOT")
        make_volume(image, SIZES[bits], *options, files=folder / "files")
        made[bits] = image.read_bytes()
    return made


@pytest.fixture(scope="session")
def volume(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    """Return a FAT16 volume that says it begins where a partition usually does."""
    folder = tmp_path_factory.mktemp("card")
    (folder / "files").mkdir()
    (folder / "files" / "STAGE.BIN").write_bytes(b"s" * 5000)
    image = folder / "volume"
    options = ("-F", "16", "-s", "1", "-h", str(START // 512))
    make_volume(image, VOLUME, *options, files=folder / "files")
    return image.read_bytes()
