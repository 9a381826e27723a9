"""Where the shop folder and the user's settings are.

Pure: what was given on the command line, the environment, the home folder and
the name of the system come in, a path goes out, and no file is looked at. An
empty value of the environment counts as none.

Source: XDG Base Directory Specification 0.8 (Linux; a relative path there is
to be ignored); the usual folders of macOS and Windows: common practice.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

SHOP_VARIABLE = "CARDPREP_SHOP"


def shop_folder(
    option: str | None, environment: Mapping[str, str], home: Path, platform: str
) -> Path:
    """Return the shop folder: the option, else CARDPREP_SHOP, else in the user's data folder.

    option    what was given as ``--shop``
    platform  as in ``sys.platform``
    """
    named = option or environment.get(SHOP_VARIABLE)
    if named:
        return Path(named)
    if platform == "darwin":
        return home / "Library" / "Application Support" / "cardprep" / "shop"
    if platform == "win32":
        return _folder(environment, "LOCALAPPDATA", home / "AppData" / "Local") / "cardprep/shop"
    return _folder(environment, "XDG_DATA_HOME", home / ".local" / "share") / "cardprep/shop"


def settings_folder(environment: Mapping[str, str], home: Path, platform: str) -> Path:
    """Return the folder of the user's settings, which is never inside a shop folder.

    platform  as in ``sys.platform``
    """
    if platform == "darwin":
        return home / "Library" / "Application Support" / "cardprep" / "settings"
    if platform == "win32":
        return _folder(environment, "APPDATA", home / "AppData" / "Roaming") / "cardprep"
    return _folder(environment, "XDG_CONFIG_HOME", home / ".config") / "cardprep"


def _folder(environment: Mapping[str, str], variable: str, usual: Path) -> Path:
    named = environment.get(variable, "")
    return Path(named) if named and Path(named).is_absolute() else usual
