"""The catalogue, part three, about captures; see ``screens.py``."""

from __future__ import annotations

from collections.abc import Mapping

CAPTURE: Mapping[str, str] = {
    "capture.capture": "reading the card",
    "capture.verify": "reading the capture",
    "capture.done": "captured: {path}",
    "capture.whole": "the capture is whole: {path}",
    "capture.file": "  {size} ({bytes} bytes)",
    "capture.card": "card: {name}, {kind}",
    "capture.size": "  {size} ({bytes} bytes)",
    "capture.digest": "  sha256 {sha256}",
    "capture.when": "  read from {begun} to {ended} with cardprep {tool}",
    "capture.all-read": "every sector was read",
    "capture.lost": "NOT READ: {bytes} bytes in {count} places, filled with zeros and marked",
    "capture.stretch": "  bytes {first} to {last}: {cause}",
    "capture.stretch-untried": "  bytes {first} to {last}: {cause}; not tried sector by sector",
    "capture.more": "  and {count} more; --json lists them all",
    "capture.recorded": "recorded in the shop log",
    "capture.not-recorded": "not recorded, because {reason}: write its sha256 down",
    "capture.read": "read it as the card:\n  cardprep check {path}\nanyone can check it:",
    "capture.unpack": "  unzip {path}",
    "capture.sums": "  sha256sum -c --strict SHA256SUMS",
}
