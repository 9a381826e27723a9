"""Read a job file: what was told of a visit, as TOML."""

from __future__ import annotations

import os
import stat
import tomllib
from collections.abc import Mapping
from pathlib import Path

from cardprep.bench.jobs import Visit
from cardprep.cli import words
from cardprep.errors import BadValueError, NotThereError
from cardprep.job.visit import Display, Unit, Vessel
from cardprep.manifest.places import find_places
from cardprep.terms import spelled_out

JOB_FILE_MOST = 256 * 1024


def job_file(path: Path) -> Visit:
    """Read a job from a TOML file with [vessel], [display] and [[unit]].

    A second display makes [display] a list, [[display]].
    """
    name = spelled_out(str(path))
    values = _toml(path, name)
    _only(values, ("vessel", "display", "unit", "together"), name)
    vessel = _table(values, "vessel", ("name", "mmsi"), name)
    told = values.get("display")
    displays = told if isinstance(told, list) and told else [told]
    readers = [_file_display(entry, name) for entry in displays]
    units = values.get("unit")
    if not isinstance(units, list) or not units:
        raise BadValueError("job-file.key", name=name, key="unit")
    together = values.get("together", False)
    if not isinstance(together, bool):
        raise BadValueError("job-file.truth", name=name, key="together")
    return Visit(
        vessel=Vessel(name=_text(vessel, "name", name), mmsi=_optional(vessel, "mmsi", name)),
        display=readers[0],
        further_displays=tuple(readers[1:]),
        units=tuple(_file_unit(entry, name, number) for number, entry in enumerate(units, 1)),
        together=together,
    )


def _file_display(entry: object, name: str) -> Display:
    table = _table({"display": entry}, "display", ("model", "software"), name)
    return words.display(_text(table, "model", name), _optional(table, "software", name))


def _toml(path: Path, name: str) -> Mapping[str, object]:
    try:
        # A pipe under this name would otherwise be waited for without end.
        descriptor = os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0))
        with os.fdopen(descriptor, "rb") as file:
            if not stat.S_ISREG(os.fstat(descriptor).st_mode):
                raise NotThereError("job-file.kind", name=name)
            data = file.read(JOB_FILE_MOST + 1)
    except FileNotFoundError as error:
        raise NotThereError("job-file.not-there", name=name) from error
    except (OSError, ValueError) as error:
        cause = getattr(error, "strerror", None) or type(error).__name__
        raise NotThereError("job-file.unreadable", name=name, cause=cause) from error
    if len(data) > JOB_FILE_MOST:
        raise BadValueError("job-file.large", name=name, most=JOB_FILE_MOST)
    try:
        text = data.decode()
        # A key of many parts makes tomllib use gigabytes; the places are counted first.
        places = find_places(text.replace("\r\n", "\n"))
        if places.over is not None:
            raise BadValueError("job-file.nested", name=name, line=places.over_line)
        return tomllib.loads(text)
    except (ValueError, RecursionError) as error:
        cause = spelled_out(str(error)[:80])
        raise BadValueError("job-file.toml", name=name, cause=cause) from error


def _file_unit(entry: object, name: str, number: int) -> Unit:
    place = f"unit.{number}"
    if not isinstance(entry, Mapping):
        raise BadValueError("job-file.key", name=name, key=place)
    spelled = {key.replace(" ", "_"): key for key in (*words.UNIT_KEYS, *words.VERSION_KINDS)}
    _only(entry, tuple(spelled), name)
    plain = {key: _text(entry, key, name, place) for key in ("model", "role")}
    for key in ("serial", "handset", "found"):
        value = _optional(entry, key, name, place)
        if value is not None:
            plain[key] = value
    for key in ("may_fall", "displays"):
        plain[spelled[key]] = ",".join(_file_texts(entry, key, name, place))
    kinds = {kind.replace(" ", "_"): kind for kind in words.VERSION_KINDS}
    return words.unit_told(plain, {kind: entry.get(key, {}) for key, kind in kinds.items()})


def _file_texts(entry: Mapping[str, object], key: str, name: str, place: str) -> list[str]:
    values = entry.get(key, [])
    if not isinstance(values, list) or not all(isinstance(value, str) for value in values):
        raise BadValueError("job-file.list", name=name, key=f"{place}.{key}")
    return [str(value) for value in values]


def _table(
    values: Mapping[str, object], key: str, keys: tuple[str, ...], name: str
) -> Mapping[str, object]:
    table = values.get(key)
    if not isinstance(table, Mapping):
        raise BadValueError("job-file.key", name=name, key=key)
    _only(table, keys, name)
    return table


def _only(values: Mapping[str, object], keys: tuple[str, ...], name: str) -> None:
    for key in values:
        if key not in keys:
            found = spelled_out(str(key)[:40])
            raise BadValueError("job-file.unknown", name=name, key=found, known=", ".join(keys))


def _text(values: Mapping[str, object], key: str, name: str, place: str = "") -> str:
    value = values.get(key)
    if not isinstance(value, str):
        raise BadValueError("job-file.key", name=name, key=f"{place}.{key}".lstrip("."))
    return value


def _optional(values: Mapping[str, object], key: str, name: str, place: str = "") -> str | None:
    return None if values.get(key) is None else _text(values, key, name, place)
