"""Sign and verify with SSH signatures over Ed25519 keys, and spell those keys.

Takes bytes and returns values. It never opens a file, never asks for a
passphrase and never makes a random number: a seed comes in as an argument. What
it signs is byte for byte what ``ssh-keygen -Y sign`` makes, so that anyone can
check it with ``ssh-keygen -Y verify`` and without cardprep.

Words: a *seed* is the 32 secret bytes of RFC 8032 from which key and signature
follow; a *namespace* says what a signature is for, so that one made for a
manifest is worth nothing under a checkpoint; *armor* is the text form between
BEGIN and END lines. All lengths are bytes.

Source: OpenSSH PROTOCOL.sshsig (2020/08/31) and PROTOCOL.key; RFC 8032
(Ed25519); RFC 4251 section 5 (the *string* and *uint32* of the wire form);
RFC 4253 section 6.6 and RFC 8709 (public keys); ssh-keygen(1), ALLOWED SIGNERS.
"""

from __future__ import annotations

import base64
import binascii
import hashlib
import re
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Protocol

from cardprep.errors import CardprepError, ShopKeyError, SignatureError

if TYPE_CHECKING:
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

MANIFEST_NAMESPACE = "manifest@cardprep"
CHECKPOINT_NAMESPACE = "checkpoint@cardprep"

ARMOR_LIMIT = 4096
KEY_FILE_LIMIT = 16384
BCRYPT_ROUNDS_LIMIT = 1024

_MAGIC = b"SSHSIG"
_KEY_MAGIC = b"openssh-key-v1\0"
_VERSION = 1
_ED25519 = b"ssh-ed25519"
_HASHES = {b"sha256": hashlib.sha256, b"sha512": hashlib.sha512}
# ssh-keygen breaks at 70, PROTOCOL.sshsig advises 76.
_LINE_WRITTEN = 70
_LINE_LIMIT = 76
# The names that need no quoting in an allowed_signers file and are no pattern there.
_NAMESPACE = re.compile(r"[a-z0-9][a-z0-9._@-]{0,63}")
_PRINCIPAL = re.compile(r"[A-Za-z0-9][A-Za-z0-9._@+-]{0,127}")
_NAMESPACE_FOUND = re.compile(rb"[!-~]{1,255}")
_COMMENT = re.compile(r"[ -~]{0,255}")
_PUBLIC_LINE = re.compile(rb"([!-~]{1,64}) ([0-9A-Za-z+/=]{1,1024})(?: [^\r\n\0]{0,512})?\n?")


class Signer(Protocol):
    """Whatever holds an Ed25519 private key: the key itself, or an agent that keeps it."""

    @property
    def public_key(self) -> bytes:
        """The 32 bytes of the public key."""
        ...

    def sign(self, data: bytes, /) -> bytes:
        """Return the 64 bytes of the Ed25519 signature of `data`, or raise ShopKeyError."""
        ...


@dataclass(frozen=True, slots=True, kw_only=True)
class Signature:
    """What an SSH signature says about itself, read and not yet checked.

    public_key  32 bytes; the key that claims to have signed      [publickey]
    namespace   what it was made for, printable ASCII             [namespace]
    hash_name   "sha256" or "sha512", of the message         [hash_algorithm]
    signature   64 bytes, Ed25519                                 [signature]
    """

    public_key: bytes
    namespace: str
    hash_name: str
    signature: bytes


def sign(message: bytes, namespace: str, signer: Signer) -> str:
    """Return the armor of a signature of `message`, as ``ssh-keygen -Y sign`` writes it.

    Raises SignatureError if the signer returns something that does not verify.
    """
    if not _NAMESPACE.fullmatch(namespace):
        raise SignatureError("signature.namespace", found=ascii(namespace)[:80])
    signature = signer.sign(_signed_data(message, namespace.encode(), b"sha512"))
    held = wire_string(_ED25519) + wire_string(signature)
    strings = (key_blob(signer.public_key), namespace.encode(), b"", b"sha512", held)
    blob = _MAGIC + _VERSION.to_bytes(4, "big") + b"".join(map(wire_string, strings))
    armor = _armored("SSH SIGNATURE", blob)
    # An agent is another program. What it gave is checked before it goes on paper.
    verify(armor, message, namespace, signer.public_key)
    return armor


