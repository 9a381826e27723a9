"""Load the shop's key and see that it is the one that this user knows the shop by.

Reads the key file or names the key to ssh-agent, as the shop's settings say. A
key file that others may read is refused, as OpenSSH refuses it. Nothing is
signed here, and the private key is never written or shown.
"""

from __future__ import annotations

import os
import stat
from pathlib import Path

from cardprep.errors import ShopKeyError
from cardprep.shop.files import read_descriptor, read_whole, refusals
from cardprep.shop.folder import Shop
from cardprep.shop.settings import Signing
from cardprep.sshsig import (
    KEY_FILE_LIMIT,
    PrivateKey,
    Signer,
    fingerprint,
    parse_public_key_line,
)
from cardprep.terms import spelled_out

_READ = os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_CLOEXEC", 0)
_FOR_OTHERS = stat.S_IRWXG | stat.S_IRWXO


def load_public_key(shop: Shop) -> bytes:
    """Return the 32 bytes of the public key that lies in the shop folder.

    What lies there proves nothing until it is compared with the pinned one.
    Raises ShopKeyError or ShopFolderError.
    """
    return parse_public_key_line(read_whole(shop.public_key, KEY_FILE_LIMIT))


def load_signer(
    shop: Shop,
    pinned_key: bytes,
    *,
    agent_socket: str | None = None,
    passphrase: bytes | None = None,
) -> Signer:
    """Return what signs for the shop.

    pinned_key    the 32 bytes of the public key in the user's settings
    agent_socket  path of ssh-agent's socket, wanted where the settings say so
    passphrase    for a key file that has one
    Raises ShopKeyError if there is no key, if it is not the pinned one, or if
    others may read it; ShopFolderError if a file cannot be read.
    """
    public_key = load_public_key(shop)
    if public_key != pinned_key:
        found, wanted = fingerprint(public_key), fingerprint(pinned_key)
        raise ShopKeyError("shop.key-not-pinned", found=found, wanted=wanted)
    if shop.settings.signing is Signing.AGENT:
        if not agent_socket:
            raise ShopKeyError("shop.no-agent")
        # Benches whose key is a file never pay for loading it.
        from cardprep.shop.agent import AgentSigner

        return AgentSigner(agent_socket, pinned_key)
    signer = PrivateKey.from_openssh(_private_key_file(shop.key), passphrase)
    if signer.public_key != pinned_key:
        found, wanted = fingerprint(signer.public_key), fingerprint(pinned_key)
        raise ShopKeyError("shop.key-pair", found=found, wanted=wanted)
    return signer


def _private_key_file(path: Path) -> bytes:
    with refusals(path):
        descriptor = os.open(path, _READ)
    try:
        with refusals(path):
            mode = stat.S_IMODE(os.fstat(descriptor).st_mode)
        # Elsewhere these bits say nothing.
        if os.name == "posix" and mode & _FOR_OTHERS:
            raise ShopKeyError("shop.key-mode", path=spelled_out(str(path)), found=f"{mode:04o}")
        return read_descriptor(descriptor, path, KEY_FILE_LIMIT)
    finally:
        os.close(descriptor)
