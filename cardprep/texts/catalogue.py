"""How a slug and its parameters become sentences.

A parameter that a sentence does not name is left out; one that it names and
that is not given is our own fault and shows as its name in brackets, because a
refusal that cannot be worded must still be read.
"""

from __future__ import annotations

from collections.abc import Mapping

from cardprep.errors import CardprepError
from cardprep.texts.refusals import REFUSALS, RefusalText


class _Named(dict[str, str | int]):
    def __missing__(self, key: str) -> str:
        return f"({key})"


def worded(template: str, parameters: Mapping[str, str | int]) -> str:
    """Return `template` with its ``{names}`` replaced."""
    return template.format_map(_Named(parameters))


def refusal(error: CardprepError) -> RefusalText:
    """Return message and remedy of a refusal, with its parameters filled in."""
    text = REFUSALS[error.reason]
    return RefusalText(
        worded(text.message, error.parameters), worded(text.remedy, error.parameters)
    )
