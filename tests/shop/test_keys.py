"""The shop's key: the pinned one, in a file that nobody else may read, or held by an agent."""

from __future__ import annotations

import os
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest

from cardprep import sshsig
from cardprep.errors import ShopFolderError, ShopKeyError
from cardprep.shop.folder import Shop, create
from cardprep.shop.keys import load_public_key, load_signer
from cardprep.sshsig import PrivateKey
from cardprep.texts.catalogue import refusal

# Source of the seeds: RFC 8032, section 7.1, tests 1 and 2.
KEY = PrivateKey(bytes.fromhex("9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60"))
OTHER = PrivateKey(
    bytes.fromhex("4ccd089b28ff96da9db6c346ec114e0f5b8a319f35aba624da8cf6ed4fb8a6fb")
)


def made(path: Path, key: PrivateKey | bytes = KEY) -> Shop:
    return create(
        path, name="Gannet Slip", bench="B", operator="Ines", key=key, manifest=b"", signature=b""
    )


def reason(shop: Shop, pinned: PrivateKey = KEY) -> str:
    with pytest.raises(ShopKeyError) as raised:
        load_signer(shop, pinned.public_key)
    assert "(" not in refusal(raised.value).message
    return raised.value.reason


def test_from_the_file(tmp_path: Path) -> None:
    shop = made(tmp_path)
    assert load_public_key(shop) == KEY.public_key
    signer = load_signer(shop, KEY.public_key)
    assert signer.public_key == KEY.public_key
    sshsig.verify(sshsig.sign(b"x", "a", signer), b"x", "a", KEY.public_key)


@pytest.mark.parametrize("mode", [0o640, 0o604, 0o660, 0o601, 0o777])
def test_readable_by_others(tmp_path: Path, mode: int) -> None:
    shop = made(tmp_path)
    shop.key.chmod(mode)
    with pytest.raises(ShopKeyError) as raised:
        load_signer(shop, KEY.public_key)
    assert raised.value.reason == "shop.key-mode"
    assert raised.value.parameters["found"] == f"{mode:04o}"


@pytest.mark.parametrize("mode", [0o600, 0o400, 0o700])
def test_readable_by_the_user_alone(tmp_path: Path, mode: int) -> None:
    shop = made(tmp_path)
    shop.key.chmod(mode)
    assert load_signer(shop, KEY.public_key).public_key == KEY.public_key


def test_systems_without_modes(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    shop = made(tmp_path)
    shop.key.chmod(0o644)
    monkeypatch.setattr(os, "name", "nt")
    assert load_signer(shop, KEY.public_key).public_key == KEY.public_key


def test_a_folder_that_was_swapped_whole(tmp_path: Path) -> None:
    shop = made(tmp_path, OTHER)
    with pytest.raises(ShopKeyError) as raised:
        load_signer(shop, KEY.public_key)
    assert raised.value.reason == "shop.key-not-pinned"
    assert raised.value.parameters == {
        "found": sshsig.fingerprint(OTHER.public_key),
        "wanted": sshsig.fingerprint(KEY.public_key),
    }


def test_a_private_key_of_another_shop(tmp_path: Path) -> None:
    shop = made(tmp_path)
    shop.key.write_bytes(OTHER.to_openssh())
    assert reason(shop) == "shop.key-pair"


def test_keys_that_are_no_keys(tmp_path: Path) -> None:
    shop = made(tmp_path)
    shop.key.write_bytes(b"x")
    assert reason(shop) == "key.unreadable"
    shop.public_key.write_bytes(b"x")
    assert reason(shop) == "key.public-line"


@pytest.mark.parametrize("name", ["key", "key.pub"])
def test_files_that_are_not_there(tmp_path: Path, name: str) -> None:
    shop = made(tmp_path)
    (tmp_path / name).unlink()
    with pytest.raises(ShopFolderError) as raised:
        load_signer(shop, KEY.public_key)
    assert raised.value.reason == "shop.file-missing"
    (tmp_path / name).mkdir(mode=0o700)
    with pytest.raises(ShopFolderError):
        load_signer(shop, KEY.public_key)


def test_a_key_file_that_is_too_large(tmp_path: Path) -> None:
    shop = made(tmp_path)
    shop.key.write_bytes(b" " * (sshsig.KEY_FILE_LIMIT + 1))
    with pytest.raises(ShopFolderError) as raised:
        load_signer(shop, KEY.public_key)
    assert raised.value.reason == "shop.file-large"


@pytest.mark.oracle
def test_a_passphrase_of_ssh_keygen(tmp_path: Path) -> None:
    shop = made(tmp_path)
    command = ["ssh-keygen", "-q", "-p", "-P", "", "-N", "gannet", "-f", str(shop.key)]
    subprocess.run(command, capture_output=True, check=True)
    assert reason(shop) == "key.passphrase-wanted"


def test_an_agent_is_wanted(tmp_path: Path) -> None:
    shop = made(tmp_path, KEY.public_key)
    assert reason(shop) == "shop.no-agent"


@pytest.fixture
def agent(tmp_path: Path) -> Iterator[str]:
    """Run ssh-agent with the shop's key in it, and give the path of its socket."""
    socket = tmp_path / "agent"
    with subprocess.Popen(
        ["ssh-agent", "-D", "-a", str(socket)], stdout=subprocess.PIPE, stderr=subprocess.DEVNULL
    ) as process:
        try:
            assert process.stdout is not None
            process.stdout.readline()
            key = tmp_path / "agent.key"
            key.touch(mode=0o600)
            key.write_bytes(KEY.to_openssh())
            environment = {**os.environ, "SSH_AUTH_SOCK": str(socket)}
            subprocess.run(
                ["ssh-add", "-q", str(key)], env=environment, capture_output=True, check=True
            )
            yield str(socket)
        finally:
            process.terminate()


@pytest.mark.oracle
def test_an_agent_signs(tmp_path: Path, agent: str) -> None:
    shop = made(tmp_path / "shop", KEY.public_key)
    signer = load_signer(shop, KEY.public_key, agent_socket=agent)
    assert signer.public_key == KEY.public_key
    sshsig.verify(sshsig.sign(b"x", "a", signer), b"x", "a", KEY.public_key)
