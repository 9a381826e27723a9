"""Capture a card: all its bytes, with digests, into one file that is then read as the card.

The card is opened for reading only. The file gets its name when it is whole, was
brought to the disk and read back; until then there is none. Where there is a shop,
its log tells of it.
"""

from __future__ import annotations

import contextlib
import errno
import hashlib
import zlib
from collections import deque
from collections.abc import Callable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path

from cardprep.bench.capture_place import require_place
from cardprep.bench.open import Bench, Clock
from cardprep.bench.records import CAPTURED
from cardprep.canonical import Json
from cardprep.errors import (
    CaptureBrokenError,
    CaptureRefusedError,
    CardprepError,
    ShopFolderError,
)
from cardprep.medium.capture import CaptureSectors
from cardprep.medium.capture_block import PackedBlock, pack
from cardprep.medium.capture_index import CARD_LARGEST, Index, Run, Stretch, block_size_for
from cardprep.medium.capture_zip import DEFLATE_END, HEAD_LENGTH, Frame
from cardprep.medium.descriptor import aligned_buffer
from cardprep.medium.folder import MountedFolder
from cardprep.medium.image_file import open_image_file
from cardprep.medium.open import open_card
from cardprep.medium.patient import PatientReader, Seconds
from cardprep.medium.protocol import Identity, Sectors
from cardprep.progress import Cancel, Progress
from cardprep.shop.files import PartFile, part_file
from cardprep.terms import MIB, spelled_out
from cardprep.volume.serial import volume_serial

_PACKERS = 2
# Blocks that wait to be packed: enough for all packers, and memory is bounded.
_WAITING = 2 * _PACKERS
_FILE_MODE = 0o444
_STRETCHES_RECORDED = 500
_TEXT_MOST = 1000


@dataclass(frozen=True, slots=True, kw_only=True)
class CardToCapture:
    """Which card is to be captured into which new file.

    tool      version of cardprep
    patience  seconds that failing reads may take; see PatientReader
    """

    card: Path
    target: Path
    tool: str
    clock: Clock
    seconds: Seconds
    patience: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Captured:
    """A capture, read whole and found as it was made.

    length  bytes of the file
    sha256  of the file; that of the card stands in the index
    """

    path: Path
    index: Index
    length: int
    sha256: str

    @property
    def lost(self) -> int:
        """Bytes of the card that could not be read."""
        return sum(stretch.length for stretch in self.index.unreadable)


def capture_card(
    bench: Bench | CardprepError,
    wanted: CardToCapture,
    steps: Callable[[str], Progress],
    cancel: Cancel,
) -> Captured:
    """Capture a card, read the capture back, give it its name and record it.

    bench  without one (the refusal says why) nothing is recorded
    steps  gives the progress for "capture" and for "verify"

    Raises NotThereError or NotAllowedError for the card, CaptureRefusedError,
    StoppedError, and for the shop log LogUnavailableError; there is a file under
    the name that was wanted only in the last case.
    """
    with open_card(wanted.card) as opened:
        require_place(wanted.card, wanted.target)
        sectors = _require_card(opened)
        with _refusals(wanted.target), part_file(wanted.target.parent) as part:
            index = _write(part, sectors, wanted, steps("capture"), cancel)
            found = _read_back(part.sync(), wanted.target, index, steps("verify"), cancel)
            if not part.keep_as_new(wanted.target, _FILE_MODE):
                name = spelled_out(str(wanted.target))
                raise CaptureRefusedError("capture.exists", name=name)
        serial = _serial(sectors)
    if isinstance(bench, Bench):
        _record(bench, found, serial)
    return found


def verify_capture(path: Path, progress: Progress, cancel: Cancel) -> Captured:
    """Read a capture whole; return what it is, or raise CaptureBrokenError."""
    with open_card(path) as opened:
        if not isinstance(opened, CaptureSectors):
            raise CaptureBrokenError("capture.not-one", name=spelled_out(str(path)))
        done = 0
        for block in opened.blocks():
            cancel.check()
            done += len(block)
            progress(done, opened.size)
        index = opened.index
    length, sha256 = _file_digest(path, cancel)
    return Captured(path=path, index=index, length=length, sha256=sha256)


def _require_card(opened: Sectors | MountedFolder) -> Sectors:
    name = spelled_out(opened.identity.name)
    if isinstance(opened, MountedFolder):
        raise CaptureRefusedError("capture.folder", name=name)
    if not opened.size:
        raise CaptureRefusedError("capture.empty", name=name)
    if opened.size > CARD_LARGEST:
        raise CaptureRefusedError(
            "capture.too-large", name=name, size=opened.size, most=CARD_LARGEST
        )
    return opened


