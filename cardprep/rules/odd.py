"""Rules about what is odd about a file and not wrong with its content.

Source: common practice, no published source, for what displays pass over, and for
programs that computers start from a card; FAT: General Overview of On-Disk Format,
v1.03 (Microsoft, 2000), "Directory Structure", for the attributes; Unicode Standard
Annex #15 for composed and decomposed names.
"""

from __future__ import annotations

import unicodedata

from cardprep.findings import Finding
from cardprep.rules.context import Context
from cardprep.rules.images import about_image
from cardprep.rules.names import ending

_HIDDEN, _SYSTEM = 0x02, 0x04
# ELF is what some makers ship for units, and no sign of a computer's program.
_PROGRAMS = frozenset(("windows-program", "script"))
_PROGRAM_ENDINGS = frozenset(
    ("exe", "com", "scr", "bat", "cmd", "ps1", "vbs", "js", "lnk", "pif", "msi", "dll", "sh", "app")
)
_STARTED = frozenset(("autorun.inf",))


def attributes(context: Context) -> list[Finding]:
    """Return a finding for each image that is hidden, or marked as a system's own."""
    findings = []
    for item, image in context.images:
        bits = item.file.attributes
        marks = [name for name, bit in (("hidden", _HIDDEN), ("system", _SYSTEM)) if bits & bit]
        if marks:
            findings.append(about_image("attribute-odd", item, image, marks=", ".join(marks)))
    return findings


def fragmented(context: Context) -> list[Finding]:
    """Return a finding for each image that lies in several pieces."""
    return [
        about_image("fragmented", item, image, pieces=len(item.file.extents))
        for item, image in context.images
        if len(item.file.extents) > 1
    ]


def decomposed(context: Context) -> list[Finding]:
    """Return a finding for each image whose accents stand beside their letters.

    Some systems write names so; a display that compares characters does not find them.
    """
    return [
        about_image("name-decomposed", item, image)
        for item, image in context.images
        if unicodedata.normalize("NFC", item.file.path[-1]) != item.file.path[-1]
    ]


def programs(context: Context) -> list[Finding]:
    """Return a finding for each file that a computer may start, unless it is an image.

    What it is by its bytes counts, and where that says nothing, its name.
    """
    findings = []
    for item in context.files:
        if item.image is not None or item.system_folder is not None:
            continue
        container, name = item.file.container, item.file.path[-1].casefold()
        is_program = container is not None and container.format in _PROGRAMS
        if is_program or name in _STARTED or ending(name) in _PROGRAM_ENDINGS:
            findings.append(Finding("program", item.file.shown, "directory"))
    return findings
