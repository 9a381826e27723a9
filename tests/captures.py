"""Captures for tests: cards from memory, captured by the bench, and taken apart by hand."""

from __future__ import annotations

import json
import subprocess
import zipfile
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from unittest.mock import patch

from cardprep.bench import capture as bench_capture
from cardprep.bench.capture import Captured, CardToCapture, capture_card
from cardprep.errors import NotThereError
from cardprep.medium.capture import CaptureSectors
from cardprep.medium.image_file import open_image_file
from cardprep.medium.open import open_card
from cardprep.medium.protocol import Sectors
from cardprep.progress import Cancel, Progress, silent

NO_SHOP = NotThereError("shop.not-there")


class Ticks:
    """Seconds that go on by a step whenever they are asked for."""

    def __init__(self, step: float = 0.0) -> None:
        self.step = step
        self.now = 0.0

    def __call__(self) -> float:
        self.now += self.step
        return self.now


def wanted(card: Path, target: Path, *, step: float = 0.0, patience: float = 60) -> CardToCapture:
    return CardToCapture(
        card=card,
        target=target,
        tool="0",
        clock=lambda: "2026-11-25T20:01:00Z",
        seconds=Ticks(step),
        patience=patience,
    )


def capture(
    card: Path | Sectors,
    target: Path,
    *,
    progress: Progress = silent,
    cancel: Cancel | None = None,
    patience: float = 60,
    step: float = 0.0,
) -> Captured:
    """Capture an image file, or sectors that are made up, and return what came of it."""
    path = card if isinstance(card, Path) else target.parent
    to_capture = wanted(path, target, step=step, patience=patience)
    cancel = cancel or Cancel()
    if isinstance(card, Path):
        return capture_card(NO_SHOP, to_capture, lambda _step: progress, cancel)

    def opened(asked: Path) -> object:
        return card if asked == path else open_card(asked)

    with patch.object(bench_capture, "open_card", opened):
        return capture_card(NO_SHOP, to_capture, lambda _step: progress, cancel)


def opened_capture(path: Path) -> CaptureSectors:
    found = open_card(path)
    assert isinstance(found, CaptureSectors)
    return found


def index_of(path: Path) -> Any:  # noqa: ANN401 - whatever JSON holds
    """Return the index, read by a program that is not ours."""
    with zipfile.ZipFile(path) as archive:
        return json.loads(archive.read("index.json"))


def card_of(path: Path) -> bytes:
    """Return the card in a capture, unpacked by an outside program."""
    done = subprocess.run(
        ["unzip", "-p", str(path), "card.img"], capture_output=True, check=True, timeout=60
    )
    return done.stdout


def size_of(path: Path) -> int:
    with open_image_file(path) as file:
        return file.size


@dataclass(frozen=True)
class Part:
    """One member of a capture, by Python's own reader of ZIP files: where its parts begin."""

    name: str
    header: int
    data: int
    end: int


def parts_of(path: Path) -> list[Part]:
    with zipfile.ZipFile(path) as archive:
        found = []
        for member in archive.infolist():
            with archive.open(member) as stream:
                start = stream._orig_compress_start  # type: ignore[attr-defined]
            found.append(
                Part(member.filename, member.header_offset, start, start + member.compress_size)
            )
        return found
