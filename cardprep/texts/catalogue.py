"""How a slug and its parameters become sentences.

A parameter that a sentence does not name is left out; one that it names and
that is not given is our own fault and shows as its name in brackets, because a
refusal that cannot be worded must still be read.
"""

from __future__ import annotations

from collections.abc import Mapping

from cardprep.errors import CardprepError
from cardprep.texts.containers import FORMATS, PROBLEMS
from cardprep.texts.finding_text import FindingText
from cardprep.texts.findings import FINDINGS
from cardprep.texts.findings_files import PLACES
from cardprep.texts.refusal_text import UNWORDED, RefusalText
from cardprep.texts.refusals import REFUSALS
from cardprep.texts.screens import FAMILIES, SCREENS, WORDS

# Parameters of findings whose values are slugs. All others are shown as they are: a
# file may be called "root".
_SLUGS = frozenset({"by", "format", "how", "promised", "reason", "wants", "what"})


class _Named(dict[str, str | int]):
    def __missing__(self, key: str) -> str:
        return f"({key})"


def worded(template: str, parameters: Mapping[str, str | int]) -> str:
    """Return `template` with its ``{names}`` replaced."""
    return template.format_map(_Named(parameters))


def refusal(error: CardprepError) -> RefusalText:
    """Return message and remedy of a refusal, with its parameters filled in."""
    text = REFUSALS.get(error.reason, RefusalText(str(error), UNWORDED))
    return RefusalText(
        worded(text.message, error.parameters), worded(text.remedy, error.parameters)
    )


def screen(slug: str, **parameters: str | int) -> str:
    """Return a line for the terminal."""
    template = SCREENS.get(slug)
    if template is None:
        # Few commands say these; the others start sooner without them.
        from cardprep.texts.changes import CHANGES
        from cardprep.texts.diagnosis import DIAGNOSIS
        from cardprep.texts.rehearsal import REHEARSAL

        template = {**REHEARSAL, **CHANGES, **DIAGNOSIS}[slug]
    return worded(template, parameters)


def finding(
    slug: str, path: str | None, structure: str | None, parameters: Mapping[str, str | int]
) -> FindingText:
    """Return the three sentences of a finding, with its parameters filled in."""
    text = FINDINGS[slug]
    words = {key: _shown(key, value) for key, value in parameters.items()}
    if "problem" in parameters:
        words["problem"] = container_problem(str(parameters["problem"]), parameters)
    if "where" in parameters:
        words["where"] = worded(PLACES[str(parameters["where"])], parameters)
    words["path"] = path or "/"
    words["structure"] = structure or "card"
    return FindingText(
        worded(text.seen, words), worded(text.why, words), worded(text.remedy, words)
    )


def _shown(key: str, value: str | int) -> str | int:
    if value == "":
        return SCREENS["words.none"]
    return word(value) if key in _SLUGS and isinstance(value, str) else value


def container_problem(reason: str, parameters: Mapping[str, str | int]) -> str:
    """Return the sentence of a container's problem, or nothing where none is named."""
    return worded(PROBLEMS.get(reason, ""), parameters)


def word(slug: str) -> str:
    """Return what a person reads for a slug, or the slug itself where it is a word already."""
    known = WORDS.get(slug) or FORMATS.get(slug)
    if known is None and slug in REFUSALS and "{" not in REFUSALS[slug].message:
        known = REFUSALS[slug].message
    family = next((said for start, said in FAMILIES.items() if slug.startswith(start)), None)
    return known or family or slug
