"""Make a shop folder, and open one for work: settings, pinned key, manifest, log, lock.

Everything that a bench job needs is in one `Bench`, so that a terminal and a
page do the same thing with the same values. The clock comes in from the door.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from cardprep.bench.records import SHOP_OPENED
from cardprep.canonical import Json
from cardprep.errors import (
    CardprepError,
    ManifestTextError,
    ManifestUntrustedError,
    ShopFolderError,
    ShopKeyError,
)
from cardprep.job.visit import JobName, require_line
from cardprep.manifest.text import SIZE_LIMIT
from cardprep.manifest.trust import TrustedManifest, sign, trust
from cardprep.shop.files import read_if_there, read_whole
from cardprep.shop.folder import Shop, create, open_shop
from cardprep.shop.keys import load_public_key, load_signer
from cardprep.shop.locks import lock_shop
from cardprep.shop.pin import Pin, load_pin, note_manifest, save_pin
from cardprep.shop.shelf import Shelf
from cardprep.shoplog.checkpoint import SignedCheckpoint
from cardprep.shoplog.record import IndexEntry, Record
from cardprep.shoplog.sqlite import SqliteLog
from cardprep.shoplog.store import LogStore, seal
from cardprep.sshsig import ARMOR_LIMIT, PrivateKey, Signer, fingerprint, public_key_line
from cardprep.terms import spelled_out

Clock = Callable[[], str]


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """Where the shop is and who works there; put together by the door.

    shop          the shop folder
    settings      the folder of the user's settings, where the key is pinned
    agent_socket  of ssh-agent, or None
    version       of cardprep, for the records
    clock         gives the time as "YYYY-MM-DDTHH:MM:SSZ"
    """

    shop: Path
    settings: Path
    agent_socket: str | None
    version: str
    clock: Clock


@dataclass(frozen=True, slots=True, kw_only=True)
class Bench:
    """A shop folder that is open for work; made by `open_bench`."""

    place: Place
    shop: Shop
    pin: Pin
    log: LogStore

    @property
    def shelf(self) -> Shelf:
        """The shop's images."""
        return Shelf(self.shop.shelf)

    def record(
        self, kind: str, body: Mapping[str, Json], index: Sequence[IndexEntry] = ()
    ) -> Record:
        """Append a record; who and with which cardprep is added to every one."""
        common = {"by": self.shop.settings.operator, "tool": self.place.version}
        return self.log.append(kind, 1, {**common, **body}, self.place.clock(), index=index)

    def trusted(self) -> TrustedManifest:
        """Return the manifest if it may be believed; ManifestUntrustedError if not."""
        text = read_whole(self.shop.manifest, SIZE_LIMIT)
        signature = read_if_there(self.shop.manifest_signature, ARMOR_LIMIT)
        trusted = trust(
            text,
            signature,
            self.pin.public_key,
            self.pin.serial,
            seen_digest=self.pin.digest,
            file=str(self.shop.manifest),
        )
        serial = trusted.manifest.serial
        note_manifest(self.place.settings, self.shop.folder, self.pin, serial, trusted.sha256)
        return trusted

    def trusted_or_reason(self) -> tuple[TrustedManifest | None, str | None]:
        """Return the manifest, or the reason why it may not be believed."""
        try:
            return self.trusted(), None
        except (ManifestUntrustedError, ManifestTextError, ShopFolderError) as error:
            return None, error.reason

    def signer(self) -> Signer:
        """Return what signs for the shop."""
        socket = self.place.agent_socket
        return load_signer(self.shop, self.pin.public_key, agent_socket=socket)

    def seal(self) -> SignedCheckpoint:
        """Sign the log as it is, as when a card leaves the bench."""
        return seal(self.log, self.signer())


@dataclass(frozen=True, slots=True, kw_only=True)
class ShopMade:
    """A shop folder that was just made."""

    shop: Shop
    fingerprint: str