def _write(
    part: PartFile, sectors: Sectors, wanted: CardToCapture, progress: Progress, cancel: Cancel
) -> Index:
    """Write the whole capture into a file that has no name yet; return its index."""
    begun = wanted.clock()
    reader = PatientReader(sectors, patience=wanted.patience, clock=wanted.seconds, cancel=cancel)
    part.write(bytes(HEAD_LENGTH))
    runs: list[Run] = []
    digest, crc, done = hashlib.sha256(), 0, 0
    for block, packed in _packed_blocks(reader, sectors.size):
        part.write(packed.data)
        _add(runs, packed)
        digest.update(block)
        crc = zlib.crc32(block, crc)
        done += len(block)
        progress(done, sectors.size)
    lost = reader.unreadable
    if sum(stretch.length for stretch in lost) == sectors.size:
        name, cause = spelled_out(sectors.identity.name), lost[0].cause
        raise CaptureRefusedError("capture.nothing-read", name=name, cause=cause)
    index = Index(
        card=_written_out(sectors),
        direct=_was_direct(sectors),
        begun=begun,
        ended=wanted.clock(),
        tool=wanted.tool,
        block_size=block_size_for(sectors.size),
        crc=crc,
        sha256=digest.hexdigest(),
        runs=tuple(runs),
        unreadable=lost,
    )
    frame = Frame(
        size=index.size,
        crc=crc,
        sha256=index.sha256,
        packed=index.packed + len(DEFLATE_END),
        index=index.to_bytes(),
    )
    part.write(DEFLATE_END + frame.tail())
    part.write_at(0, frame.head())
    return index


def _packed_blocks(reader: PatientReader, size: int) -> Iterator[tuple[bytes, PackedBlock]]:
    """Give each block of a card and its packed form, in order.

    Blocks are packed on all cores while the next one is read. One that is like the
    one before is packed once, so that an empty card costs its reading.
    """
    block_size = block_size_for(size)
    buffer = aligned_buffer(block_size)
    waiting: deque[tuple[bytes, Future[PackedBlock]]] = deque()
    packers = ThreadPoolExecutor(_PACKERS)
    try:
        for offset in range(0, size, block_size):
            view = buffer[: min(block_size, size - offset)]
            reader.read_into(offset, view)
            block = bytes(view)
            last = waiting[-1] if waiting else None
            if last is not None and last[0] == block:
                waiting.append((last[0], last[1]))
            else:
                waiting.append((block, packers.submit(pack, block)))
            if len(waiting) > _WAITING:
                one, packed = waiting.popleft()
                yield one, packed.result()
        for one, packed in waiting:
            yield one, packed.result()
    finally:
        packers.shutdown(cancel_futures=True)


def _add(runs: list[Run], packed: PackedBlock) -> None:
    one = Run(count=1, packed=len(packed.data), crc=packed.crc, sha256=packed.sha256)
    if runs and replace(runs[-1], count=1) == one:
        runs[-1] = replace(one, count=runs[-1].count + 1)
    else:
        runs.append(one)


def _written_out(sectors: Sectors) -> Identity:
    """Return what tells this card from another as it goes into an index."""
    identity = sectors.identity
    if isinstance(sectors, CaptureSectors):
        # A copy of a capture tells of the card, and not of the file in between.
        return sectors.index.card
    return replace(
        identity,
        name=spelled_out(identity.name)[:_TEXT_MOST],
        size=sectors.size,
        sector_size=sectors.sector_size,
        cid=None if identity.cid is None else spelled_out(identity.cid)[:_TEXT_MOST],
        serial=None if identity.serial is None else spelled_out(identity.serial)[:_TEXT_MOST],
    )


def _was_direct(sectors: Sectors) -> bool:
    if isinstance(sectors, CaptureSectors):
        return sectors.index.direct
    return sectors.past_the_cache


def _read_back(
    part: Path, target: Path, index: Index, progress: Progress, cancel: Cancel
) -> Captured:
    found = verify_capture(part, progress, cancel)
    if found.index != index:
        raise CaptureBrokenError("capture.whole", name=spelled_out(str(target)))
    return replace(found, path=target)


def _file_digest(path: Path, cancel: Cancel) -> tuple[int, str]:
    digest = hashlib.sha256()
    buffer = aligned_buffer(MIB)
    with open_image_file(path) as file:
        for offset in range(0, file.size, MIB):
            cancel.check()
            block = buffer[: min(MIB, file.size - offset)]
            file.read_into(offset, block)
            digest.update(block)
        return file.size, digest.hexdigest()


def _serial(sectors: Sectors) -> str | None:
    with contextlib.suppress(CardprepError):
        return volume_serial(sectors)
    return None


@contextlib.contextmanager
def _refusals(target: Path) -> Iterator[None]:
    """Turn what the shop's files say into what is said of a capture."""
    try:
        yield
    except ShopFolderError as error:
        cause = str(error.parameters.get("cause", errno.errorcode[errno.ENOENT]))
        name = spelled_out(str(target))
        raise CaptureRefusedError("capture.cannot-write", name=name, cause=cause) from error


def _record(bench: Bench, found: Captured, serial: str | None) -> None:
    index = found.index
    body: dict[str, Json] = {
        "target": index.card.name,
        "capture": spelled_out(str(found.path.absolute())),
        "length": found.length,
        "sha256": found.sha256,
        "card_size": index.size,
        "card_sha256": index.sha256,
        "card_kind": index.card.kind.value,
        "cid": index.card.cid,
        "usb_serial": index.card.serial,
        "disk_sequence": index.card.disk_sequence,
        "serial": serial,
        "begun": index.begun,
        "unreadable": [_row(stretch) for stretch in index.unreadable[:_STRETCHES_RECORDED]],
        "unreadable_count": len(index.unreadable),
        "unreadable_bytes": found.lost,
    }
    looked_up = [("digest", found.sha256), ("digest", index.sha256)]
    if serial is not None:
        looked_up.append(("serial", serial))
    bench.record(CAPTURED, body, looked_up)


def _row(stretch: Stretch) -> dict[str, Json]:
    return {
        "offset": stretch.offset,
        "length": stretch.length,
        "cause": stretch.cause,
        "tried": stretch.tried,
    }