def verify(armor: str | bytes, message: bytes, namespace: str, public_key: bytes) -> None:
    """Return if `armor` is a signature of `message` by that key for that namespace.

    `public_key` is 32 bytes. Anything else raises SignatureError.
    """
    found = parse(armor)
    if found.public_key != public_key:
        raise SignatureError(
            "signature.other-key",
            found=fingerprint(found.public_key),
            wanted=fingerprint(public_key),
        )
    if found.namespace != namespace:
        raise SignatureError("signature.other-namespace", found=found.namespace, wanted=namespace)
    from cryptography.exceptions import InvalidSignature
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

    data = _signed_data(message, found.namespace.encode(), found.hash_name.encode())
    try:
        Ed25519PublicKey.from_public_bytes(found.public_key).verify(found.signature, data)
    except InvalidSignature as error:
        raise SignatureError("signature.incorrect") from error


def parse(armor: str | bytes) -> Signature:
    """Return what the armor holds, or raise SignatureError; nothing is checked against a key.

    The reserved field is read over, as PROTOCOL.sshsig asks: it is not part of
    what was signed, so nothing in it can be believed.
    """
    if len(armor) > ARMOR_LIMIT:
        raise SignatureError("signature.long", found=len(armor), limit=ARMOR_LIMIT)
    blob = _unarmored("SSH SIGNATURE", armor, SignatureError("signature.armor"))
    fields = WireReader(blob, SignatureError("signature.structure"))
    if fields.take(len(_MAGIC)) != _MAGIC:
        raise SignatureError("signature.structure")
    version = fields.number()
    if version != _VERSION:
        raise SignatureError("signature.version", found=version)
    public_key = fields.tagged(32, SignatureError("signature.kind"))
    namespace = fields.string()
    if not _NAMESPACE_FOUND.fullmatch(namespace):
        raise SignatureError("signature.structure")
    fields.string()
    hash_name = fields.string()
    if hash_name not in _HASHES:
        raise SignatureError("signature.hash")
    signature = fields.tagged(64, SignatureError("signature.kind"))
    fields.end()
    return Signature(
        public_key=public_key,
        namespace=namespace.decode(),
        hash_name=hash_name.decode(),
        signature=signature,
    )


def public_key_line(public_key: bytes, comment: str = "") -> str:
    """Return the line of an OpenSSH public key file, without line end."""
    if not _COMMENT.fullmatch(comment):
        raise ShopKeyError("key.comment")
    body = base64.b64encode(key_blob(public_key)).decode()
    return " ".join([_ED25519.decode(), body, *([comment] if comment else [])])


def parse_public_key_line(line: str | bytes) -> bytes:
    """Return the 32 bytes of an OpenSSH public key line; one line end is allowed.

    Raises ShopKeyError. The comment is read over: it proves nothing.
    """
    data = line.encode(errors="replace") if isinstance(line, str) else line
    found = _PUBLIC_LINE.fullmatch(data)
    if not found:
        raise ShopKeyError("key.public-line")
    if found[1] != _ED25519:
        raise ShopKeyError("key.kind")
    blob = _decoded(found[2], ShopKeyError("key.public-line"))
    return public_key_of(blob, ShopKeyError("key.public-line"))


def fingerprint(public_key: bytes) -> str:
    """Return the fingerprint as ssh-keygen shows it, "SHA256:" and 43 characters."""
    digest = hashlib.sha256(key_blob(public_key)).digest()
    return "SHA256:" + base64.b64encode(digest).decode().rstrip("=")


