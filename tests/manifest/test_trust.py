"""Which manifests may be believed: signatures, one damaged byte anywhere, serials, ssh-keygen."""

from __future__ import annotations

import copy
import dataclasses
import hashlib
import subprocess
from pathlib import Path

import pytest

from cardprep import sshsig
from cardprep.errors import ManifestTextError, ManifestUntrustedError
from cardprep.manifest.edit import set_serial
from cardprep.manifest.text import parse
from cardprep.manifest.trust import TrustedManifest, sign, trust
from cardprep.texts.catalogue import refusal

SAMPLE = (Path(__file__).parents[2] / "fixtures" / "gannet_slip.toml").read_bytes()
# Source of the seeds: RFC 8032, section 7.1, tests 1 and 2.
SHOP = sshsig.PrivateKey(
    bytes.fromhex("9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60")
)
OTHER = sshsig.PrivateKey(
    bytes.fromhex("4ccd089b28ff96da9db6c346ec114e0f5b8a319f35aba624da8cf6ed4fb8a6fb")
)
SIGNATURE = sign(SAMPLE, SHOP)
DIGEST = hashlib.sha256(SAMPLE).hexdigest()


def reason(
    text: bytes, signature: bytes | None, lowest_serial: int = 0, seen_digest: str | None = None
) -> str:
    """Return why a text is not believed."""
    with pytest.raises(ManifestUntrustedError) as raised:
        trust(
            text,
            signature,
            SHOP.public_key,
            lowest_serial,
            seen_digest=seen_digest,
            file="m.toml",
        )
    assert raised.value.parameters["file"] == "m.toml"
    assert refusal(raised.value).message
    return raised.value.reason


def test_a_signed_manifest_is_believed() -> None:
    trusted = trust(SAMPLE, SIGNATURE, SHOP.public_key, 0)
    assert trusted.manifest == parse(SAMPLE)
    assert trusted.sha256 == DIGEST
    assert trusted.public_key == SHOP.public_key


def test_unsigned() -> None:
    assert reason(SAMPLE, None) == "manifest.unsigned"


def test_signed_by_another_key() -> None:
    with pytest.raises(ManifestUntrustedError) as raised:
        trust(SAMPLE, sign(SAMPLE, OTHER), SHOP.public_key, 0)
    assert raised.value.reason == "manifest.other-key"
    assert raised.value.parameters == {
        "file": "manifest.toml",
        "found": sshsig.fingerprint(OTHER.public_key),
        "wanted": sshsig.fingerprint(SHOP.public_key),
    }


def test_signed_for_another_purpose() -> None:
    other = sshsig.sign(SAMPLE, sshsig.CHECKPOINT_NAMESPACE, SHOP).encode()
    assert reason(SAMPLE, other) == "manifest.signature-unreadable"


@pytest.mark.parametrize(
    "signature",
    [
        b"",
        b"x",
        b"\xff" * 100,
        SIGNATURE[:-1] * 2,
        SIGNATURE.replace(b"\n", b"\r\n"),
        SIGNATURE[1:],
    ],
)
def test_no_signature(signature: bytes) -> None:
    assert reason(SAMPLE, signature) == "manifest.signature-unreadable"


@pytest.mark.parametrize("start", range(0, len(SAMPLE), 512))
def test_any_byte_of_the_text_altered(start: int) -> None:
    for at in range(start, min(start + 512, len(SAMPLE))):
        altered = bytearray(SAMPLE)
        altered[at] ^= 0xFF
        assert reason(bytes(altered), SIGNATURE) == "manifest.changed"


def test_any_byte_of_the_signature_altered() -> None:
    for at in range(len(SIGNATURE)):
        altered = bytearray(SIGNATURE)
        altered[at] ^= 0xFF
        assert reason(SAMPLE, bytes(altered)) == "manifest.signature-unreadable"


def test_any_letter_of_the_signature_altered() -> None:
    reasons = set()
    for at in range(len(SIGNATURE)):
        letter = b"A" if SIGNATURE[at : at + 1] != b"A" else b"B"
        reasons.add(reason(SAMPLE, SIGNATURE[:at] + letter + SIGNATURE[at + 1 :]))
    assert reasons == {
        "manifest.changed",
        "manifest.other-key",
        "manifest.signature-unreadable",
    }


@pytest.mark.parametrize("text", [SAMPLE + b"\n", SAMPLE[:-1], b"", SAMPLE.replace(b"\n", b"\r\n")])
def test_other_lengths(text: bytes) -> None:
    assert reason(text, SIGNATURE) == "manifest.changed"


