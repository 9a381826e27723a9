"""The kinds of records that the bench writes, and what they have in common.

A kind that is written once is read for ever: a change of shape gets a new
number in ``kind_version``, never a new meaning.
"""

from __future__ import annotations

from collections.abc import Sequence

from cardprep.canonical import Json
from cardprep.findings import Finding

SHOP_OPENED = "shop-opened"
TAKEN_IN = "image-taken-in"
SIGNED = "manifest-signed"
OPENED = "job-opened"
CHANGED = "job-changed"
PLANNED = "job-planned"
BEGUN = "write-begun"
ENDED = "write-ended"
CHECKED = "card-checked"
CAPTURED = "card-captured"
RELEASED = "released-by-hand"
OUTCOME = "job-outcome"


def findings_body(findings: Sequence[Finding]) -> list[Json]:
    """Return findings as they go into a record."""
    return [
        {
            "slug": finding.slug,
            "severity": finding.severity.value,
            "path": finding.path,
            "structure": finding.structure,
            "parameters": dict(finding.parameters),
        }
        for finding in findings
    ]