def allowed_signers_line(principal: str, namespace: str, public_key: bytes) -> str:
    """Return a line for ``ssh-keygen -Y verify -f``, without line end.

    A principal or namespace that would act as a pattern there raises SignatureError.
    """
    if not _PRINCIPAL.fullmatch(principal):
        raise SignatureError("signature.principal", found=ascii(principal)[:80])
    if not _NAMESPACE.fullmatch(namespace):
        raise SignatureError("signature.namespace", found=ascii(namespace)[:80])
    return f'{principal} namespaces="{namespace}" {public_key_line(public_key)}'


@dataclass(frozen=True, slots=True)
class PrivateKey:
    """An Ed25519 private key in memory; a Signer. `seed` is 32 secret bytes."""

    seed: bytes = field(repr=False)

    def __post_init__(self) -> None:
        """Refuse a seed of another length."""
        if len(self.seed) != 32:
            raise ShopKeyError("key.length", found=len(self.seed), wanted=32)

    @classmethod
    def from_openssh(cls, data: bytes, passphrase: bytes | None = None) -> PrivateKey:
        """Return the key in the bytes of an OpenSSH private key file, or raise ShopKeyError."""
        public_key, encrypted = _key_file_head(data)
        if encrypted and not passphrase:
            raise ShopKeyError("key.passphrase-wanted")
        from cryptography.exceptions import InvalidTag, UnsupportedAlgorithm
        from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
        from cryptography.hazmat.primitives.serialization import load_ssh_private_key

        try:
            loaded = load_ssh_private_key(data, passphrase if encrypted else None)
        except UnsupportedAlgorithm as error:
            raise ShopKeyError("key.encryption") from error
        except (ValueError, TypeError, InvalidTag) as error:
            reason = "key.passphrase-wrong" if encrypted else "key.unreadable"
            raise ShopKeyError(reason) from error
        # The public half stands in the file in the clear; OpenSSH would show that one.
        if (
            not isinstance(loaded, Ed25519PrivateKey)
            or loaded.public_key().public_bytes_raw() != public_key
        ):
            raise ShopKeyError("key.unreadable")
        return cls(loaded.private_bytes_raw())

    @property
    def public_key(self) -> bytes:
        """The 32 bytes of the public key."""
        return self._private_key().public_key().public_bytes_raw()

    def sign(self, data: bytes, /) -> bytes:
        """Return the 64 bytes of the Ed25519 signature of `data`."""
        return self._private_key().sign(data)

    def _private_key(self) -> Ed25519PrivateKey:
        from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

        return Ed25519PrivateKey.from_private_bytes(self.seed)

    def to_openssh(self, comment: str = "") -> bytes:
        """Return an unencrypted OpenSSH private key file, the same for the same key.

        ``ssh-keygen -p`` puts a passphrase on it.
        """
        line = public_key_line(self.public_key, comment)
        # The check number only shows that decryption worked; ssh-keygen draws it.
        check = hashlib.sha256(line.encode()).digest()[:4]
        public_key = wire_string(self.public_key)
        secret = wire_string(self.seed + self.public_key) + wire_string(comment.encode())
        private = check + check + wire_string(_ED25519) + public_key + secret
        private += bytes(range(1, 1 + -len(private) % 8))
        none = wire_string(b"none")
        head = _KEY_MAGIC + none + none + wire_string(b"") + (1).to_bytes(4, "big")
        blob = head + wire_string(key_blob(self.public_key)) + wire_string(private)
        return _armored("OPENSSH PRIVATE KEY", blob).encode()


@dataclass(slots=True)
class WireReader:
    """Fields of RFC 4251 in a row, each bounded by what is left before it is taken.

    `refusal` is raised when a field does not fit.
    """

    data: bytes
    refusal: CardprepError
    position: int = 0

    def take(self, length: int) -> bytes:
        """Return the next `length` bytes."""
        end = self.position + length
        if end > len(self.data):
            raise self.refusal
        taken = self.data[self.position : end]
        self.position = end
        return taken

    def number(self) -> int:
        """Return the next uint32."""
        return int.from_bytes(self.take(4), "big")

    def string(self) -> bytes:
        """Return the next string."""
        return self.take(self.number())

    def tagged(self, length: int, other_kind: CardprepError) -> bytes:
        """Return the `length` bytes of a string that holds "ssh-ed25519" and them."""
        inner = WireReader(self.string(), self.refusal)
        if inner.string() != _ED25519:
            raise other_kind
        value = inner.string()
        inner.end()
        if len(value) != length:
            raise self.refusal
        return value

    def end(self) -> None:
        """Refuse whatever is left over."""
        if self.position != len(self.data):
            raise self.refusal


