"""Sign with a key that ssh-agent holds, so that its secret half is never on the bench's disk.

Speaks to the agent's Unix socket whose path comes in as an argument. It never
reads the environment, never starts an agent and never adds a key; what the
agent answers is untrusted and bounded.

Words: an *identity* is one key that the agent holds. Only Ed25519 ones count here.

Source: SSH Agent Protocol, draft-ietf-sshm-ssh-agent, sections 3 (messages),
5.4 (requesting a list of keys) and 5.6 (private key operations).
"""

from __future__ import annotations

import socket
from dataclasses import dataclass

from cardprep.errors import ShopKeyError
from cardprep.sshsig import WireReader, key_blob, public_key_of, wire_string

SECONDS = 30.0
REPLY_LIMIT = 256 * 1024
IDENTITIES_LIMIT = 1024
# An agent answers in a few pieces. Counting them bounds the time that one which
# sends byte after byte can take.
PIECES_LIMIT = 16

_FAILURE = 5
_REQUEST_IDENTITIES = 11
_IDENTITIES_ANSWER = 12
_SIGN_REQUEST = 13
_SIGN_RESPONSE = 14


def agent_keys(socket_path: str, seconds: float = SECONDS) -> list[bytes]:
    """Return the Ed25519 public keys that the agent holds, 32 bytes each, in its order.

    `seconds` is how long each piece of the answer may take. Raises ShopKeyError.
    """
    nonsense = ShopKeyError("key.agent-answer")
    fields = WireReader(_ask(socket_path, bytes([_REQUEST_IDENTITIES]), seconds), nonsense)
    if fields.take(1) != bytes([_IDENTITIES_ANSWER]):
        raise nonsense
    count = fields.number()
    if count > IDENTITIES_LIMIT:
        raise nonsense
    keys = []
    for _ in range(count):
        blob, _comment = fields.string(), fields.string()
        # Keys of other kinds are no fault of the agent's.
        if WireReader(blob, nonsense).string() == b"ssh-ed25519":
            keys.append(public_key_of(blob, nonsense))
    fields.end()
    return keys


@dataclass(frozen=True, slots=True)
class AgentSigner:
    """A Signer whose key stays in ssh-agent.

    socket_path  path of the agent's Unix socket
    public_key   32 bytes; which of its keys signs
    seconds      how long each piece of an answer may take; a person may have
                 to confirm (``ssh-add -c``) before it comes
    """

    socket_path: str
    public_key: bytes
    seconds: float = SECONDS

    def sign(self, data: bytes, /) -> bytes:
        """Return the 64 bytes of the Ed25519 signature of `data`, or raise ShopKeyError."""
        no_flags = (0).to_bytes(4, "big")
        request = wire_string(key_blob(self.public_key)) + wire_string(data) + no_flags
        answer = _ask(self.socket_path, bytes([_SIGN_REQUEST]) + request, self.seconds)
        if answer == bytes([_FAILURE]):
            raise ShopKeyError("key.agent-refused")
        nonsense = ShopKeyError("key.agent-answer")
        fields = WireReader(answer, nonsense)
        if fields.take(1) != bytes([_SIGN_RESPONSE]):
            raise nonsense
        signature = fields.tagged(64, nonsense)
        fields.end()
        return signature


def _ask(socket_path: str, message: bytes, seconds: float) -> bytes:
    """Return the agent's answer to one message, without its length."""
    if not hasattr(socket, "AF_UNIX"):
        raise ShopKeyError("key.agent-unreachable")
    try:
        with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as connection:
            connection.settimeout(seconds)
            connection.connect(socket_path)
            connection.sendall(wire_string(message))
            return _answer(connection)
    except TimeoutError as error:
        raise ShopKeyError("key.agent-silent") from error
    except (OSError, ValueError) as error:
        # ValueError: a path with a zero byte in it.
        raise ShopKeyError("key.agent-unreachable") from error


def _answer(connection: socket.socket) -> bytes:
    """Return one answer. An agent that closes early, or dawdles, gave none."""
    received = bytearray()
    wanted = 4
    for _ in range(PIECES_LIMIT):
        piece = connection.recv(wanted - len(received))
        if not piece:
            break
        received += piece
        if len(received) == 4 == wanted:
            wanted += int.from_bytes(received, "big")
            if not 4 < wanted <= REPLY_LIMIT:
                break
        elif len(received) == wanted:
            return bytes(received[4:])
    raise ShopKeyError("key.agent-answer")
