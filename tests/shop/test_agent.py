"""The agent's protocol: against a real ssh-agent, and against ones that misbehave."""

from __future__ import annotations

import os
import socket
import subprocess
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cardprep import sshsig
from cardprep.errors import ShopKeyError
from cardprep.shop import agent
from cardprep.shop.agent import AgentSigner, agent_keys
from cardprep.sshsig import PrivateKey, key_blob, wire_string
from cardprep.texts.catalogue import refusal

# Source: RFC 8032 section 7.1, seed of test 1.
KEY = PrivateKey(bytes.fromhex("9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60"))
OTHER_KEY = PrivateKey(bytes(range(32)))


def refused(call: Callable[[], object]) -> str:
    with pytest.raises(ShopKeyError) as caught:
        call()
    assert "(" not in refusal(caught.value).message
    return caught.value.reason


@pytest.fixture(name="real")
def _real(tmp_path: Path) -> Iterator[str]:
    """Give the socket of an ssh-agent of our own, without keys."""
    path = str(tmp_path / "agent")
    with subprocess.Popen(["ssh-agent", "-D", "-a", path], stdout=subprocess.DEVNULL) as running:
        for _ in range(500):
            if Path(path).exists():
                break
            time.sleep(0.01)
        try:
            yield path
        finally:
            running.terminate()


def add(path: str, key: PrivateKey, *, folder: Path) -> None:
    file = folder / "key"
    file.write_bytes(key.to_openssh("bench B"))
    file.chmod(0o600)
    environment = os.environ | {"SSH_AUTH_SOCK": path}
    subprocess.run(["ssh-add", "-q", str(file)], env=environment, check=True)


@contextmanager
def answering(*pieces: bytes, hold: bool = False) -> Iterator[str]:
    """Give the socket of an agent that sends these pieces, whatever it is asked."""
    path = f"\0cardprep-{os.getpid()}-{threading.get_ident()}"
    done = threading.Event()
    with socket.socket(socket.AF_UNIX) as listening:
        listening.bind(path)
        listening.listen()

        def serve() -> None:
            connection, _ = listening.accept()
            with connection:
                connection.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 1 << 20)
                connection.recv(1 << 16)
                for piece in pieces:
                    try:
                        connection.sendall(piece)
                    except OSError:
                        return
                if hold:
                    done.wait(10)

        thread = threading.Thread(target=serve)
        thread.start()
        try:
            yield path
        finally:
            done.set()
            thread.join()


@pytest.mark.oracle
def test_an_agent_without_keys(real: str) -> None:
    assert agent_keys(real) == []
    assert refused(lambda: AgentSigner(real, KEY.public_key).sign(b"data")) == "key.agent-refused"


@pytest.mark.oracle
def test_a_real_agent_signs_like_the_key_itself(real: str, tmp_path: Path) -> None:
    add(real, KEY, folder=tmp_path)
    add(real, OTHER_KEY, folder=tmp_path)
    assert agent_keys(real) == [KEY.public_key, OTHER_KEY.public_key]
    for key in (KEY, OTHER_KEY):
        signer = AgentSigner(real, key.public_key)
        assert signer.sign(b"data") == key.sign(b"data")
        armor = sshsig.sign(b"text\n", sshsig.CHECKPOINT_NAMESPACE, signer)
        assert armor == sshsig.sign(b"text\n", sshsig.CHECKPOINT_NAMESPACE, key)


@pytest.mark.oracle
def test_keys_of_other_kinds_are_left_out(real: str, tmp_path: Path) -> None:
    file = str(tmp_path / "ecdsa")
    subprocess.run(["ssh-keygen", "-q", "-t", "ecdsa", "-N", "", "-f", file], check=True)
    subprocess.run(["ssh-add", "-q", file], env=os.environ | {"SSH_AUTH_SOCK": real}, check=True)
    add(real, KEY, folder=tmp_path)
    assert agent_keys(real) == [KEY.public_key]


@pytest.mark.oracle
def test_a_locked_agent_has_no_keys(real: str, tmp_path: Path) -> None:
    add(real, KEY, folder=tmp_path)
    # Source: draft-ietf-sshm-ssh-agent, section 5.7, SSH_AGENTC_LOCK.
    agent._ask(real, bytes([22]) + wire_string(b"word"), 5)
    assert agent_keys(real) == []
    assert refused(lambda: AgentSigner(real, KEY.public_key).sign(b"data")) == "key.agent-refused"


