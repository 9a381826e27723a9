"""The settings of a shop, as they stand in ``shop.toml`` of its folder.

TOML, read strictly: a key or a value that means nothing here is a refusal, so
that a slip of the pen is not passed over in silence.

Source: TOML v1.0.0, read by Python's tomllib.
"""

from __future__ import annotations

import json
import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from difflib import get_close_matches
from enum import StrEnum

from cardprep.errors import ShopFolderError
from cardprep.terms import spelled_out
from cardprep.texts.new_settings import NEW_SETTINGS

FORMAT = 1
# Small enough that no nesting and no key in it can keep the reader busy.
SETTINGS_LIMIT = 8 * 1024
TEXT_LIMIT = 80

_BENCH = re.compile(r"[A-Z]")
_LOG = re.compile(r"postgresql://[!-~]{1,400}")
_LINE = re.compile(r"at line ([0-9]{1,6})")
_KEYS = ("format", "name", "bench", "operator", "signing", "log", "commonness")
_COMMONNESS_MOST = 64


class Signing(StrEnum):
    """Where the shop's key is when something is signed."""

    FILE = "file"
    AGENT = "agent"


@dataclass(frozen=True, slots=True, kw_only=True)
class ShopSettings:
    """What the shop says of itself.

    name      of the shop, as on its papers
    bench     one capital letter, the first of every job number
    operator  who works at the bench, as on its papers
    signing   where the key is
    log       address of a PostgreSQL that several benches share, or None for the file here
    commonness  how common each thing is that goes otherwise on board, where the shop
                knows better than what is usual
    """

    name: str
    bench: str
    operator: str
    signing: Signing = Signing.FILE
    log: str | None = None
    commonness: Mapping[str, int] = field(default_factory=dict)


def settings_text(settings: ShopSettings) -> bytes:
    """Return settings as TOML with remarks."""
    text = NEW_SETTINGS.format(
        name=_quoted(settings.name),
        bench=_quoted(settings.bench),
        operator=_quoted(settings.operator),
        signing=_quoted(settings.signing),
    )
    return (text + (f"log = {_quoted(settings.log)}\n" if settings.log else "")).encode()


def parse_settings(data: bytes, file: str) -> ShopSettings:
    """Return the settings that `data` spells, or raise ShopFolderError.

    file  the name by which a refusal calls it
    """
    file = spelled_out(file)
    if len(data) > SETTINGS_LIMIT:
        raise ShopFolderError("shop.file-large", path=file, limit=SETTINGS_LIMIT)
    try:
        values = tomllib.loads(data.decode())
    except (ValueError, RecursionError) as error:
        found = _LINE.search(str(error))
        line = int(found[1]) if found else data.count(b"\n") + 1
        raise ShopFolderError("shop.settings-toml", path=file, line=line) from error
    for key in values:
        if key not in _KEYS:
            right = (get_close_matches(key[:64], _KEYS, n=1) or [", ".join(_KEYS)])[0]
            shown = spelled_out(key[:64])
            raise ShopFolderError("shop.settings-key", path=file, key=shown, right=right)
    if type(values.get("format")) is not int or values["format"] != FORMAT:
        raise ShopFolderError("shop.settings-format", path=file, right=FORMAT)
    bench = _text(values, "bench", file)
    if not _BENCH.fullmatch(bench):
        raise ShopFolderError("shop.settings-bench", path=file, found=spelled_out(bench))
    log = _text(values, "log", file) if "log" in values else None
    if log is not None and not _LOG.fullmatch(log):
        raise ShopFolderError("shop.settings-log", path=file)
    return ShopSettings(
        name=_text(values, "name", file),
        bench=bench,
        operator=_text(values, "operator", file),
        signing=_signing(values, file),
        log=log,
        commonness=_commonness(values, file),
    )


def _commonness(values: Mapping[str, object], file: str) -> dict[str, int]:
    """Read how common things are; which things there are is no matter here."""
    table = values.get("commonness", {})
    found: dict[str, int] = {}
    if isinstance(table, Mapping) and len(table) <= _COMMONNESS_MOST:
        found = {slug: number for slug, number in table.items() if type(number) is int}
    if not isinstance(table, Mapping) or len(found) != len(table):
        raise ShopFolderError("shop.settings-numbers", path=file, key="commonness")
    return found


def _signing(values: Mapping[str, object], file: str) -> Signing:
    word = _text(values, "signing", file) if "signing" in values else Signing.FILE
    if word not in [signing.value for signing in Signing]:
        raise ShopFolderError("shop.settings-signing", path=file, found=spelled_out(word))
    return Signing(word)


def _text(values: Mapping[str, object], key: str, file: str) -> str:
    value = values.get(key)
    limit = SETTINGS_LIMIT if key == "log" else TEXT_LIMIT
    if not isinstance(value, str) or not value.strip() or len(value) > limit:
        raise ShopFolderError("shop.settings-text", path=file, key=key, limit=limit)
    if spelled_out(value.replace("\\", "/")) != value.replace("\\", "/"):
        raise ShopFolderError("shop.settings-control", path=file, key=key)
    return value


def _quoted(value: str) -> str:
    # A JSON string of characters that can be printed is a TOML string too.
    return json.dumps(value, ensure_ascii=False)
