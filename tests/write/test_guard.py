"""What may be written and what may not, and that a refusal changes nothing."""

from __future__ import annotations

import hashlib
import os
import subprocess
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import pytest

from cardprep.errors import NotAllowedError, NotThereError, WriteRefusedError
from cardprep.layout.build import lay_out
from cardprep.layout.model import Layout
from cardprep.medium.image_file import open_image_file
from cardprep.terms import MIB
from cardprep.volume.serial import volume_serial
from cardprep.write.blank import is_blank
from cardprep.write.guard import Permission, WritableCard, open_for_writing
from tests.cards import make_volume
from tests.exfat import ExfatImage, File, empty
from tests.stages import Memory, laid_out_bytes, make_stage, write_image
from tests.volumes import START, card_of, partition, table


def laid_out(content: bytes = b"x" * 5000) -> tuple[Layout, Memory]:
    stage, source = make_stage([(("A.BIN",), content)], volume_size=64 * MIB)
    return lay_out(stage), source


@pytest.fixture
def layout() -> Layout:
    return laid_out()[0]


def digest(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()


# The content of all stages of this file, which `laid_out` makes.
SOURCE = Memory({hashlib.sha256(data).hexdigest(): data for data in (b"x" * 5000, b"other")})


def open_card(path: Path, layout: Layout, permission: Permission | None = None) -> WritableCard:
    return open_for_writing(path, layout, permission or Permission(), SOURCE)


def refused(path: Path, layout: Layout, permission: Permission | None = None) -> str:
    with pytest.raises(WriteRefusedError) as caught:
        open_card(path, layout, permission)
    return caught.value.reason


def test_a_file_that_is_not_there_becomes_an_empty_card(tmp_path: Path, layout: Layout) -> None:
    path = tmp_path / "card.img"
    with open_card(path, layout) as card:
        assert card.identity.size == layout.card_size
    assert path.stat().st_size == layout.card_size
    assert path.stat().st_blocks == 0
    card.close()


def test_a_blank_card_keeps_its_size(tmp_path: Path, layout: Layout) -> None:
    path = tmp_path / "card.img"
    path.touch()
    os.truncate(path, 8 * 10**9)
    with open_card(path, layout) as card:
        assert card.identity.size == 8 * 10**9


def test_an_empty_file_becomes_a_card_too(tmp_path: Path, layout: Layout) -> None:
    path = tmp_path / "card.img"
    path.touch()
    with open_card(path, layout) as card:
        assert card.identity.size == layout.card_size
    assert path.stat().st_size == layout.card_size


def test_the_same_stage_may_be_written_again(tmp_path: Path) -> None:
    layout, source = laid_out()
    path = tmp_path / "card.img"
    write_image(path, layout, source)
    open_card(path, layout).close()


def test_somebodys_file_beside_the_stage_is_kept(tmp_path: Path) -> None:
    """A card that came back from a vessel with routes on it."""
    layout, source = laid_out()
    path = tmp_path / "card.img"
    write_image(path, layout, source)
    route = tmp_path / "route.gpx"
    route.write_text("<gpx/>")
    volume = f"{path}@@{4 * MIB}"
    subprocess.run(["mcopy", "-i", volume, str(route), "::/ROUTE.GPX"], check=True)
    before = digest(path)
    assert refused(path, layout) == "guard.other-files"
    assert digest(path) == before


def test_a_second_partition_beside_the_stage_is_kept(tmp_path: Path) -> None:
    layout, source = laid_out()
    path = tmp_path / "card.img"
    write_image(path, layout, source)
    with path.open("r+b") as card:
        # The second entry of the table, type 0C, behind the first partition.
        card.seek(446 + 16)
        card.write(
            bytes.fromhex("00feffff0cfeffff") + (140_000).to_bytes(4, "little") + b"\1\0\0\0"
        )
    before = digest(path)
    assert refused(path, layout) == "guard.content"
    assert digest(path) == before


def test_an_ordinary_file_that_becomes_something_else_while_it_is_opened(
    tmp_path: Path, layout: Layout, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "card.img"
    path.touch()
    os.truncate(path, 8 * MIB)
    real = os.fstat

    def swapped(descriptor: int) -> object:
        found = real(descriptor)
        return SimpleNamespace(st_mode=0o010644, st_size=found.st_size, st_rdev=0)

    monkeypatch.setattr("cardprep.write.guard.os.fstat", swapped)
    assert refused(path, layout) == "guard.swapped"


def test_a_card_that_is_too_large_for_its_display(tmp_path: Path, layout: Layout) -> None:
    settings = replace(layout.stage.settings, largest_card=2 * 10**9)
    small = lay_out(replace(layout.stage, settings=settings))
    path = tmp_path / "card.img"
    path.touch()
    os.truncate(path, 2 * 1024**3)
    open_card(path, small).close()
    os.truncate(path, 4 * 10**9)
    assert refused(path, small) == "guard.too-large"


def test_another_stages_card_may_not(tmp_path: Path, layout: Layout) -> None:
    other, source = laid_out(b"other")
    path = tmp_path / "card.img"
    write_image(path, other, source)
    before = digest(path)
    assert refused(path, layout) == "guard.content"
    assert digest(path) == before


@pytest.mark.parametrize("written", [512, 4 * MIB + 512, 4 * MIB + 70_000])
def test_a_broken_off_write_of_this_stage_may_be_finished(tmp_path: Path, written: int) -> None:
    layout, source = laid_out()
    path = tmp_path / "card.img"
    path.write_bytes(laid_out_bytes(layout, source)[:written])
    os.truncate(path, layout.card_size)
    open_card(path, layout).close()
    # Sectors reach a medium in any order; those that did not are zero.
    with path.open("r+b") as card:
        card.seek(0)
        card.write(bytes(512))
    open_card(path, layout).close()


@pytest.mark.parametrize("at", [100, 4 * MIB + 100, 66 * MIB])
def test_what_is_no_part_of_this_stage_is_somebodys(tmp_path: Path, at: int) -> None:
    """Whatever the log says was begun on a card of this name, other bytes are not taken away."""
    layout, source = laid_out()
    path = tmp_path / "card.img"
    # As far as the second sector: the serial number is not there yet.
    path.write_bytes(laid_out_bytes(layout, source)[:512])
    os.truncate(path, layout.card_size)
    with path.open("r+b") as card:
        card.seek(at)
        card.write(b"somebody's")
    before = digest(path)
    assert refused(path, layout) == "guard.content"
    assert digest(path) == before


@pytest.mark.parametrize(
    "at", [0, 511, 4 * MIB, 30 * MIB + 5, 67 * MIB], ids=lambda at: f"byte {at}"
)
def test_one_byte_of_somebodys_data_anywhere_is_enough(
    tmp_path: Path, layout: Layout, at: int
) -> None:
    path = tmp_path / "card.img"
    path.touch()
    os.truncate(path, layout.card_size)
    with path.open("r+b") as file:
        file.seek(at)
        file.write(b"w")
    before = digest(path)
    assert refused(path, layout) == "guard.content"
    assert digest(path) == before


def test_an_owners_card_is_refused(tmp_path: Path, layout: Layout) -> None:
    tree = tmp_path / "tree"
    tree.mkdir()
    (tree / "waypoints.gpx").write_text("<gpx/>")
    path = tmp_path / "card.img"
    make_volume(path, 128 * MIB, "-F", "16", files=tree)
    before = digest(path)
    assert refused(path, layout) == "guard.content"
    assert digest(path) == before


@pytest.mark.parametrize("division", ["table", "no table"])
@pytest.mark.parametrize("files", [(), (File(name="A.BIN", data=b"x" * 5000, clusters=(9, 10)),)])
def test_an_exfat_card_with_the_stages_serial_number_is_somebodys(
    tmp_path: Path, layout: Layout, division: str, files: tuple[File, ...]
) -> None:
    image = ExfatImage(empty())
    image.set_boot(100, bytes.fromhex(layout.serial_text.replace("-", ""))[::-1])
    for file in files:
        image.add(file)
    data = bytes(image.data)
    if division == "table":
        entry = partition(0x07, START // 512, len(data) // 512)
        data = card_of(table(entry), data)
    path = tmp_path / "card.img"
    path.write_bytes(data)
    os.truncate(path, layout.card_size)
    with open_image_file(path) as sectors:
        assert volume_serial(sectors) == layout.serial_text
    before = digest(path)
    assert refused(path, layout) == "guard.content"
    assert digest(path) == before


def test_a_text_that_is_no_card_is_refused(tmp_path: Path, layout: Layout) -> None:
    path = tmp_path / "letter.txt"
    path.write_text("dear owner")
    assert refused(path, layout) == "guard.too-small"
    path.write_bytes(b"dear owner" * (7 * MIB))
    assert refused(path, layout) == "guard.content"


def test_what_is_no_file(tmp_path: Path, layout: Layout) -> None:
    assert refused(tmp_path, layout) == "guard.kind"
    os.mkfifo(tmp_path / "pipe")
    assert refused(tmp_path / "pipe", layout) == "guard.kind"
    assert refused(Path("/dev/null"), layout) == "guard.kind"


def test_a_link_is_not_followed(tmp_path: Path, layout: Layout) -> None:
    target = tmp_path / "other.img"
    target.touch()
    os.truncate(target, layout.card_size)
    (tmp_path / "link").symlink_to(target)
    assert refused(tmp_path / "link", layout) == "guard.link"


def test_a_place_where_nothing_can_be_made(tmp_path: Path, layout: Layout) -> None:
    with pytest.raises(NotThereError):
        open_card(tmp_path / "no folder" / "card.img", layout)
    with pytest.raises(NotThereError):
        open_card(tmp_path / ("x" * 300), layout)


def test_a_mistyped_reader_becomes_no_file(tmp_path: Path, layout: Layout) -> None:
    (tmp_path / "link").symlink_to("/dev")
    for path in (Path("/dev/no such reader"), tmp_path / "link" / "no such reader"):
        with pytest.raises(NotThereError):
            open_card(path, layout)
        assert not path.exists()


def test_a_card_that_may_not_be_opened(
    tmp_path: Path, layout: Layout, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "card.img"
    path.touch()
    os.truncate(path, layout.card_size)
    for number, kind in ((13, NotAllowedError), (16, WriteRefusedError), (30, WriteRefusedError)):

        def failing(*_: object, number: int = number) -> int:
            raise OSError(number, os.strerror(number))

        with monkeypatch.context() as patch:
            patch.setattr("cardprep.write.guard.os.open", failing)
            with pytest.raises(kind):
                open_card(path, layout)


def test_a_card_that_cannot_be_read_is_not_written(
    tmp_path: Path, layout: Layout, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "card.img"
    path.touch()
    os.truncate(path, layout.card_size)

    def failing(*_: object) -> bool:
        raise OSError(5, "Input/output error")

    monkeypatch.setattr("cardprep.write.guard.is_blank", failing)
    assert refused(path, layout) == "guard.unreadable"


def test_no_room_for_a_new_card(
    tmp_path: Path, layout: Layout, monkeypatch: pytest.MonkeyPatch
) -> None:
    def failing(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("cardprep.write.guard.os.ftruncate", failing)
    assert refused(tmp_path / "card.img", layout) == "guard.no-room"
    assert not (tmp_path / "card.img").exists()


# --- devices


def a_device(major: int) -> object:
    return SimpleNamespace(st_mode=0o060660, st_rdev=os.makedev(major, 0))


@pytest.mark.parametrize(
    ("major", "permission", "reason"),
    [
        pytest.param(8, Permission(loop=True), "guard.device", id="a disk"),
        pytest.param(179, Permission(loop=True), "guard.device", id="an SD slot"),
        pytest.param(253, Permission(loop=True), "guard.device", id="a mapped device"),
        pytest.param(7, Permission(), "guard.loop-not-named", id="a loop device by chance"),
    ],
)
def test_devices_that_are_not_written(
    layout: Layout,
    monkeypatch: pytest.MonkeyPatch,
    major: int,
    permission: Permission,
    reason: str,
) -> None:
    monkeypatch.setattr(Path, "stat", lambda _: a_device(major))
    assert refused(Path("/dev/somewhere"), layout, permission) == reason


@pytest.fixture
def loop(tmp_path: Path, layout: Layout) -> Iterator[Path]:
    """Make a loop device over a blank file of 68 MiB, which only root can."""
    backing = tmp_path / "backing"
    backing.touch()
    os.truncate(backing, layout.card_size)
    made = subprocess.run(
        ["losetup", "--find", "--show", str(backing)],
        env={"PATH": os.environ["PATH"] + ":/usr/sbin:/sbin"},
        capture_output=True,
        text=True,
        check=False,
    )
    if made.returncode:
        # Without root no test can make one; what a user meets then is tested instead.
        assert os.geteuid() != 0, made.stderr
        yield Path("/dev/loop0")
        return
    device = Path(made.stdout.strip())
    yield device
    subprocess.run(
        ["losetup", "--detach", str(device)],
        env={"PATH": os.environ["PATH"] + ":/usr/sbin:/sbin"},
        check=True,
    )


def test_a_loop_device_named_on_purpose(loop: Path, layout: Layout) -> None:
    if os.geteuid() != 0:
        with pytest.raises((NotAllowedError, NotThereError, WriteRefusedError)):
            open_card(loop, layout, Permission(loop=True))
        return
    assert refused(loop, layout) == "guard.loop-not-named"
    with open_card(loop, layout, Permission(loop=True)) as card:
        assert card.identity.size == layout.card_size
        assert card.identity.sector_size == 512
        # Held by us, nobody else gets it, and neither would we if it were held.
        assert refused(loop, layout, Permission(loop=True)) == "guard.held"


def test_blank_reads_what_is_stored_and_nothing_else(tmp_path: Path) -> None:
    path = tmp_path / "sparse"
    path.touch()
    os.truncate(path, 10**12)
    descriptor = os.open(path, os.O_RDWR)
    try:
        assert is_blank(descriptor, 10**12)
        os.pwrite(descriptor, bytes(5000), 10**11)
        assert is_blank(descriptor, 10**12)
        os.pwrite(descriptor, b"\x01", 10**12 - 1)
        assert not is_blank(descriptor, 10**12)
        assert is_blank(descriptor, 10**11)
        assert is_blank(descriptor, 0)
        # A file that became shorter meanwhile.
        os.ftruncate(descriptor, 10)
        assert is_blank(descriptor, 20)
    finally:
        os.close(descriptor)
