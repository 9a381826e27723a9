"""Which way to a card is taken, what is refused, and that nothing is ever opened for writing."""

from __future__ import annotations

import os
import sys
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from cardprep.errors import NotAllowedError, NotThereError
from cardprep.medium import open as opening
from cardprep.medium.descriptor import DescriptorSectors
from cardprep.medium.folder import MountedFolder
from cardprep.medium.folder_by_path import FolderByPath
from cardprep.medium.open import open_card
from cardprep.medium.protocol import MediumKind
from cardprep.volume.card import read_card
from tests.cards import MIB, content, make_volume, run


def test_a_file_is_an_image(tmp_path: Path) -> None:
    (tmp_path / "card.img").write_bytes(bytes(1024))
    with open_card(tmp_path / "card.img") as card:
        assert card.identity.kind is MediumKind.IMAGE_FILE
        assert isinstance(card, DescriptorSectors)
        assert not card.past_the_cache


def test_an_image_can_be_read_past_the_cache(tmp_path: Path) -> None:
    (tmp_path / "card.img").write_bytes(b"x" * 1025)
    with open_card(tmp_path / "card.img", direct=True) as card:
        assert isinstance(card, DescriptorSectors)
        buffer = bytearray(1025)
        card.read_into(0, memoryview(buffer))
        assert buffer == b"x" * 1025


def test_a_link_to_an_image_is_followed(tmp_path: Path) -> None:
    # Readers are known by links, such as those below /dev/disk/by-id.
    (tmp_path / "card.img").write_bytes(bytes(1024))
    (tmp_path / "link").symlink_to("card.img")
    with open_card(tmp_path / "link") as card:
        assert card.identity.size == 1024
        assert card.identity.name == str(tmp_path / "link")


def test_a_folder_is_a_mounted_card(tmp_path: Path) -> None:
    with open_card(tmp_path) as card:
        assert type(card) is MountedFolder
        assert card.identity.kind is MediumKind.FOLDER


def test_a_system_that_opens_by_path_only(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(os, "supports_dir_fd", set())
    assert type(open_card(tmp_path)) is FolderByPath


def test_a_device_is_opened_as_such(monkeypatch: pytest.MonkeyPatch) -> None:
    class Device:
        st_mode = 0o060600

    seen: list[Path] = []
    monkeypatch.setattr(Path, "stat", lambda _: Device)
    monkeypatch.setattr(opening, "open_block_device", seen.append)
    open_card(Path("/dev/reader"))
    assert seen == [Path("/dev/reader")]


@pytest.mark.parametrize(
    "make",
    [
        pytest.param(os.mkfifo, id="pipe"),
        pytest.param(lambda place: place.symlink_to("/dev/zero"), id="endless device"),
    ],
)
def test_what_is_no_card_is_refused_at_once(tmp_path: Path, make: Callable[[Path], None]) -> None:
    make(tmp_path / "thing")
    started = time.perf_counter()
    with pytest.raises(NotThereError) as caught:
        open_card(tmp_path / "thing")
    assert caught.value.reason == "medium.kind"
    assert time.perf_counter() - started < 5


@pytest.mark.parametrize(
    "name",
    [
        pytest.param("none", id="nothing there"),
        pytest.param("file/below", id="below a file"),
        pytest.param("dangling", id="link to nothing"),
        pytest.param("a\0b", id="with a zero"),
    ],
)
def test_what_is_not_there(tmp_path: Path, name: str) -> None:
    (tmp_path / "file").write_bytes(b"")
    (tmp_path / "dangling").symlink_to("none")
    with pytest.raises(NotThereError, match=r"medium\.not-there"):
        open_card(tmp_path / name)


def test_a_link_in_a_circle(tmp_path: Path) -> None:
    (tmp_path / "link").symlink_to("link")
    with pytest.raises(NotThereError):
        open_card(tmp_path / "link")


def test_a_name_is_said_in_harmless_spelling(tmp_path: Path) -> None:
    with pytest.raises(NotThereError) as caught:
        open_card(tmp_path / "\x1b[31mred\udcff")
    assert str(caught.value.parameters["name"]).isprintable()


def test_a_file_that_this_user_may_not_open(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "card.img").write_bytes(b"")

    def refusing(*_: object) -> int:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(os, "open", refusing)
    with pytest.raises(NotAllowedError, match=r"medium\.not-allowed"):
        open_card(tmp_path / "card.img")
    with pytest.raises(NotAllowedError):
        open_card(tmp_path / "card.img", direct=True)


# --- reading only

WRITING = os.O_WRONLY | os.O_RDWR | os.O_CREAT | os.O_TRUNC | os.O_APPEND


def look_at(path: Path) -> None:
    """Read everything of a card, in every way there is."""
    for direct in (False, True):
        with open_card(path, direct=direct) as sectors:
            assert isinstance(sectors, DescriptorSectors)
            for volume in read_card(sectors).volumes:
                for entry in volume.entries:
                    content(sectors, entry)
    for way in (MountedFolder, FolderByPath):
        card = way(path.parent)
        for found in card.entries():
            if found.is_ordinary and not found.is_folder:
                for _ in card.blocks(found.path):
                    pass


@pytest.fixture
def image(tmp_path: Path) -> Path:
    (tmp_path / "files").mkdir()
    (tmp_path / "files" / "APP.BIN").write_bytes(b"a" * 3000)
    (tmp_path / "card").mkdir()
    path = tmp_path / "card" / "card.img"
    make_volume(path, 2 * MIB, "-F", "12", files=tmp_path / "files")
    return path


def test_nothing_is_opened_for_writing(image: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    flags_seen = []
    real = os.open

    def watching(place: str | bytes | Path, flags: int, *rest: int, **named: int) -> int:
        flags_seen.append(flags)
        return real(place, flags, *rest, **named)

    monkeypatch.setattr(os, "open", watching)
    look_at(image)
    assert len(flags_seen) > 4
    assert not any(flags & WRITING for flags in flags_seen)


@pytest.mark.oracle
def test_nothing_is_written_as_strace_sees_it(image: Path, tmp_path: Path) -> None:
    trace = tmp_path / "trace"
    before = image.read_bytes()
    program = (
        "import sys; from pathlib import Path; from tests.medium.test_open import look_at;"
        "look_at(Path(sys.argv[1]))"
    )
    calls = "open,openat,creat,write,pwrite64,writev,pwritev,unlink,rename,truncate,ftruncate"
    run(
        *("strace", "-f", "-y", "-e", f"trace={calls}", "-o", trace),
        *(sys.executable, "-B", "-c", program, image),
    )
    lines = trace.read_text(encoding="utf-8", errors="replace").splitlines()
    of_card = [line for line in lines if str(image.parent) in line]
    assert len(of_card) > 4
    assert all("O_RDONLY" in line for line in of_card)
    assert not any(word in line for line in of_card for word in ("O_RDWR", "O_WRONLY", "O_CREAT"))
    assert not any("write" in line.partition("(")[0] for line in of_card)
    assert image.read_bytes() == before
