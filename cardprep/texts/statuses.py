"""The catalogue: what the exit statuses that are no refusal mean.

A program that calls cardprep reads these numbers, so they never change their
meaning. Every refusal has a status of its own, from 20, which its class in
``errors.py`` carries.
"""

from __future__ import annotations

from collections.abc import Mapping

from cardprep.errors import OWN_FAULT, WRONG_USAGE

STATUSES: Mapping[int, str] = {
    0: "Use the card; or what was asked is done.",
    WRONG_USAGE: "The command line was not understood; nothing was done.",
    3: "Use the card with care: read the cautions first; or it is captured, but for places that could not be read.",
    10: "Do not use the card.",
    11: "Cannot say: something could not be looked at.",
    OWN_FAULT: "A fault of cardprep's own; a report file was written.",
}
