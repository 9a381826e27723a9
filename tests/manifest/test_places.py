"""The scanner of lines against texts whose every value is its own line number."""

from __future__ import annotations

import time
import tomllib

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from cardprep.manifest.places import Places, find_places

# Every whole number in these texts is the line on which it stands, so that what
# tomllib finds there tells what the scanner has to say. Source of the spellings:
# TOML v1.0.0, the sections that the ids name.
TEXTS = [
    pytest.param("a = 1\nb = 2\n\n# c = 9\nc = 5", id="keys, values, comments"),
    pytest.param("a.b.c = 1\na . 'd' = 2\na.\"e.f\" = 3\n", id="dotted keys"),
    pytest.param("'' = 1\n", id="empty key"),
    pytest.param('"\\u0061\\"]=" = 1\n', id="escapes in a key"),
    pytest.param("'#=[' = 1 # b = 7\n", id="signs in a literal key"),
    pytest.param("3.14 = 1\n1234 = 2\n-_- = 3", id="bare keys of digits"),
    pytest.param('x = "a#\\"\\\\"\ny = 2\nz = \'\\\'\nw = 4\n', id="one-line strings"),
    pytest.param('x = """\na = 9\n\\""" b\n"""\ny = 5\n', id="multi-line basic string"),
    pytest.param('x = """a"""""\ny = 2\n', id="two quotes before the closing three"),
    pytest.param('x = """"a""""\ny = 2\n', id="quotes at both ends"),
    pytest.param("x = '''\n\\\n''''\ny = 4\n", id="multi-line literal string"),
    pytest.param('x = """\\\n  a\\\n"""\ny = 4\n', id="line-ending backslash"),
    pytest.param("x = ''\ny = \"\"\nz = 3\n", id="empty strings"),
    pytest.param("x = [\n 2, 2,\n # 7\n [4, 4], # ]\n\n 6\n ]\ny = 8\n", id="arrays"),
    pytest.param("x = []\ny = [ [ ], [ 2 ] ]\nz = [\n 4,\n]\n", id="empty arrays, last comma"),
    pytest.param(
        "x = [{ a = 1, b = { c.d = 1 } }, {}, {\t},\n { a = 2 }]\n", id="inline tables in arrays"
    ),
    pytest.param("x = { a.b = [1, 1], 'c' = '}' }\ny = 2\n", id="inline table"),
    pytest.param("[a]\nb = 2\n[ c . d ] # [e]\nf = 4\n[c]\ng = 6\n", id="tables"),
    pytest.param("[[a]]\nb = 2\n[[a]]\nb = 4\n[a.c]\nd = 6\n[[a]]\n", id="arrays of tables"),
    pytest.param(
        "[[a]]\n[[a.b]]\nc = 3\n[[a.b]]\nc = 5\n[[a]]\n[[a.b]]\nc = 8\n[a.b.d]\ne = 10\n",
        id="arrays of tables inside each other",
    ),
    pytest.param("[[a]]\nx = 2\n[b]\ny = 4\n[[a]]\nx = 6\n", id="array of tables in two places"),
    pytest.param("[a.b]\nx = 2\n[a]\nb2.y = 4\n[a.c.d]\nz = 6\n", id="super-tables afterwards"),
    pytest.param("x = 1979-05-27 07:32:00\ny = 2\nz = [1979-05-27, 3]\n", id="dates"),
    pytest.param("x = -inf\ny = 1e4 # ,\nz = true\nw = 4", id="other scalars"),
    pytest.param("x = 0x1\n\n\n\n\ny = 0b110\n", id="other bases"),
    pytest.param("", id="no text"),
    pytest.param("# only a comment", id="only a comment"),
]


def own_lines(value: object, path: tuple[str | int, ...] = ()) -> dict[tuple[str | int, ...], int]:
    """Return the path of every whole number in `value`, with that number."""
    if isinstance(value, bool):
        return {}
    if isinstance(value, int):
        return {path: value}
    found: dict[tuple[str | int, ...], int] = {}
    if isinstance(value, dict):
        for key, inner in value.items():
            found |= own_lines(inner, (*path, key))
    if isinstance(value, list):
        for place, inner in enumerate(value):
            found |= own_lines(inner, (*path, place))
    return found


def all_paths(value: object, path: tuple[str | int, ...] = ()) -> set[tuple[str | int, ...]]:
    """Return the path of everything in `value` but the whole."""
    found = {path} if path else set()
    if isinstance(value, dict):
        for key, inner in value.items():
            found |= all_paths(inner, (*path, key))
    if isinstance(value, list):
        for place, inner in enumerate(value):
            found |= all_paths(inner, (*path, place))
    return found


@pytest.mark.parametrize("text", TEXTS)
def test_lines_of_all_spellings(text: str) -> None:
    values, places = tomllib.loads(text), find_places(text)
    for path, line in own_lines(values).items():
        assert places.line(path) == line
    assert all_paths(values) <= set(places.lines)


@pytest.mark.parametrize("text", TEXTS)
def test_lines_move_with_the_text(text: str) -> None:
    before, after = find_places(text), find_places("\n# moved\n\n" + text)
    assert {path: line + 3 for path, line in before.lines.items()} == after.lines


def test_heading_and_first_mention() -> None:
    places = find_places("a.b = 1\n[[c]]\n[[c]]\n[c.d.e]\n[f]\n")
    assert places.line(("a",)) == 1
    assert places.line(("c",)) == 2
    assert places.line(("c", 1)) == 3
    assert places.line(("c", 1, "d")) == 4
    assert places.line(("f",)) == 5


