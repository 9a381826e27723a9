"""What a file that no manifest knows is supposed to be, by the shop's own rules.

A rule fits when everything that it names fits: one of its names, one of its address
ranges, one of its beginnings. It is a supposition and never a match: it takes no part
where a file is held against what the shop released.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from fnmatch import translate
from functools import lru_cache

from cardprep.findings import Finding, Parameter
from cardprep.inspection.model import InspectedFile
from cardprep.manifest.model import SupposedFacts
from cardprep.rules.context import Context
from cardprep.rules.images import mixing_parameters, types_on_card, types_per_card

# What these are is plain, and no rule of the shop makes an image of them.
_NO_IMAGES = frozenset(("html", "apple-double"))


def supposed_file(context: Context, file: InspectedFile) -> Finding | None:
    """Return a finding that says what a file is supposed to be, or None where no rule fits."""
    fitting = rules_for(context, file)
    if not fitting:
        return None
    models = dict.fromkeys(model for rule in fitting for model in rule.models)
    parameters: dict[str, Parameter] = {
        "type": ", ".join(dict.fromkeys(rule.type.word for rule in fitting)),
        "models": ", ".join(models),
        "size": file.size,
    }
    return Finding("supposed-type", file.shown, "directory", parameters)


def mixed_if_supposed(context: Context, unknown: list[InspectedFile]) -> list[Finding]:
    """Return a finding if the types would be mixed, were each file what it is supposed to be.

    unknown  the files that are nothing else; one that rules take for several types counts not
    """
    found = types_on_card(context)
    limit = types_per_card(context)
    if len(found) > limit:
        return []
    for file in unknown:
        words = {rule.type.word for rule in rules_for(context, file)}
        if len(words) == 1:
            found[words.pop()].append(file.shown)
    if len(found) <= limit:
        return []
    return [Finding("mixed-if-supposed", parameters=mixing_parameters(found, limit))]


def rules_for(context: Context, file: InspectedFile) -> tuple[SupposedFacts, ...]:
    """Return the rules that fit a file."""
    if context.manifest is None or not context.manifest.supposed:
        return ()
    if file.container is not None and file.container.format in _NO_IMAGES:
        return ()
    return tuple(rule for rule in context.manifest.supposed if all(_fitting(rule, file)))


def _fitting(rule: SupposedFacts, file: InspectedFile) -> Iterator[bool]:
    if rule.names:
        yield _pattern(rule.names).match(file.path[-1].casefold()) is not None
    if rule.addresses:
        yield _lies_inside(rule, file)
    if rule.begins:
        yield file.digests is not None and file.head.hex().startswith(rule.begins)


def _lies_inside(rule: SupposedFacts, file: InspectedFile) -> bool:
    facts = {} if file.container is None else file.container.facts
    low, high = facts.get("lowest_address"), facts.get("highest_address")
    if not isinstance(low, int) or not isinstance(high, int):
        return False
    return any(known.low <= low and high <= known.high for known in rule.addresses)


@lru_cache(maxsize=64)
def _pattern(names: tuple[str, ...]) -> re.Pattern[str]:
    """Return one expression for all names of a rule, without case, as FAT compares."""
    return re.compile("|".join(translate(name.casefold()) for name in names))