def test_nothing_unsigned_is_read() -> None:
    # A text that could not be read is still called unsigned and not faulty.
    assert reason(b"\x00" * 100, None) == "manifest.unsigned"
    assert reason(b"[" * 100_000, SIGNATURE) == "manifest.changed"


def test_signed_with_mistakes() -> None:
    text = SAMPLE.replace(b"format = 1", b"format = 2")
    signature = sshsig.sign(text, sshsig.MANIFEST_NAMESPACE, SHOP).encode()
    with pytest.raises(ManifestTextError) as raised:
        trust(text, signature, SHOP.public_key, 0, file="m.toml")
    assert raised.value.reason == "manifest.format"
    with pytest.raises(ManifestTextError):
        sign(text, SHOP)


@pytest.mark.parametrize(
    ("lowest", "seen", "why"),
    [
        pytest.param(0, None, None, id="first time"),
        pytest.param(6, "a" * 64, None, id="newer"),
        pytest.param(7, None, None, id="same serial, digest not kept"),
        pytest.param(7, DIGEST, None, id="the very same"),
        pytest.param(7, "a" * 64, "manifest.same-serial", id="same serial, other text"),
        pytest.param(8, None, "manifest.older", id="older"),
        pytest.param(8, DIGEST, "manifest.older", id="older, whatever was seen"),
    ],
)
def test_serials(lowest: int, seen: str | None, why: str | None) -> None:
    if why is None:
        trusted = trust(SAMPLE, SIGNATURE, SHOP.public_key, lowest, seen_digest=seen)
        assert trusted.manifest.serial == 7
    else:
        assert reason(SAMPLE, SIGNATURE, lowest, seen) == why


def test_the_next_one_names_the_one_before() -> None:
    text = set_serial(SAMPLE, 8, DIGEST)
    trusted = trust(text, sign(text, SHOP), SHOP.public_key, 7, seen_digest=DIGEST)
    assert (trusted.manifest.serial, trusted.manifest.previous) == (8, DIGEST)


def test_there_is_no_other_way_to_make_one() -> None:
    trusted = trust(SAMPLE, SIGNATURE, SHOP.public_key, 0)
    manifest = parse(SAMPLE)
    with pytest.raises(TypeError):
        TrustedManifest(manifest=manifest, sha256=DIGEST, public_key=b"", seal=object())
    with pytest.raises(TypeError):
        TrustedManifest(manifest=manifest, sha256=DIGEST, public_key=b"")  # type: ignore[call-arg]
    with pytest.raises(ValueError, match="seal"):
        dataclasses.replace(trusted, manifest=manifest)  # type: ignore[call-arg]
    with pytest.raises(dataclasses.FrozenInstanceError):
        trusted.sha256 = "a" * 64  # type: ignore[misc]
    assert copy.copy(trusted) == trusted


@pytest.mark.oracle
def test_ssh_keygen_agrees(tmp_path: Path) -> None:
    allowed = tmp_path / "allowed"
    line = sshsig.allowed_signers_line(
        "bench@example.org", sshsig.MANIFEST_NAMESPACE, SHOP.public_key
    )
    allowed.write_text(f"{line}\n")
    (tmp_path / "manifest.toml.sig").write_bytes(SIGNATURE)
    command = [
        *("ssh-keygen", "-Y", "verify", "-f", str(allowed), "-I", "bench@example.org"),
        *("-n", sshsig.MANIFEST_NAMESPACE, "-s", str(tmp_path / "manifest.toml.sig")),
    ]
    assert subprocess.run(command, input=SAMPLE, capture_output=True, check=False).returncode == 0
    changed = subprocess.run(command, input=SAMPLE + b"\n", capture_output=True, check=False)
    assert changed.returncode != 0


@pytest.mark.oracle
def test_signed_by_ssh_keygen(tmp_path: Path) -> None:
    key, text = tmp_path / "key", tmp_path / "manifest.toml"
    key.touch(mode=0o600)
    key.write_bytes(SHOP.to_openssh())
    text.write_bytes(SAMPLE)
    subprocess.run(
        ["ssh-keygen", "-Y", "sign", "-f", key, "-n", sshsig.MANIFEST_NAMESPACE, text],
        capture_output=True,
        check=True,
    )
    signature = (tmp_path / "manifest.toml.sig").read_bytes()
    assert trust(SAMPLE, signature, SHOP.public_key, 7).sha256 == DIGEST
