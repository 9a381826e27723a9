"""A shop folder: made once, never over something, and readable with other programs."""

from __future__ import annotations

import errno
import os
import stat
import subprocess
from pathlib import Path

import pytest
from pyfakefs import helpers
from pyfakefs.fake_filesystem import FakeFilesystem

from cardprep.errors import ShopFolderError
from cardprep.shop.folder import Shop, create, open_shop
from cardprep.shop.settings import Signing
from cardprep.sshsig import PrivateKey, fingerprint, public_key_line

# Source of the seed: RFC 8032, section 7.1, test 1.
KEY = PrivateKey(bytes.fromhex("9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60"))


def made(path: Path, key: PrivateKey | bytes = KEY, bench: str = "B") -> Shop:
    return create(
        path,
        name="Gannet Slip Marine Electronics",
        bench=bench,
        operator="Ines",
        key=key,
        manifest=b"# manifest\n",
        signature=b"signature\n",
    )


def tree(path: Path) -> list[str]:
    return sorted(str(inner.relative_to(path)) for inner in path.rglob("*"))


def test_what_is_made(tmp_path: Path) -> None:
    shop = made(tmp_path / "new" / "shop")
    assert tree(shop.folder) == [
        "jobs",
        "key",
        "key.pub",
        "manifest.toml",
        "manifest.toml.sig",
        "shelf",
        "shop.toml",
    ]
    assert shop.manifest.read_bytes() == b"# manifest\n"
    assert shop.manifest_signature.read_bytes() == b"signature\n"
    assert shop.public_key.read_text() == f"{public_key_line(KEY.public_key)}\n"
    assert stat.S_IMODE(shop.key.stat().st_mode) == 0o600
    assert shop.shelf.is_dir()
    assert shop.jobs.is_dir()
    assert (shop.log.name, shop.lock.name) == ("log.sqlite3", "lock")


def test_opened_again(tmp_path: Path) -> None:
    shop = made(tmp_path)
    assert open_shop(tmp_path) == shop
    assert shop.settings.signing is Signing.FILE


def test_a_key_that_an_agent_holds_leaves_no_private_key(tmp_path: Path) -> None:
    shop = made(tmp_path, KEY.public_key)
    assert not shop.key.exists()
    assert shop.public_key.read_text() == f"{public_key_line(KEY.public_key)}\n"
    assert open_shop(tmp_path).settings.signing is Signing.AGENT


@pytest.mark.parametrize("name", ["shop.toml", ".hidden", "folder"])
def test_never_over_something(tmp_path: Path, name: str) -> None:
    (tmp_path / name).mkdir()
    with pytest.raises(ShopFolderError) as raised:
        made(tmp_path)
    assert raised.value.reason == "shop.folder-not-empty"
    assert tree(tmp_path) == [name]


def test_twice(tmp_path: Path) -> None:
    made(tmp_path)
    before = {path: path.read_bytes() for path in tmp_path.iterdir() if path.is_file()}
    with pytest.raises(ShopFolderError):
        made(tmp_path, bench="C")
    assert {path: path.read_bytes() for path in before} == before


def test_wrong_settings_make_nothing(tmp_path: Path) -> None:
    with pytest.raises(ShopFolderError) as raised:
        made(tmp_path / "shop", bench="b")
    assert raised.value.reason == "shop.settings-bench"
    assert tree(tmp_path) == []


def test_over_a_file(tmp_path: Path) -> None:
    (tmp_path / "shop").write_bytes(b"x")
    with pytest.raises(ShopFolderError):
        made(tmp_path / "shop")
    with pytest.raises(ShopFolderError) as raised:
        open_shop(tmp_path / "shop")
    assert raised.value.reason == "shop.not-there"


def test_broken_off_is_no_shop(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    whole = os.write

    def full(descriptor: int, data: bytes) -> int:
        if bytes(data).startswith(b"# Settings"):
            raise OSError(errno.ENOSPC, "No space left on device")
        return whole(descriptor, data)

    monkeypatch.setattr(os, "write", full)
    with pytest.raises(ShopFolderError):
        made(tmp_path)
    with pytest.raises(ShopFolderError) as raised:
        open_shop(tmp_path)
    assert raised.value.reason == "shop.not-a-shop"


@pytest.mark.parametrize("name", ["nowhere", "\x00", "n" * 300])
def test_nothing_there(tmp_path: Path, name: str) -> None:
    with pytest.raises(ShopFolderError):
        open_shop(tmp_path / name)


def test_settings_that_are_a_folder(tmp_path: Path) -> None:
    (tmp_path / "shop.toml").mkdir()
    with pytest.raises(ShopFolderError) as raised:
        open_shop(tmp_path)
    assert raised.value.reason == "shop.not-a-shop"


def test_settings_with_mistakes(tmp_path: Path) -> None:
    shop = made(tmp_path)
    shop.settings_file.write_bytes(shop.settings_file.read_bytes() + b"colour = 1\n")
    with pytest.raises(ShopFolderError) as raised:
        open_shop(tmp_path)
    assert raised.value.reason == "shop.settings-key"


def test_a_folder_that_may_not_be_written(fs: FakeFilesystem) -> None:
    # The fake system has users of its own, so that this holds for root too.
    helpers.set_uid(1000)
    try:
        fs.create_dir("/shop")
        Path("/shop").chmod(0o500)
        with pytest.raises(ShopFolderError) as raised:
            made(Path("/shop"))
    finally:
        helpers.reset_ids()
    assert raised.value.reason == "shop.file-refused"
    assert list(Path("/shop").iterdir()) == []


@pytest.mark.oracle
def test_ssh_keygen_reads_the_keys(tmp_path: Path) -> None:
    shop = made(tmp_path)
    for path in (shop.key, shop.public_key):
        shown = subprocess.run(
            ["ssh-keygen", "-l", "-f", str(path)], capture_output=True, text=True, check=True
        )
        assert fingerprint(KEY.public_key) in shown.stdout
    derived = subprocess.run(
        ["ssh-keygen", "-y", "-f", str(shop.key)], capture_output=True, text=True, check=True
    )
    assert derived.stdout.split()[:2] == shop.public_key.read_text().split()[:2]
