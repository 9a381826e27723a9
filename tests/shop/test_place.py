"""Where shop folder and settings are, as a pure function."""

from __future__ import annotations

from pathlib import Path

import pytest

from cardprep.shop.place import settings_folder, shop_folder

HOME = Path("/home/ines")


# Source: XDG Base Directory Specification 0.8, "Environment variables"; macOS and
# Windows folders are common practice, no published source.
@pytest.mark.parametrize(
    ("option", "environment", "platform", "folder"),
    [
        pytest.param("/a/b", {"CARDPREP_SHOP": "/c"}, "linux", "/a/b", id="option first"),
        pytest.param("b", {}, "linux", "b", id="option from where one is"),
        pytest.param(None, {"CARDPREP_SHOP": "/c"}, "linux", "/c", id="environment"),
        pytest.param("", {"CARDPREP_SHOP": "/c"}, "linux", "/c", id="empty option"),
        pytest.param(
            None,
            {"CARDPREP_SHOP": ""},
            "linux",
            "/home/ines/.local/share/cardprep/shop",
            id="usual",
        ),
        pytest.param(None, {"XDG_DATA_HOME": "/d"}, "linux", "/d/cardprep/shop", id="data folder"),
        pytest.param(
            None,
            {"XDG_DATA_HOME": "d"},
            "linux",
            "/home/ines/.local/share/cardprep/shop",
            id="a relative one is ignored",
        ),
        pytest.param(
            None,
            {"XDG_DATA_HOME": ""},
            "freebsd14",
            "/home/ines/.local/share/cardprep/shop",
            id="an empty one too",
        ),
        pytest.param(
            None,
            {"XDG_DATA_HOME": "/d"},
            "darwin",
            "/home/ines/Library/Application Support/cardprep/shop",
            id="macOS",
        ),
        pytest.param(
            None, {}, "win32", "/home/ines/AppData/Local/cardprep/shop", id="Windows, usual"
        ),
        pytest.param(
            None, {"LOCALAPPDATA": "/l"}, "win32", "/l/cardprep/shop", id="Windows, environment"
        ),
    ],
)
def test_shop_folder(
    option: str | None, environment: dict[str, str], platform: str, folder: str
) -> None:
    assert shop_folder(option, environment, HOME, platform) == Path(folder)


@pytest.mark.parametrize(
    ("environment", "platform", "folder"),
    [
        pytest.param({}, "linux", "/home/ines/.config/cardprep", id="usual"),
        pytest.param({"XDG_CONFIG_HOME": "/c"}, "linux", "/c/cardprep", id="environment"),
        pytest.param(
            {"XDG_CONFIG_HOME": "c"}, "linux", "/home/ines/.config/cardprep", id="relative"
        ),
        pytest.param(
            {}, "darwin", "/home/ines/Library/Application Support/cardprep/settings", id="macOS"
        ),
        pytest.param({}, "win32", "/home/ines/AppData/Roaming/cardprep", id="Windows, usual"),
        pytest.param({"APPDATA": "/a"}, "win32", "/a/cardprep", id="Windows, environment"),
    ],
)
def test_settings_folder(environment: dict[str, str], platform: str, folder: str) -> None:
    assert settings_folder(environment, HOME, platform) == Path(folder)


@pytest.mark.parametrize("platform", ["linux", "darwin", "win32"])
def test_settings_are_never_inside_the_usual_shop(platform: str) -> None:
    shop = shop_folder(None, {}, HOME, platform)
    settings = settings_folder({}, HOME, platform)
    assert not settings.is_relative_to(shop)
    assert not shop.is_relative_to(settings)
