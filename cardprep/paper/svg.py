"""The few elements of SVG that pictures are made of; every text is made harmless here.

A picture is one file that needs no other: no fonts, no links, no scripts.

Source: Scalable Vector Graphics (SVG) 1.1 (Second Edition), W3C, 2011.
"""

from __future__ import annotations

from collections.abc import Sequence
from xml.sax.saxutils import escape, quoteattr

from cardprep.terms import spelled_out


def element(name: str, content: str = "", **attributes: str | float) -> str:
    """Return one element; `content` is SVG already, attribute names have _ for -."""
    given = "".join(
        f" {key.rstrip('_').replace('_', '-')}={quoteattr(_number(value))}"
        for key, value in attributes.items()
    )
    return f"<{name}{given}>{content}</{name}>" if content else f"<{name}{given}/>"


def text(x: float, y: float, words: str, **attributes: str | float) -> str:
    """Return a line of text; what could do harm is spelled out."""
    given: dict[str, str | float] = {"x": x, "y": y, **attributes}
    return element("text", escape(spelled_out(words)), **given)


def rectangle(x: float, y: float, width: float, height: float, **attributes: str | float) -> str:
    """Return a rectangle."""
    given: dict[str, str | float] = {"x": x, "y": y, "width": width, "height": height, **attributes}
    return element("rect", "", **given)


def picture(width: float, height: float, title: str, parts: Sequence[str]) -> str:
    """Return a whole picture with a white ground, so that it prints as it is seen."""
    ground = rectangle(0, 0, width, height, fill="#ffffff")
    head = element("title", escape(spelled_out(title)))
    body = "\n".join((head, ground, *parts))
    opened = element(
        "svg",
        f"\n{body}\n",
        xmlns="http://www.w3.org/2000/svg",
        viewBox=f"0 0 {_number(width)} {_number(height)}",
        width=width,
        height=height,
        font_family="sans-serif",
        font_size=12,
        role="img",
    )
    return f"{opened}\n"


def stripes(name: str, colour: str, *, lean: int) -> str:
    """Return a pattern of stripes, so that an area is known without its colour."""
    line = element("path", d=f"M 0 {lean} L 8 {8 - lean}", stroke=colour, stroke_width=2)
    ground = rectangle(0, 0, 8, 8, fill="#ffffff")
    return element(
        "pattern", ground + line, id=name, width=8, height=8, patternUnits="userSpaceOnUse"
    )


def _number(value: str | float) -> str:
    return value if isinstance(value, str) else f"{value:.2f}".rstrip("0").rstrip(".")
