"""Sign the manifest's text with the next serial, or name its mistakes."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass

from cardprep.bench.open import Bench
from cardprep.bench.records import SIGNED
from cardprep.canonical import Json
from cardprep.errors import ManifestTextError
from cardprep.manifest import edit
from cardprep.manifest.model import Manifest
from cardprep.manifest.text import SIZE_LIMIT, find_mistakes, parse
from cardprep.manifest.trust import sign
from cardprep.shop.files import read_whole, write_whole


@dataclass(frozen=True, slots=True, kw_only=True)
class Signed:
    """A manifest that is signed; `changed` is False if it was so before."""

    serial: int
    sha256: str
    images: int
    changed: bool


def sign_manifest(bench: Bench) -> Signed:
    """Sign the manifest's text with the next serial, unless it is signed as it stands.

    Raises ManifestTextError for mistakes in the text, and what the signer raises.
    """
    trusted, _ = bench.trusted_or_reason()
    if trusted is not None:
        return Signed(
            serial=trusted.manifest.serial,
            sha256=trusted.sha256,
            images=len(trusted.manifest.images),
            changed=False,
        )
    file = str(bench.shop.manifest)
    text = read_whole(bench.shop.manifest, SIZE_LIMIT)
    # A serial that somebody raised by hand stands; one that is used up does not.
    serial = max(bench.pin.serial + 1, parse(text, file=file).serial)
    text = edit.set_serial(text, serial, bench.pin.digest, file=file)
    signature = sign(text, bench.signer(), file=file)
    # The signature of the text before stays until the new text is there; a crash
    # in between leaves a text that is not believed, and signing again mends it.
    write_whole(bench.shop.manifest, text)
    write_whole(bench.shop.manifest_signature, signature)
    images = len(parse(text, file=file).images)
    sha256 = hashlib.sha256(text).hexdigest()
    body: dict[str, Json] = {
        "serial": serial,
        "sha256": sha256,
        "previous": bench.pin.digest,
        "images": images,
        "signature": signature.decode(),
    }
    bench.record(SIGNED, body, [("digest", sha256)])
    bench.trusted()
    return Signed(serial=serial, sha256=sha256, images=images, changed=True)


def check_manifest(bench: Bench) -> tuple[Manifest | None, tuple[ManifestTextError, ...]]:
    """Return the manifest as it stands, signed or not, or all its mistakes."""
    file = str(bench.shop.manifest)
    text = read_whole(bench.shop.manifest, SIZE_LIMIT)
    mistakes = find_mistakes(text, file=file)
    return (None if mistakes else parse(text, file=file)), mistakes