def new_shop(place: Place, *, name: str, bench: str, operator: str, key: Signer) -> ShopMade:
    """Make a shop folder with a key, an empty signed manifest and a log.

    key  a new PrivateKey, which is then kept in the folder, or one that
         ssh-agent holds, of which only the public part is kept
    """
    require_line(name, "name")
    require_line(operator, "operator")
    # The letter begins every job's name; this refuses one that no job can have.
    JobName(bench, 1)
    # Only here is a text made; reading one does without what makes it.
    from cardprep.manifest.edit import new_text

    text = new_text(name)
    signature = sign(text, key)
    shop = create(
        place.shop,
        name=name,
        bench=bench,
        operator=operator,
        key=key if isinstance(key, PrivateKey) else key.public_key,
        manifest=text,
        signature=signature,
    )
    save_pin(place.settings, shop.folder, Pin(public_key=key.public_key))
    log = SqliteLog.create(shop.log, bench)
    try:
        opened = Bench(place=place, shop=shop, pin=Pin(public_key=key.public_key), log=log)
        body: dict[str, Json] = {
            "shop": name,
            "public_key": public_key_line(key.public_key),
            "fingerprint": fingerprint(key.public_key),
        }
        opened.record(SHOP_OPENED, body)
        opened.trusted()
    finally:
        log.close()
    return ShopMade(shop=shop, fingerprint=fingerprint(key.public_key))


def agent_key(place: Place, wanted: str) -> Signer:
    """Return the key of this fingerprint from ssh-agent; ShopKeyError if it has none such."""
    from cardprep.shop.agent import AgentSigner, agent_keys

    if place.agent_socket is None:
        raise ShopKeyError("shop.no-agent")
    for public_key in agent_keys(place.agent_socket):
        if fingerprint(public_key) == wanted.strip():
            return AgentSigner(place.agent_socket, public_key)
    raise ShopKeyError("shop.agent-has-not", wanted=spelled_out(wanted.strip()[:80]))


@contextmanager
def open_bench(place: Place, command: str | None = None) -> Iterator[Bench]:
    """Open a shop folder.

    command  what is being done, for whoever is kept waiting; None for work that
             changes nothing and needs no lock

    Raises ShopFolderError, ShopKeyError (the folder's key is not the pinned one),
    ShopLockedError, LogUnavailableError, LogBrokenError.
    """
    shop = open_shop(place.shop)
    pin = _pin(place, shop)
    if command is None:
        with _log(shop) as log:
            yield Bench(place=place, shop=shop, pin=pin, log=log)
        return
    with lock_shop(shop.lock, pid=os.getpid(), command=command), _log(shop) as log:
        yield Bench(place=place, shop=shop, pin=pin, log=log)


def bench_or_none(place: Place) -> Bench | CardprepError:
    """Return a bench without lock, or the refusal that stands in the way.

    A card can be looked at on a computer where there is no shop. The caller
    closes the log.
    """
    try:
        shop = open_shop(place.shop)
        return Bench(place=place, shop=shop, pin=_pin(place, shop), log=SqliteLog.open(shop.log))
    except CardprepError as error:
        return error


@contextmanager
def _log(shop: Shop) -> Iterator[LogStore]:
    if not shop.log.exists():
        raise ShopFolderError("shop.no-log", path=spelled_out(str(shop.log)))
    log = SqliteLog.open(shop.log)
    try:
        yield log
    finally:
        log.close()


def _pin(place: Place, shop: Shop) -> Pin:
    """Return the pinned key of a shop folder.

    A folder that this user never saw has no pin, and nobody can say whether its
    key is the shop's; that is a refusal and never a silent new pin.
    """
    pin = load_pin(place.settings, shop.folder)
    public_key = load_public_key(shop)
    if pin is None:
        raise ShopKeyError("shop.key-unknown", found=fingerprint(public_key))
    if public_key != pin.public_key:
        found, wanted = fingerprint(public_key), fingerprint(pin.public_key)
        raise ShopKeyError("shop.key-not-pinned", found=found, wanted=wanted)
    return pin


def accept_key(place: Place, expected: str) -> Pin:
    """Pin a shop folder's key after a person compared its fingerprint.

    expected  the fingerprint as it stands on a sheet or was told on the telephone
    """
    shop = open_shop(place.shop)
    public_key = load_public_key(shop)
    found = fingerprint(public_key)
    if found.removeprefix("SHA256:") != expected.strip().removeprefix("SHA256:"):
        raise ShopKeyError("shop.key-other", found=found, wanted=spelled_out(expected.strip()[:80]))
    known = load_pin(place.settings, shop.folder)
    if known is not None and known.public_key == public_key:
        return known
    pin = Pin(public_key=public_key)
    save_pin(place.settings, shop.folder, pin)
    return pin
