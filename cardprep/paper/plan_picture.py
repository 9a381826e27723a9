"""A plan as one picture: cards over time, units as rows, what is out of service marked.

Every mark has a colour, a shape and a word of its own.
"""

from __future__ import annotations

from dataclasses import dataclass

from cardprep.job.visit import Unit
from cardprep.paper.svg import element, picture, rectangle, stripes, text
from cardprep.texts.catalogue import screen
from cardprep.vessel.rehearsal import Rehearsal, RehearsedStage

_LEFT = 190
_TOP = 74
_ROW = 54
_BAR = 26
# Points for a minute; a change of cards is as wide as a few of them.
_MINUTE = 22
_CHANGE = 84
_LEAST = 104

_WRITTEN, _OUT, _BLANK, _EDGE = "#1f4e79", "#b03a2e", "#8a6d00", "#444444"


@dataclass(frozen=True, slots=True)
class _Bar:
    """What happens to one unit in one stage, in points from the left."""

    start: float
    end: float
    words: str


def plan_picture(rehearsal: Rehearsal) -> str:
    """Return the plan of a visit as SVG."""
    job = rehearsal.job
    columns, width = _columns(rehearsal)
    rows = sorted({step.unit for stage in rehearsal.stages for step in stage.steps})
    height = _TOP + _ROW * len(rows) + 86
    title = screen("picture.plan", job=str(job.name), vessel=job.vessel.name)
    parts = [
        element(
            "defs",
            stripes("out", _OUT, lean=8) + stripes("blank", _BLANK, lean=0),
        ),
        text(12, 24, title, font_size=16, font_weight="bold"),
    ]
    bottom = _TOP + _ROW * len(rows)
    for stage, (start, end) in zip(rehearsal.stages, columns, strict=True):
        parts += _heading(stage, start, end, bottom)
    for row, number in enumerate(rows):
        top = _TOP + _ROW * row
        parts += _row(rehearsal, number, job.units[number - 1], columns, top)
    parts += _legend(bottom + 24)
    return picture(max(width, 640), height, title, parts)


def _columns(rehearsal: Rehearsal) -> tuple[list[tuple[float, float]], float]:
    """Return from where to where each stage reaches, and the width of the whole."""
    columns = []
    x: float = _LEFT
    for stage in rehearsal.stages:
        end = x + sum(_wide(step.minutes[1]) for step in stage.steps)
        columns.append((x, end))
        x = end + _CHANGE
    return columns, x


def _wide(minutes: int) -> float:
    return max(minutes * _MINUTE, _LEAST)


def _heading(stage: RehearsedStage, start: float, end: float, bottom: float) -> list[str]:
    types = " and ".join(image_type.word for image_type in stage.stage.types)
    line = element(
        "path",
        d=f"M {start:.0f} {_TOP - 8} V {bottom:.0f} M {end:.0f} {_TOP - 8} V {bottom:.0f}",
        stroke=_EDGE,
        stroke_width=0.5,
        stroke_dasharray="3 3",
    )
    card = screen("picture.card", stage=stage.stage.number, types=types)
    minutes = screen("picture.minutes", minutes=stage.minutes[1])
    display = screen("picture.display", display=stage.stage.display)
    return [
        line,
        text(start, _TOP - 28, card, font_weight="bold"),
        text(start, _TOP - 13, f"{display}, {minutes}", font_size=11),
    ]


def _row(
    rehearsal: Rehearsal,
    number: int,
    unit: Unit,
    columns: list[tuple[float, float]],
    top: float,
) -> list[str]:
    parts = [
        text(12, top + 16, unit.role, font_weight="bold"),
        text(12, top + 31, " ".join(filter(None, (unit.model, unit.serial))), font_size=11),
    ]
    for place, (stage, (start, end)) in enumerate(zip(rehearsal.stages, columns, strict=True)):
        bars, x = [], start
        for step in stage.steps:
            following = x + _wide(step.minutes[1])
            if step.unit == number:
                words = screen("picture.step", type=step.type, version=step.version.text)
                bars.append(_Bar(x, following, words))
            x = following
        after = columns[place + 1][0] if place + 1 < len(columns) else end + _CHANGE / 2
        begun = bars[-1].end if bars else start
        ended = _next_bar(rehearsal, number, place, columns)
        until = ended if ended is not None else after
        parts += _states(stage, number, begun, max(until, begun), top)
        parts += [part for bar in bars for part in _bar(bar, top)]
    return parts


def _next_bar(
    rehearsal: Rehearsal, number: int, place: int, columns: list[tuple[float, float]]
) -> float | None:
    """Return where the next step of a unit begins, in the next stage."""
    if place + 1 >= len(columns):
        return None
    x = columns[place + 1][0]
    for step in rehearsal.stages[place + 1].steps:
        if step.unit == number:
            return x
        x += _wide(step.minutes[1])
    return None


def _states(stage: RehearsedStage, number: int, start: float, end: float, top: float) -> list[str]:
    """Return what a unit is from one place to another, if it is not simply running."""
    stands = next(one for one in stage.stands if one.unit == number)
    if stands.condition != "running":
        fill, slug, colour = "url(#out)", "picture.out", _OUT
    elif stands.is_blank:
        fill, slug, colour = "url(#blank)", "picture.blank", _BLANK
    else:
        return []
    return [
        rectangle(start, top + 6, end - start, _BAR, fill=fill, stroke=colour, stroke_width=1),
        text(start + 2, top + _BAR + 18, screen(slug), font_size=10, fill=colour),
    ]


def _bar(bar: _Bar, top: float) -> list[str]:
    width = bar.end - bar.start
    return [
        rectangle(bar.start, top + 4, width, _BAR + 4, fill=_WRITTEN, rx=3),
        text(bar.start + 2, top + _BAR + 18, bar.words, font_size=10, fill=_EDGE),
    ]


def _legend(top: float) -> list[str]:
    entries = (
        (_WRITTEN, "picture.legend-step"),
        ("url(#out)", "picture.legend-out"),
        ("url(#blank)", "picture.legend-blank"),
    )
    parts = []
    for place, (fill, slug) in enumerate(entries):
        x = 12 + place * 210
        parts.append(rectangle(x, top, 18, 12, fill=fill, stroke=_EDGE, stroke_width=0.5))
        parts.append(text(x + 24, top + 10, screen(slug), font_size=11))
    parts.append(text(12, top + 34, screen("picture.note"), font_size=10))
    return parts
