"""Decide whether the text of a manifest may be believed: all rules, and no I/O.

It is fed the bytes of the text and of the detached signature, and what the
user's settings have pinned: the shop's key, and the highest serial seen with
its digest. It never opens a file and never asks the clock. Whoever holds a
TrustedManifest holds one that passed here; there is no other way to make one.

A text is refused that is unsigned, changed since it was signed, signed by
another key, older than one already seen, or another one of the same serial.
The signature is checked first, so that nothing in an unsigned text is read.

Source: OpenSSH PROTOCOL.sshsig, through ``cardprep.sshsig``.
"""

from __future__ import annotations

import hashlib
from dataclasses import InitVar, dataclass

from cardprep import sshsig
from cardprep.errors import ManifestUntrustedError, SignatureError
from cardprep.manifest import text as manifest_text
from cardprep.manifest.model import Manifest

_SEAL = object()


@dataclass(frozen=True, slots=True, kw_only=True)
class TrustedManifest:
    """A manifest whose signature was checked against the shop's pinned key.

    sha256      of the exact bytes that were signed, lower-case hex
    public_key  the 32 bytes of the key that signed
    """

    manifest: Manifest
    sha256: str
    public_key: bytes
    seal: InitVar[object]

    def __post_init__(self, seal: object) -> None:
        """Refuse to be made anywhere but in this file."""
        if seal is not _SEAL:
            raise TypeError("a TrustedManifest is made by trust() alone")


def trust(
    text: bytes,
    signature: bytes | None,
    pinned_key: bytes,
    lowest_serial: int,
    *,
    seen_digest: str | None = None,
    file: str = manifest_text.FILE,
) -> TrustedManifest:
    """Return the manifest that `text` spells, if it may be believed.

    signature      the detached SSH signature in its armor, or None where there is none
    pinned_key     the 32 bytes of the shop's public key, from the user's settings
    lowest_serial  the highest serial already seen, 0 if none was
    seen_digest    sha256 of the text that was seen with that serial
    Raises ManifestUntrustedError with the reason, or ManifestTextError for a text
    that was signed although it has mistakes.
    """
    _check_signature(text, signature, pinned_key, file)
    manifest = manifest_text.parse(text, file=file)
    sha256 = hashlib.sha256(text).hexdigest()
    if manifest.serial < lowest_serial:
        raise ManifestUntrustedError(
            "manifest.older", file=file, found=manifest.serial, seen=lowest_serial
        )
    if manifest.serial == lowest_serial and seen_digest not in (None, sha256):
        raise ManifestUntrustedError("manifest.same-serial", file=file, found=manifest.serial)
    return TrustedManifest(manifest=manifest, sha256=sha256, public_key=pinned_key, seal=_SEAL)


def sign(text: bytes, signer: sshsig.Signer, *, file: str = manifest_text.FILE) -> bytes:
    """Return the detached signature of a text that has no mistakes.

    Raises ManifestTextError for one that has, and what the signer raises.
    """
    manifest_text.parse(text, file=file)
    return sshsig.sign(text, sshsig.MANIFEST_NAMESPACE, signer).encode()


def _check_signature(text: bytes, signature: bytes | None, pinned_key: bytes, file: str) -> None:
    if signature is None:
        raise ManifestUntrustedError("manifest.unsigned", file=file)
    try:
        sshsig.verify(signature, text, sshsig.MANIFEST_NAMESPACE, pinned_key)
    except SignatureError as error:
        if error.reason == "signature.other-key":
            found, wanted = error.parameters["found"], error.parameters["wanted"]
            raise ManifestUntrustedError(
                "manifest.other-key", file=file, found=found, wanted=wanted
            ) from error
        changed = error.reason == "signature.incorrect"
        reason = "manifest.changed" if changed else "manifest.signature-unreadable"
        raise ManifestUntrustedError(reason, file=file) from error