def wire_string(data: bytes) -> bytes:
    """Return `data` as a string of RFC 4251: its length in four bytes, then itself."""
    return len(data).to_bytes(4, "big") + data


def key_blob(public_key: bytes) -> bytes:
    """Return the wire form of a public key of 32 bytes, which fingerprints are made of."""
    if len(public_key) != 32:
        raise ShopKeyError("key.length", found=len(public_key), wanted=32)
    return wire_string(_ED25519) + wire_string(public_key)


def public_key_of(blob: bytes, refusal: CardprepError) -> bytes:
    """Return the 32 bytes in a public key's wire form, or raise `refusal`."""
    return WireReader(wire_string(blob), refusal).tagged(32, refusal)


def _signed_data(message: bytes, namespace: bytes, hash_name: bytes) -> bytes:
    digest = _HASHES[hash_name](message).digest()
    return _MAGIC + b"".join(map(wire_string, (namespace, b"", hash_name, digest)))


def _armored(kind: str, blob: bytes) -> str:
    text = base64.b64encode(blob).decode()
    lines = [text[at : at + _LINE_WRITTEN] for at in range(0, len(text), _LINE_WRITTEN)]
    return "\n".join([f"-----BEGIN {kind}-----", *lines, f"-----END {kind}-----", ""])


def _unarmored(kind: str, armor: str | bytes, refusal: CardprepError) -> bytes:
    data = armor.encode(errors="replace") if isinstance(armor, str) else armor
    first, *lines = data.removesuffix(b"\n").split(b"\n")
    if first != f"-----BEGIN {kind}-----".encode() or not lines:
        raise refusal
    if lines.pop() != f"-----END {kind}-----".encode():
        raise refusal
    if not all(1 <= len(line) <= _LINE_LIMIT for line in lines):
        raise refusal
    return _decoded(b"".join(lines), refusal)


def _decoded(text: bytes, refusal: CardprepError) -> bytes:
    """Return the bytes of base64 text in its one spelling."""
    try:
        data = base64.b64decode(text, validate=True)
    except binascii.Error as error:
        raise refusal from error
    # Padding bits that are not zero decode to the same bytes.
    if base64.b64encode(data) != text:
        raise refusal
    return data


def _key_file_head(data: bytes) -> tuple[bytes, bool]:
    """Return public key and whether a passphrase is wanted, from a private key file.

    Looked at first because the library derives the passphrase's key before it
    says anything, for as many rounds as the file asks for.
    """
    unreadable = ShopKeyError("key.unreadable")
    if len(data) > KEY_FILE_LIMIT:
        raise unreadable
    fields = WireReader(_unarmored("OPENSSH PRIVATE KEY", data, unreadable), unreadable)
    if fields.take(len(_KEY_MAGIC)) != _KEY_MAGIC:
        raise unreadable
    cipher, derivation, options = fields.string(), fields.string(), fields.string()
    if fields.number() != 1:
        raise unreadable
    public_key = fields.tagged(32, ShopKeyError("key.kind"))
    if cipher == derivation == b"none":
        return public_key, False
    if derivation != b"bcrypt":
        raise ShopKeyError("key.encryption")
    parameters = WireReader(options, unreadable)
    parameters.string()
    rounds = parameters.number()
    if not 1 <= rounds <= BCRYPT_ROUNDS_LIMIT:
        raise ShopKeyError("key.rounds", found=rounds, limit=BCRYPT_ROUNDS_LIMIT)
    return public_key, True