def test_no_agent_is_said(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    for path in (str(tmp_path / "none"), "x" * 500, "a\0b", "\udcff", ""):
        assert refused(lambda path=path: agent_keys(path)) == "key.agent-unreachable"  # type: ignore[misc]
    monkeypatch.delattr(socket, "AF_UNIX")
    assert refused(lambda: agent_keys(str(tmp_path))) == "key.agent-unreachable"


def test_an_agent_that_does_not_answer_is_left() -> None:
    with answering(hold=True) as path:
        assert refused(lambda: agent_keys(path, seconds=0.05)) == "key.agent-silent"


def test_an_agent_that_sends_byte_after_byte_is_left() -> None:
    with answering(b"\0\0\1\0", hold=True) as path:
        assert refused(lambda: agent_keys(path, seconds=0.05)) == "key.agent-silent"
    assert agent.PIECES_LIMIT * agent.SECONDS <= 600


def identities(*blobs: bytes, count: int | None = None, rest: bytes = b"") -> bytes:
    listed = b"".join(wire_string(blob) + wire_string(b"comment") for blob in blobs)
    number = (len(blobs) if count is None else count).to_bytes(4, "big")
    return wire_string(b"\x0c" + number + listed + rest)


@pytest.mark.parametrize(
    "pieces",
    [
        pytest.param([b""], id="nothing"),
        pytest.param([b"\0\0\0"], id="half a length"),
        pytest.param([b"\0\0\0\0"], id="empty"),
        pytest.param([b"\xff\xff\xff\xff"], id="4 GiB"),
        pytest.param([b"\0\0\0\5\x0c"], id="cut short"),
        pytest.param([wire_string(b"\x05")], id="failure"),
        pytest.param([identities(count=2000)], id="too many"),
        pytest.param([identities(count=1)], id="too few"),
        pytest.param([identities(rest=b"x")], id="a rest"),
        pytest.param([identities(b"")], id="empty key"),
        pytest.param([identities(key_blob(bytes(32)) + b"x")], id="key with a rest"),
    ],
)
def test_nonsense_instead_of_keys(pieces: list[bytes]) -> None:
    with answering(*pieces) as path:
        assert refused(lambda: agent_keys(path, seconds=5)) == "key.agent-answer"


def signature(data: bytes, kind: bytes = b"ssh-ed25519") -> bytes:
    return wire_string(b"\x0e" + wire_string(wire_string(kind) + wire_string(data)))


@pytest.mark.parametrize(
    "answer",
    [
        pytest.param(identities(), id="another answer"),
        pytest.param(signature(bytes(63)), id="too short"),
        pytest.param(signature(bytes(64), b"ssh-rsa"), id="other kind"),
        pytest.param(wire_string(signature(bytes(64))[4:] + b"x"), id="a rest"),
    ],
)
def test_nonsense_instead_of_a_signature(answer: bytes) -> None:
    with answering(answer) as path:
        signer = AgentSigner(path, KEY.public_key, seconds=5)
        assert refused(lambda: signer.sign(b"data")) == "key.agent-answer"


def test_an_answer_in_pieces_is_read() -> None:
    whole = signature(bytes(64))
    with answering(whole[:2], whole[2:9], whole[9:]) as path:
        assert AgentSigner(path, KEY.public_key, seconds=5).sign(b"data") == bytes(64)


def test_an_answer_in_too_many_pieces_is_left(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(agent, "PIECES_LIMIT", 1)
    with answering(signature(bytes(64))) as path:
        signer = AgentSigner(path, KEY.public_key, seconds=5)
        assert refused(lambda: signer.sign(b"data")) == "key.agent-answer"


@given(answer=st.binary(max_size=100))
@settings(deadline=None, max_examples=40)
def test_any_answer_gives_keys_or_a_refusal(answer: bytes) -> None:
    for whole in (answer, wire_string(b"\x0c" + answer)):
        with answering(whole) as path, suppress(ShopKeyError):
            assert agent_keys(path, seconds=5) == []
