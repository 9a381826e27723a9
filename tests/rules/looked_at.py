"""Cards as the inspection sees them, in memory: no bytes of a card are made."""

from __future__ import annotations

import random

from cardprep.digests import ContentDigests
from cardprep.findings import Finding
from cardprep.images.recognise import Recogniser
from cardprep.inspection.model import InspectedFile, Inspection
from cardprep.manifest.model import Manifest
from cardprep.medium.protocol import Identity, MediumKind
from cardprep.rules.context import Context
from cardprep.rules.judge import Judgement, judge
from cardprep.terms import BOOTLOADER, CHUNK
from tests.manifests import image_facts, manifest_of

APP = random.Random(1).randbytes(3 * CHUNK + 500)
BOOT = random.Random(2).randbytes(5000)
OLD = random.Random(3).randbytes(3 * CHUNK)
GONE = b"gone" * 100

MANIFEST = manifest_of(
    image_facts("APP_430.BIN", APP),
    image_facts("BOOT_310.BIN", BOOT, kind=BOOTLOADER, version="3.10"),
    image_facts("APP_417.BIN", OLD, version="4.17"),
    image_facts("GONE.BIN", GONE, version="4.20", withdrawn="sets the clock back"),
)


def flipped(data: bytes, at: int) -> bytes:
    return data[:at] + bytes((data[at] ^ 0xFF,)) + data[at + 1 :]


def looked_at(
    path: str, content: bytes | None, *, short: str | None = None, volume: int = 0
) -> InspectedFile:
    """Return one file; without content it could not be read."""
    digests, recogniser = ContentDigests(), Recogniser()
    digests.update(content or b"")
    recogniser.feed(content or b"")
    return InspectedFile(
        volume=volume,
        path=tuple(path.split("/")),
        short=short,
        size=len(content or b""),
        attributes=0,
        modified=None,
        extents=(),
        digests=None if content is None else digests.result(),
        container=None if content is None else recogniser.finish(),
        head=(content or b"")[:32],
    )


def card(*files: InspectedFile, findings: tuple[Finding, ...] = ()) -> Inspection:
    return Inspection(
        identity=Identity(name="card", kind=MediumKind.FOLDER),
        content=None,
        files=files,
        folders=(),
        deleted=(),
        findings=findings,
        past_the_cache=True,
        bytes_read=0,
    )


def context(*files: InspectedFile, manifest: Manifest | None = MANIFEST, **more: object) -> Context:
    return Context(inspection=card(*files), manifest=manifest, **more)  # type: ignore[arg-type]


def judged(*files: InspectedFile, manifest: Manifest | None = MANIFEST) -> Judgement:
    return judge(context(*files, manifest=manifest))


def slugs(findings: tuple[Finding, ...] | list[Finding]) -> list[str]:
    return sorted(finding.slug for finding in findings)
