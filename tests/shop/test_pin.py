"""What is remembered of a shop folder outside of it, and that damage there is never 'new'."""

from __future__ import annotations

import hashlib
import json
import stat
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cardprep.errors import ShopFolderError, ShopKeyError
from cardprep.shop.pin import Pin, load_pin, note_manifest, pin_file, save_pin
from cardprep.sshsig import PrivateKey, public_key_line

# Source of the seeds: RFC 8032, section 7.1, tests 1 and 2.
KEY = PrivateKey(
    bytes.fromhex("9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60")
).public_key
OTHER = PrivateKey(
    bytes.fromhex("4ccd089b28ff96da9db6c346ec114e0f5b8a319f35aba624da8cf6ed4fb8a6fb")
).public_key
SHOP = Path("/srv/gannet slip")
DIGEST = hashlib.sha256(b"manifest").hexdigest()
PIN = Pin(public_key=KEY, serial=7, digest=DIGEST)


def test_read_back(tmp_path: Path) -> None:
    assert load_pin(tmp_path / "settings", SHOP) is None
    for pin in (Pin(public_key=KEY), PIN):
        save_pin(tmp_path / "settings", SHOP, pin)
        assert load_pin(tmp_path / "settings", SHOP) == pin


def test_the_file_can_be_read_by_a_person(tmp_path: Path) -> None:
    save_pin(tmp_path, SHOP, PIN)
    path = pin_file(tmp_path, SHOP)
    assert json.loads(path.read_text()) == {
        "digest": DIGEST,
        # Source: OpenSSH's ssh-keygen -l of this key.
        "fingerprint": "SHA256:bbXpuKG6zhzdmnxq256TlqzFBzRl2f6OOg722cYNbU8",
        "folder": "/srv/gannet slip",
        "format": 1,
        "public_key": public_key_line(KEY),
        "serial": 7,
    }
    assert stat.S_IMODE(path.stat().st_mode) == 0o600


def test_each_shop_has_its_own(tmp_path: Path) -> None:
    save_pin(tmp_path, SHOP, PIN)
    save_pin(tmp_path, SHOP / "b", Pin(public_key=OTHER))
    assert load_pin(tmp_path, SHOP) == PIN
    assert load_pin(tmp_path, SHOP / "b") == Pin(public_key=OTHER)
    assert load_pin(tmp_path, SHOP / "c") is None


def test_a_shop_is_known_by_its_absolute_path(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "shop").mkdir()
    monkeypatch.chdir(tmp_path)
    assert pin_file(tmp_path, Path("shop")) == pin_file(tmp_path, tmp_path / "shop")
    assert pin_file(tmp_path, Path("x/../shop/.")) == pin_file(tmp_path, tmp_path / "shop")
    # A link that was turned elsewhere must not lead to what is remembered of the other.
    (tmp_path / "link").symlink_to(tmp_path / "shop")
    assert pin_file(tmp_path, tmp_path / "link") != pin_file(tmp_path, tmp_path / "shop")


def test_a_path_that_is_no_text(tmp_path: Path) -> None:
    folder = Path("/srv/\udcff\x1b")
    save_pin(tmp_path, folder, PIN)
    assert load_pin(tmp_path, folder) == PIN
    assert b"\\\\udcff\\\\x1b" in pin_file(tmp_path, folder).read_bytes()


def test_newer_manifests_are_noted(tmp_path: Path) -> None:
    pin = Pin(public_key=KEY)
    pin = note_manifest(tmp_path, SHOP, pin, 3, DIGEST)
    assert load_pin(tmp_path, SHOP) == pin == Pin(public_key=KEY, serial=3, digest=DIGEST)
    assert note_manifest(tmp_path, SHOP, pin, 2, "a" * 64) == pin
    assert note_manifest(tmp_path, SHOP, pin, 3, "a" * 64) == pin
    assert load_pin(tmp_path, SHOP) == pin
    assert note_manifest(tmp_path, SHOP, pin, 4, "a" * 64).serial == 4


def test_any_byte_altered_is_damage(tmp_path: Path) -> None:
    save_pin(tmp_path, SHOP, PIN)
    path = pin_file(tmp_path, SHOP)
    whole = path.read_bytes()
    for at in range(len(whole)):
        altered = bytearray(whole)
        altered[at] ^= 0xFF
        path.write_bytes(altered)
        with pytest.raises(ShopKeyError) as raised:
            load_pin(tmp_path, SHOP)
        assert raised.value.reason == "shop.pin-damaged"


@pytest.mark.parametrize(
    ("key", "value"),
    [
        pytest.param("format", 2, id="other format"),
        pytest.param("format", True, id="truth value for format"),
        pytest.param("serial", True, id="truth value for serial"),
        pytest.param("serial", "7", id="text for serial"),
        pytest.param("serial", -1, id="negative serial"),
        pytest.param("serial", 0, id="digest of no manifest"),
        pytest.param("digest", None, id="manifest without digest"),
        pytest.param("digest", "ab", id="short digest"),
        pytest.param("digest", 7, id="number for digest"),
        pytest.param("public_key", 7, id="number for a key"),
        pytest.param("public_key", "ssh-rsa AAAA", id="other key"),
        pytest.param("public_key", public_key_line(OTHER), id="key of another fingerprint"),
        pytest.param("fingerprint", "SHA256:", id="fingerprint of nothing"),
        pytest.param("more", 1, id="unknown key"),
    ],
)
def test_values_that_cannot_be(tmp_path: Path, key: str, value: object) -> None:
    save_pin(tmp_path, SHOP, PIN)
    path = pin_file(tmp_path, SHOP)
    values = json.loads(path.read_text()) | {key: value}
    path.write_text(json.dumps(values, sort_keys=True, separators=(",", ":")))
    with pytest.raises(ShopKeyError):
        load_pin(tmp_path, SHOP)


@settings(deadline=None, max_examples=100)
@given(data=st.binary(max_size=100) | st.sampled_from([b"null", b"[]", b"{}", b"[" * 9999]))
def test_any_bytes(tmp_path_factory: pytest.TempPathFactory, data: bytes) -> None:
    folder = tmp_path_factory.getbasetemp() / "any"
    path = pin_file(folder, SHOP)
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(data)
    with pytest.raises(ShopKeyError):
        load_pin(folder, SHOP)


def test_what_cannot_be_read_is_not_new(tmp_path: Path) -> None:
    pin_file(tmp_path, SHOP).mkdir(parents=True)
    with pytest.raises(ShopFolderError):
        load_pin(tmp_path, SHOP)
    pin_file(tmp_path, SHOP).rmdir()
    pin_file(tmp_path, SHOP).write_bytes(b" " * (64 * 1024 + 1))
    with pytest.raises(ShopFolderError):
        load_pin(tmp_path, SHOP)
