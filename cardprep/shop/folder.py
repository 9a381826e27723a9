"""The shop folder: what stands where, and how one is made and opened.

Everything in it can be read without cardprep. The file with the settings is
written last: a folder without it is no shop folder yet.

The manifest's text and signature come in ready made; this room does not read
them.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from cardprep.errors import ShopFolderError
from cardprep.shop.files import make_folder, read_whole, refusals, write_whole
from cardprep.shop.settings import (
    SETTINGS_LIMIT,
    ShopSettings,
    Signing,
    parse_settings,
    settings_text,
)
from cardprep.sshsig import PrivateKey, public_key_line
from cardprep.terms import spelled_out


@dataclass(frozen=True, slots=True, kw_only=True)
class Shop:
    """A shop folder that is there, with its settings."""

    folder: Path
    settings: ShopSettings

    @property
    def manifest(self) -> Path:
        """The text of the manifest."""
        return self.folder / "manifest.toml"

    @property
    def manifest_signature(self) -> Path:
        """The detached signature of the manifest."""
        return self.folder / "manifest.toml.sig"

    @property
    def shelf(self) -> Path:
        """The folder of released images."""
        return self.folder / "shelf"

    @property
    def log(self) -> Path:
        """The shop log of this bench, where it is a file."""
        return self.folder / "log.sqlite3"

    @property
    def jobs(self) -> Path:
        """The folder of papers and evidence."""
        return self.folder / "jobs"

    @property
    def key(self) -> Path:
        """The shop's private key, where it is a file."""
        return self.folder / "key"

    @property
    def public_key(self) -> Path:
        """The line of the shop's public key."""
        return self.folder / "key.pub"

    @property
    def lock(self) -> Path:
        """The file that is locked while one process works on the shop."""
        return self.folder / "lock"

    @property
    def settings_file(self) -> Path:
        """The settings, without which this is no shop folder."""
        return self.folder / "shop.toml"


def create(
    path: Path,
    *,
    name: str,
    bench: str,
    operator: str,
    key: PrivateKey | bytes,
    manifest: bytes,
    signature: bytes,
) -> Shop:
    """Make a shop folder in a place where nothing is, and return it.

    key        the private key, written with mode 0600; or the 32 bytes of the
               public key if ssh-agent holds the private one
    manifest   the text of the first manifest
    signature  its detached signature
    Raises ShopFolderError if there is anything in the folder already, if a
    setting cannot be right, or if the place cannot be written.
    """
    signing = Signing.FILE if isinstance(key, PrivateKey) else Signing.AGENT
    settings = ShopSettings(name=name, bench=bench, operator=operator, signing=signing)
    shop = Shop(folder=path, settings=settings)
    text = settings_text(settings)
    parse_settings(text, str(shop.settings_file))
    make_folder(path)
    with refusals(path):
        if any(path.iterdir()):
            raise ShopFolderError("shop.folder-not-empty", path=spelled_out(str(path)))
    make_folder(shop.shelf)
    make_folder(shop.jobs)
    public_key = key.public_key if isinstance(key, PrivateKey) else key
    if isinstance(key, PrivateKey):
        write_whole(shop.key, key.to_openssh(), mode=0o600)
    write_whole(shop.public_key, f"{public_key_line(public_key)}\n".encode())
    write_whole(shop.manifest, manifest)
    write_whole(shop.manifest_signature, signature)
    write_whole(shop.settings_file, text)
    return shop


def open_shop(path: Path) -> Shop:
    """Return the shop folder at `path`, or raise ShopFolderError."""
    name = spelled_out(str(path))
    with refusals(path):
        if not path.is_dir():
            raise ShopFolderError("shop.not-there", path=name)
        file = path / "shop.toml"
        if not file.is_file():
            raise ShopFolderError("shop.not-a-shop", path=name)
    settings = parse_settings(read_whole(file, SETTINGS_LIMIT), str(file))
    return Shop(folder=path, settings=settings)
