"""Checkpoints: one spelling, a signature that OpenSSH judges, and the label's short form."""

from __future__ import annotations

import base64
import subprocess
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cardprep import sshsig
from cardprep.errors import BadValueError, CardprepError, SignatureError
from cardprep.shoplog.checkpoint import (
    Checkpoint,
    ShortCheckpoint,
    matches,
    parse_checkpoint,
    parse_short,
    sign_checkpoint,
    verify_checkpoint,
)
from cardprep.sshsig import PrivateKey
from cardprep.texts.catalogue import refusal

# Source: root of the published tree of eight leaves, transparency-dev/merkle,
# commit 417fb0c3, testonly/constants.go; shape of the text: C2SP tlog-checkpoint.
ROOT = bytes.fromhex("5dc9da79a70659a9ad559cb701ded9a2ab9d823aad2f4960cfe370eff4604328")
TEXT = b"cardprep shop log B\n8\nXcnaeacGWamtVZy3Ad7ZoqudgjqtL0lgz+Nw7/RgQyg=\n"
CHECKPOINT = Checkpoint(bench="B", size=8, root=ROOT)
SHORT = "B-8-LXE5U6NHAZ"

CHECKPOINTS = st.builds(
    Checkpoint,
    bench=st.sampled_from("ABZ"),
    size=st.integers(1, 2**53 - 1),
    root=st.binary(min_size=32, max_size=32),
)
EASY = settings(deadline=None, max_examples=60)


def refused(call: Callable[[], object]) -> str:
    with pytest.raises(BadValueError) as caught:
        call()
    assert "(" not in refusal(caught.value).message
    return caught.value.reason


def test_the_text_is_as_the_module_says() -> None:
    assert CHECKPOINT.to_text() == TEXT
    assert parse_checkpoint(TEXT) == CHECKPOINT


@given(CHECKPOINTS)
@EASY
def test_a_checkpoint_comes_back(checkpoint: Checkpoint) -> None:
    assert parse_checkpoint(checkpoint.to_text()) == checkpoint
    short = checkpoint.short()
    assert parse_short(str(short)) == short
    assert matches(short, checkpoint)


@given(st.binary(max_size=100))
@EASY
def test_any_bytes_are_refused(data: bytes) -> None:
    assert refused(lambda: parse_checkpoint(data)) == "checkpoint.text"


@pytest.mark.parametrize(
    "text",
    [
        pytest.param(TEXT[:-1], id="no last line end"),
        pytest.param(TEXT + b"\n", id="empty line after"),
        pytest.param(TEXT + TEXT, id="twice"),
        pytest.param(TEXT.replace(b"\n", b"\r\n"), id="CR LF"),
        pytest.param(TEXT.replace(b"\n8", b"\n08"), id="leading zero"),
        pytest.param(TEXT.replace(b"\n8", b"\n+8"), id="plus sign"),
        pytest.param(TEXT.replace(b"\n8", b"\n 8"), id="space"),
        pytest.param(TEXT.replace(b"\n8", b"\n0"), id="no records"),
        pytest.param(TEXT.replace(b"\n8", b"\n-8"), id="negative"),
        pytest.param(TEXT.replace(b"\n8", b"\n9007199254740992"), id="2**53"),
        pytest.param(TEXT.replace(b"\n8", b"\n" + b"9" * 60), id="60 digits"),
        pytest.param(TEXT.replace(b"\n8", "\n\u0668".encode()), id="other digits"),
        pytest.param(TEXT.replace(b"log B", b"log b"), id="small letter"),
        pytest.param(TEXT.replace(b"log B", b"log BC"), id="two letters"),
        pytest.param(TEXT.replace(b"cardprep", b"Cardprep"), id="other origin"),
        pytest.param(TEXT.replace(b"Qyg=", b"Qyh="), id="spare bits of base64"),
        pytest.param(TEXT.replace(b"Qyg=", b"Qyg"), id="no padding"),
        pytest.param(TEXT.replace(b"XcnaeacG", b"Xcna"), id="short root"),
        pytest.param(TEXT.replace(b"z+Nw7/", b"z-Nw7_"), id="base64url"),
        pytest.param(b"x" * 1000, id="long"),
        pytest.param(b"", id="empty"),
    ],
)
def test_the_text_has_one_spelling(text: bytes) -> None:
    assert refused(lambda: parse_checkpoint(text)) == "checkpoint.text"


@pytest.mark.parametrize(
    ("bench", "size", "root"),
    [("b", 8, ROOT), ("B", 0, ROOT), ("B", 2**53, ROOT), ("B", 8, ROOT[:31])],
    ids=["bench", "no records", "2**53", "short root"],
)
def test_what_has_no_text_is_no_checkpoint(bench: str, size: int, root: bytes) -> None:
    found = refused(lambda: Checkpoint(bench=bench, size=size, root=root))
    assert found in {"checkpoint.text", "record.bench"}


