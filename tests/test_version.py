"""One version, wherever it stands."""

from __future__ import annotations

import tomllib
from importlib.metadata import version
from pathlib import Path

from cardprep.version import VERSION


def test_the_version_is_the_one_of_the_package() -> None:
    project = tomllib.loads((Path(__file__).parents[1] / "pyproject.toml").read_text("utf-8"))
    assert project["project"]["version"] == VERSION == version("cardprep")
