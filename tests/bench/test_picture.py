"""A picture is written whole, and over nothing but a picture."""

from __future__ import annotations

from pathlib import Path

import pytest

from cardprep.bench.picture import put_picture
from cardprep.errors import OutputError
from cardprep.paper.svg import picture

DRAWN = picture(10, 10, "a title", [])


def test_a_picture_takes_the_place_of_a_picture(tmp_path: Path) -> None:
    path = tmp_path / "plan.svg"
    put_picture(path, DRAWN)
    put_picture(path, picture(20, 10, "another", []))
    assert "another" in path.read_text("utf-8")
    assert [entry.name for entry in tmp_path.iterdir()] == ["plan.svg"]


def test_nothing_else_is_written_over(tmp_path: Path) -> None:
    notes = tmp_path / "notes.svg"
    notes.write_text("what the skipper said")
    link = tmp_path / "link.svg"
    link.symlink_to(tmp_path / "elsewhere.svg")
    for path in (notes, link, tmp_path, Path("/dev/full")):
        with pytest.raises(OutputError) as caught:
            put_picture(path, DRAWN)
        assert caught.value.reason == "picture.there"
    assert notes.read_text() == "what the skipper said"
    assert not (tmp_path / "elsewhere.svg").exists()


@pytest.mark.parametrize("name", ["nowhere/plan.svg", "a\0b.svg", "x" * 300])
def test_where_it_cannot_be_written(tmp_path: Path, name: str) -> None:
    with pytest.raises(OutputError) as caught:
        put_picture(tmp_path / name, DRAWN)
    assert caught.value.reason == "picture.unwritten"