def test_a_checkpoint_is_signed_and_verified(key: PrivateKey) -> None:
    signed = sign_checkpoint(CHECKPOINT, key)
    assert (signed.size, signed.text) == (8, TEXT)
    assert sshsig.parse(signed.signature).namespace == "checkpoint@cardprep"
    assert verify_checkpoint(signed.text, signed.signature, key.public_key) == CHECKPOINT
    other = PrivateKey(bytes(32))
    with pytest.raises(SignatureError):
        verify_checkpoint(signed.text, signed.signature, other.public_key)
    # A signature over something else, however true, is none over a checkpoint.
    stray = sshsig.sign(b"text\n", sshsig.CHECKPOINT_NAMESPACE, key)
    assert refused(lambda: verify_checkpoint(b"text\n", stray, key.public_key)) == "checkpoint.text"
    manifest = sshsig.sign(TEXT, sshsig.MANIFEST_NAMESPACE, key)
    with pytest.raises(SignatureError):
        verify_checkpoint(TEXT, manifest, key.public_key)


def test_every_altered_byte_is_found(key: PrivateKey) -> None:
    signed = sign_checkpoint(CHECKPOINT, key)
    for at in range(len(TEXT)):
        altered = TEXT[:at] + bytes([TEXT[at] ^ 0xFF]) + TEXT[at + 1 :]
        with pytest.raises(CardprepError):
            verify_checkpoint(altered, signed.signature, key.public_key)


@pytest.mark.oracle
def test_openssh_judges_a_checkpoint(key: PrivateKey, tmp_path: Path) -> None:
    signed = sign_checkpoint(CHECKPOINT, key)
    (tmp_path / "sig").write_text(signed.signature)
    line = sshsig.allowed_signers_line("bench-b", sshsig.CHECKPOINT_NAMESPACE, key.public_key)
    (tmp_path / "allowed").write_text(line)

    def judged(text: bytes) -> int:
        options = ["-f", str(tmp_path / "allowed"), "-I", "bench-b", "-n", "checkpoint@cardprep"]
        command = ["ssh-keygen", "-Y", "verify", *options, "-s", str(tmp_path / "sig")]
        return subprocess.run(command, input=text, capture_output=True, check=False).returncode

    assert judged(signed.text) == 0
    assert judged(signed.text.replace(b"8", b"9")) == 255


# Source: RFC 4648 section 6; base64 --decode and base32 of coreutils give the same.
@pytest.mark.oracle
def test_the_short_form_is_the_start_of_the_root_in_base32() -> None:
    assert str(CHECKPOINT.short()) == SHORT
    printed = subprocess.run(["base32"], input=ROOT, capture_output=True, check=True).stdout
    assert printed.decode().startswith(SHORT.split("-")[2])


@pytest.mark.parametrize("text", [SHORT, SHORT.lower(), f"  {SHORT}\n"])
def test_the_short_form_is_read_as_it_is_typed(text: str) -> None:
    assert parse_short(text) == ShortCheckpoint(bench="B", size=8, root_start="LXE5U6NHAZ")
    assert matches(parse_short(text), CHECKPOINT)


@pytest.mark.parametrize(
    "text",
    [
        pytest.param("", id="empty"),
        pytest.param("B-8", id="no root"),
        pytest.param("B8LXE5U6NHAZ", id="no dashes"),
        pytest.param("B-08-LXE5U6NHAZ", id="leading zero"),
        pytest.param("B-0-LXE5U6NHAZ", id="no records"),
        pytest.param("B-8-LXE5U6NHA", id="short"),
        pytest.param("B-8-LXE5U6NHAZA", id="long"),
        pytest.param("B-8-LXE5U6NHA1", id="no base32"),
        pytest.param("\u0131-8-LXE5U6NHAZ", id="letter that becomes I"),
        pytest.param("B-\u0668-LXE5U6NHAZ", id="other digits"),
        pytest.param("B-8-LXE5U6NHAZ" + " " * 300, id="very long"),
        pytest.param("\x1b[2J", id="escape code"),
    ],
)
def test_what_is_no_short_form(text: str) -> None:
    assert refused(lambda: parse_short(text)) == "checkpoint.short"


def test_a_label_that_speaks_of_another_checkpoint() -> None:
    short = CHECKPOINT.short()
    later = bytes([ROOT[0] ^ 0xFF]) + ROOT[1:]
    assert not matches(short, Checkpoint(bench="B", size=8, root=later))
    assert not matches(short, Checkpoint(bench="B", size=9, root=ROOT))
    assert not matches(short, Checkpoint(bench="C", size=8, root=ROOT))
    # 50 bits and no more: what the label does not show, it does not tell apart.
    seventh = ROOT[:7] + bytes([ROOT[7] ^ 0xFF]) + ROOT[8:]
    assert matches(short, Checkpoint(bench="B", size=8, root=seventh))
    assert base64.b32encode(seventh)[:10] == base64.b32encode(ROOT)[:10]
