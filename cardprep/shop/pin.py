"""What the user's settings remember of each shop folder: its key, and the newest manifest seen.

Kept outside the shop folder, so that a folder that was swapped whole, or put
back to an older state, is noticed. One small file for each shop folder, known
by the folder's absolute path as it was given; a link on the way is not
followed, because a link that was turned elsewhere is a swap too.

Form: one line of canonical JSON. A file that is not in this form is a refusal
and never taken for a shop that was not seen before.
"""

from __future__ import annotations

import hashlib
import os
import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path

from cardprep import canonical
from cardprep.errors import CanonicalError, ShopKeyError
from cardprep.shop.files import make_folder, read_if_there, write_whole
from cardprep.sshsig import fingerprint, parse_public_key_line, public_key_line
from cardprep.terms import spelled_out

FORMAT = 1
PIN_LIMIT = 64 * 1024

_DIGEST = re.compile(r"[0-9a-f]{64}")
_KEYS = {"digest", "fingerprint", "folder", "format", "public_key", "serial"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Pin:
    """What is remembered of one shop folder.

    public_key  the 32 bytes of the shop's key
    serial      the highest serial of a trusted manifest seen, 0 if none was
    digest      sha256 of that manifest's text, None if none was
    """

    public_key: bytes
    serial: int = 0
    digest: str | None = None

    @property
    def fingerprint(self) -> str:
        """The key's fingerprint, as ssh-keygen shows it."""
        return fingerprint(self.public_key)


def load_pin(settings: Path, folder: Path) -> Pin | None:
    """Return what is remembered of a shop folder, None if it was never seen.

    settings  the folder of the user's settings
    Raises ShopKeyError if the file is damaged, ShopFolderError if it cannot be read.
    """
    path = pin_file(settings, folder)
    data = read_if_there(path, PIN_LIMIT)
    if data is None:
        return None
    try:
        return _pin(canonical.loads(data.removesuffix(b"\n")))
    except (CanonicalError, ShopKeyError, _NotAPinError) as error:
        raise ShopKeyError("shop.pin-damaged", path=spelled_out(str(path))) from error


def save_pin(settings: Path, folder: Path, pin: Pin) -> None:
    """Remember `pin` of a shop folder from now on."""
    path = pin_file(settings, folder)
    make_folder(path.parent)
    values: dict[str, canonical.Json] = {
        "digest": pin.digest,
        "fingerprint": pin.fingerprint,
        "folder": spelled_out(_absolute(folder)),
        "format": FORMAT,
        "public_key": public_key_line(pin.public_key),
        "serial": pin.serial,
    }
    write_whole(path, canonical.dumps(values) + b"\n", mode=0o600)


def note_manifest(settings: Path, folder: Path, pin: Pin, serial: int, digest: str) -> Pin:
    """Remember that a trusted manifest was seen; an older one changes nothing.

    digest  sha256 of its text
    """
    if serial <= pin.serial:
        return pin
    pin = replace(pin, serial=serial, digest=digest)
    save_pin(settings, folder, pin)
    return pin


def pin_file(settings: Path, folder: Path) -> Path:
    """Return the file that remembers a shop folder."""
    name = hashlib.sha256(os.fsencode(_absolute(folder))).hexdigest()[:32]
    return settings / "shops" / f"{name}.json"


class _NotAPinError(Exception):
    """The values are not those of a pin."""


def _pin(values: canonical.Json) -> Pin:
    if not isinstance(values, Mapping) or values.keys() != _KEYS:
        raise _NotAPinError
    line, serial, digest = values["public_key"], values["serial"], values["digest"]
    if any(type(values[key]) is not int for key in ("format", "serial")):
        raise _NotAPinError
    if values["format"] != FORMAT or not isinstance(line, str) or not isinstance(serial, int):
        raise _NotAPinError
    if digest is not None and not (isinstance(digest, str) and _DIGEST.fullmatch(digest)):
        raise _NotAPinError
    if serial < 0 or (digest is None) != (serial == 0):
        raise _NotAPinError
    pin = Pin(public_key=parse_public_key_line(line), serial=serial, digest=digest)
    if values["fingerprint"] != pin.fingerprint:
        raise _NotAPinError
    return pin


def _absolute(folder: Path) -> str:
    return os.path.normpath(folder.absolute())
