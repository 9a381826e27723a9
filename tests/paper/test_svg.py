"""Pictures: well-formed, alone, and harmless whatever a name holds."""

from __future__ import annotations

from xml.etree import ElementTree

from hypothesis import given
from hypothesis import strategies as st

from cardprep.paper.svg import element, picture, rectangle, stripes, text

SVG = "{http://www.w3.org/2000/svg}"


@given(st.text(), st.text())
def test_any_text_is_shown_and_no_text_is_an_element(words: str, title: str) -> None:
    drawn = picture(100, 50, title, [text(1.5, 2, words, fill="#000000")])
    # Source: Extensible Markup Language (XML) 1.0; the library reads what is well-formed.
    root = ElementTree.fromstring(drawn)  # noqa: S314 - what we wrote ourselves
    assert [child.tag for child in root] == [f"{SVG}title", f"{SVG}rect", f"{SVG}text"]
    for character in "".join(root.itertext()):
        assert character == "\n" or character.isprintable()


def test_attributes_are_quoted_and_numbers_short() -> None:
    assert element("a", b='"<&', c=1.0, d_e=0.125) == '<a b=\'"&lt;&amp;\' c="1" d-e="0.12"/>'
    assert rectangle(0, 0, 1, 2) == '<rect x="0" y="0" width="1" height="2"/>'
    assert "<pattern " in stripes("out", "#b03a2e", lean=8)


def test_a_picture_needs_no_other_file() -> None:
    drawn = picture(10, 10, "t", [])
    assert drawn.count("http") == 1
    assert "href" not in drawn
    assert "<script" not in drawn