def test_what_has_no_line_takes_that_above() -> None:
    places = find_places("x = 1\n[[image]]\n[[image]]\nfile = 'a'\n")
    assert places.line(("image", 1, "file")) == 4
    assert places.line(("image", 1, "size")) == 3
    assert places.line(("image", 1, "needs", 4, "type")) == 3
    assert places.line(("nothing",)) == 1
    assert Places({}).line(()) == 1


@pytest.mark.parametrize(
    "text",
    [
        pytest.param("x", id="key alone"),
        pytest.param("x =", id="no value"),
        pytest.param("= 1", id="no key"),
        pytest.param("x = 1 y = 2\n[", id="heading not closed"),
        pytest.param("[a", id="bracket missing"),
        pytest.param("[[a]", id="second bracket missing"),
        pytest.param('x = "abc', id="string not closed"),
        pytest.param('x = "abc\\', id="string ends in a backslash"),
        pytest.param('x = """abc', id="multi-line string not closed"),
        pytest.param("x = 'a\nb'", id="literal string over two lines"),
        pytest.param("x = [1, 2", id="array not closed"),
        pytest.param("x = [1 2]", id="comma missing"),
        pytest.param("x = {a = 1\n}", id="line end in an inline table"),
        pytest.param("x = {a", id="inline table not closed"),
        pytest.param("x = {a = 1 b = 2}", id="comma missing in an inline table"),
        pytest.param('"\\q" = 1', id="unknown escape in a key"),
        pytest.param("\r", id="carriage return alone"),
        pytest.param("x = ,", id="comma for a value"),
    ],
)
def test_no_toml_stops_the_scanner_and_the_reader(text: str) -> None:
    places = find_places("first = 1\n" + text)
    assert places.over is None
    assert places.line(("first",)) == 1
    with pytest.raises(tomllib.TOMLDecodeError):
        tomllib.loads("first = 1\n" + text)


@pytest.mark.parametrize(
    ("text", "over", "line"),
    [
        pytest.param("x = 1\ny = " + "[" * 9 + "]" * 9, "depth", 2, id="nine lists"),
        pytest.param("x = " + "{a=" * 9 + "1" + "}" * 9, "depth", 1, id="nine tables"),
        pytest.param("x = " + "[" * 100_000, "depth", 1, id="the reader's stack"),
        pytest.param("\n\n" + ".".join("a" * 9) + " = 1", "parts", 3, id="key of nine parts"),
        pytest.param("[" + ".".join("a" * 9) + "]", "parts", 1, id="heading of nine parts"),
        pytest.param("x = {" + "a." * 100_000, "parts", 1, id="the reader's hours"),
        pytest.param("x = [\n" + "1,\n" * 100_000 + "]", "values", 100_001, id="many values"),
        pytest.param("y = 1\nx = " + "9" * 101, "plain", 2, id="more digits than Python reads"),
        pytest.param("[[a]]\n" * 100_001, "values", 100_001, id="many tables"),
    ],
)
def test_caps(text: str, over: str, line: int) -> None:
    places = find_places(text)
    assert (places.over, places.over_line) == (over, line)


@pytest.mark.parametrize(
    "text",
    [
        pytest.param("x = " + "[" * 8 + "]" * 8, id="eight lists"),
        pytest.param(".".join("a" * 8) + " = 1", id="key of eight parts"),
        pytest.param("x = " + "9" * 100 + " " * 9000 + "# y", id="as many digits as may be"),
        pytest.param("x = [" + "1," * 99_999 + "]", id="as many values as may be"),
    ],
)
def test_just_below_the_caps(text: str) -> None:
    assert find_places(text).over is None
    tomllib.loads(text)


@pytest.mark.parametrize(
    "piece",
    [
        "# c\n",
        "\n",
        "[[a]]\n",
        "a=1\n",
        "[",
        "{a=",
        "a.",
        '"',
        "'",
        '"\\"',
        "'''",
        '"""',
        "\\",
        ",",
    ],
)
def test_time_is_bounded(piece: str) -> None:
    text = "x = [" + piece * (4 * 2**20 // len(piece))
    begun = time.monotonic()
    find_places(text)
    find_places(text.removeprefix("x = ["))
    # About three seconds at most here; what is not linear takes hours.
    assert time.monotonic() - begun < 30


TOKENS = st.sampled_from(
    [
        *("[", "]", "[[", "]]", "{", "}", "=", ",", ".", '"', '"""', "'", "'''", "\\", "#"),
        *("a", "b=1", "'k'", "1", "ä", "a=[", "x={", "\n", "\n", " ", "\t", "\r"),
        *("\n[[a]]\n", "\n[a.b]\n"),
    ]
)


@settings(deadline=None, max_examples=400)
@given(st.lists(TOKENS, max_size=30).map("".join))
@example("[[a]]\n[a]\n")
@example("a = 1\n[[a]]\n")
def test_any_text(text: str) -> None:
    # The door in text.py does this replacement, as tomllib does inside.
    places = find_places(text.replace("\r\n", "\n"))
    try:
        values = tomllib.loads(text)
    except tomllib.TOMLDecodeError:
        return
    assert places.over is None
    assert all_paths(values) <= set(places.lines)
    assert set(places.lines.values()) <= set(range(1, text.count("\n") + 2))
