"""The shop folder as the bench opens it: pinned key, trust, lock."""

from __future__ import annotations

import shutil
import subprocess
from dataclasses import replace
from pathlib import Path

import pytest

from cardprep.bench.open import (
    Bench,
    Place,
    accept_key,
    agent_key,
    bench_or_none,
    new_shop,
    open_bench,
)
from cardprep.errors import (
    CardprepError,
    ManifestUntrustedError,
    ShopFolderError,
    ShopKeyError,
    ShopLockedError,
)
from cardprep.shop.keys import load_public_key
from cardprep.shop.pin import load_pin
from cardprep.sshsig import MANIFEST_NAMESPACE, PrivateKey, fingerprint
from tests.bench.conftest import SEED


def test_a_new_shop_has_its_key_in_the_first_record(place: Place) -> None:
    made = new_shop(place, name="Gannet Slip", bench="B", operator="R. Tarn", key=PrivateKey(SEED))
    with open_bench(place) as bench:
        (first,) = bench.log.records()
        assert first.kind == "shop-opened"
        assert first.body["fingerprint"] == made.fingerprint
        assert first.body["by"] == "R. Tarn"
        assert fingerprint(load_public_key(bench.shop)) == made.fingerprint


def test_a_shop_is_not_made_where_something_is(place: Place) -> None:
    place.shop.mkdir()
    (place.shop / "charts").write_text("do not lose me")
    with pytest.raises(ShopFolderError) as caught:
        new_shop(place, name="Gannet Slip", bench="B", operator="R. Tarn", key=PrivateKey(SEED))
    assert caught.value.reason == "shop.folder-not-empty"
    assert (place.shop / "charts").read_text() == "do not lose me"


def test_the_first_manifest_is_signed_as_ssh_keygen_wants_it(place: Place, tmp_path: Path) -> None:
    made = new_shop(place, name="Gannet Slip", bench="B", operator="R. Tarn", key=PrivateKey(SEED))
    allowed = tmp_path / "allowed"
    key = made.shop.public_key.read_text().strip()
    allowed.write_text(f'bench namespaces="{MANIFEST_NAMESPACE}" {key}\n')
    command = ["ssh-keygen", "-Y", "verify", "-f", str(allowed), "-I", "bench"]
    command += ["-n", MANIFEST_NAMESPACE, "-s", str(made.shop.manifest_signature)]
    with made.shop.manifest.open("rb") as text:
        done = subprocess.run(command, stdin=text, capture_output=True, check=False)
    assert done.returncode == 0, done.stderr


def test_a_folder_that_was_swapped_whole_is_noticed(shop: Place, tmp_path: Path) -> None:
    other = Place(
        shop=tmp_path / "other",
        settings=tmp_path / "elsewhere",
        agent_socket=None,
        version="0",
        clock=shop.clock,
    )
    new_shop(other, name="Gannet Slip", bench="B", operator="R. Tarn", key=PrivateKey(bytes(32)))
    shutil.rmtree(shop.shop)
    other.shop.rename(shop.shop)
    with pytest.raises(ShopKeyError) as caught, open_bench(shop):
        pass
    assert caught.value.reason == "shop.key-not-pinned"


def test_a_folder_that_this_user_never_saw_is_not_believed(shop: Place, tmp_path: Path) -> None:
    stranger = Place(
        shop=shop.shop,
        settings=tmp_path / "stranger",
        agent_socket=None,
        version="0",
        clock=shop.clock,
    )
    with pytest.raises(ShopKeyError) as caught, open_bench(stranger):
        pass
    assert caught.value.reason == "shop.key-unknown"
    with pytest.raises(ShopKeyError):
        accept_key(stranger, "SHA256:" + "A" * 43)
    known = load_pin(shop.settings, shop.shop)
    assert known is not None
    assert accept_key(stranger, f" {known.fingerprint}\n").public_key == known.public_key
    assert accept_key(stranger, known.fingerprint).public_key == known.public_key
    with open_bench(stranger) as bench:
        assert bench.log.size() == 1


def test_two_at_once_are_told_of_each_other(shop: Place) -> None:
    with (
        open_bench(shop, "writing a card"),
        pytest.raises(ShopLockedError) as caught,
        open_bench(shop, "signing"),
    ):
        pass
    assert "writing a card" in str(caught.value)


def test_looking_needs_no_lock(shop: Place) -> None:
    with open_bench(shop, "writing a card"), open_bench(shop) as bench:
        assert bench.log.size() == 1


def test_without_a_shop_there_is_a_reason(place: Place) -> None:
    found = bench_or_none(place)
    assert isinstance(found, CardprepError)
    assert found.reason == "shop.not-there"


def test_a_shop_without_its_log_is_refused(shop: Place) -> None:
    (shop.shop / "log.sqlite3").unlink()
    with pytest.raises(ShopFolderError) as caught, open_bench(shop):
        pass
    assert caught.value.reason == "shop.no-log"


def test_a_manifest_that_was_written_in_is_not_believed(shop: Place) -> None:
    with open_bench(shop) as bench:
        with pytest.raises(ManifestUntrustedError) as caught:
            bench.trusted()
        assert caught.value.reason == "manifest.changed"
        assert bench.trusted_or_reason() == (None, "manifest.changed")


def test_an_older_manifest_is_not_believed(bench: Bench, tmp_path: Path) -> None:
    # The signed texts of before, put back whole.
    first = tmp_path / "first"
    again = Place(
        shop=first,
        settings=tmp_path / "s2",
        agent_socket=None,
        version="0",
        clock=bench.place.clock,
    )
    new_shop(
        again,
        name="Gannet Slip Marine Electronics",
        bench="B",
        operator="R. Tarn",
        key=PrivateKey(SEED),
    )
    for name in ("manifest.toml", "manifest.toml.sig"):
        shutil.copy(first / name, bench.shop.folder / name)
    with open_bench(bench.place) as opened:
        assert opened.trusted_or_reason() == (None, "manifest.older")


def test_a_shop_whose_key_stays_in_ssh_agent(place: Place, tmp_path: Path) -> None:
    socket = tmp_path / "agent"
    agent = subprocess.Popen(
        ["ssh-agent", "-D", "-a", str(socket)], stdout=subprocess.PIPE, stderr=subprocess.DEVNULL
    )
    try:
        while not socket.exists():
            assert agent.poll() is None
        key = tmp_path / "id"
        subprocess.run(["ssh-keygen", "-q", "-t", "ed25519", "-N", "", "-f", key], check=True)
        environment = {"SSH_AUTH_SOCK": str(socket), "PATH": "/usr/bin:/bin"}
        subprocess.run(["ssh-add", "-q", key], env=environment, check=True)
        listed = subprocess.run(
            ["ssh-add", "-l"], env=environment, capture_output=True, text=True, check=True
        )
        mark = listed.stdout.split()[1]
        here = replace(place, agent_socket=str(socket))
        with pytest.raises(ShopKeyError) as caught:
            agent_key(here, "SHA256:none")
        assert caught.value.reason == "shop.agent-has-not"
        made = new_shop(
            here, name="Gannet Slip", bench="B", operator="R. Tarn", key=agent_key(here, mark)
        )
        assert made.fingerprint == mark
        assert not made.shop.key.exists()
        with open_bench(here, "test") as bench:
            assert bench.seal().size == 1
    finally:
        agent.kill()
        agent.communicate()
    with pytest.raises(ShopKeyError) as caught:
        agent_key(place, mark)
    assert caught.value.reason == "shop.no-agent"
