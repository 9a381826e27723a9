"""The catalogue, part one, for unpacking what the maker ships; see ``refusals.py``."""

from __future__ import annotations

from collections.abc import Mapping

from cardprep.texts.refusal_text import RefusalText

_AGAIN = "Fetch the archive again; if it is the same, ask the maker for the files themselves."
_ASK = "Ask the maker for the files themselves, or for an archive that is made in the plain way."
_TRAP = "Do not unpack it with another program either; ask the maker whether it is theirs."
_NAME = "Ask the maker for an archive whose names are plain, or for the file itself."

UNPACK: Mapping[str, RefusalText] = {
    # the archive
    "unpack.no-end": RefusalText("the archive does not end as a ZIP file does", _AGAIN),
    "unpack.two-ends": RefusalText(
        "the archive ends twice, at byte {first} and at byte {second}, so that programs see different files in it",
        _TRAP,
    ),
    "unpack.cut-short": RefusalText("the archive has nothing at byte {offset}", _AGAIN),
    "unpack.several-disks": RefusalText(
        "the archive is one part of several", "Ask the maker for the update in one file."
    ),
    "unpack.zip64-end": RefusalText(
        "the archive's two end records, narrow and wide, do not agree", _AGAIN
    ),
    "unpack.directory": RefusalText(
        "the archive's directory is not what its end record says, at byte {offset}", _AGAIN
    ),
    "unpack.many-members": RefusalText(
        "the archive lists {found} members; {limit} are unpacked at most", _ASK
    ),
    "unpack.before": RefusalText(
        "{count} bytes that belong to no member stand at the start of the archive",
        "If it is a program that unpacks itself, ask the maker for the files themselves.",
    ),
    # a member's name
    "unpack.name-long": RefusalText("the name {name} is longer than {limit} bytes", _NAME),
    "unpack.name-encoding": RefusalText("the name {name} is not the UTF-8 it claims to be", _NAME),
    "unpack.name-backslash": RefusalText("the name {name} has a backslash in it", _NAME),
    "unpack.name-characters": RefusalText(
        "the name {name} has characters in it that cannot be seen or that turn the writing round",
        _NAME,
    ),
    "unpack.name-absolute": RefusalText("the name {name} begins at the root of a disk", _TRAP),
    "unpack.name-drive": RefusalText(
        "the name {name} has a colon in it, like that of a drive", _NAME
    ),
    "unpack.name-part": RefusalText("the name {name} has a part that is empty or only dots", _TRAP),
    "unpack.two-names": RefusalText("the member {name} is also called {other}", _TRAP),
    "unpack.name-twice": RefusalText(
        "{name} and {other} are one name to some systems, and the archive has both", _ASK
    ),
    "unpack.file-and-folder": RefusalText(
        "{name} is a file, and {other} needs a folder of that name", _ASK
    ),
    # what a member is
    "unpack.link": RefusalText("{name} is a link to another file", _TRAP),
    "unpack.kind": RefusalText(
        "{name} is neither a plain file nor a folder (attributes {attributes})", _ASK
    ),
    "unpack.folder-contents": RefusalText("the folder {name} has contents like a file", _ASK),
    "unpack.encrypted": RefusalText(
        "{name} is encrypted", "Ask the maker for the files without a password."
    ),
    "unpack.flags": RefusalText(
        "{name} has flags that cardprep does not know (hexadecimal {flags})", _ASK
    ),
    "unpack.method": RefusalText(
        "{name} is packed with method {method}; only stored (0) and deflated (8) are unpacked",
        "Unpack it with the program that the maker names, and take the file itself in.",
    ),
    "unpack.extra": RefusalText("the extra fields of {name} cannot be read", _AGAIN),
    "unpack.zip64": RefusalText("the long sizes (zip64) of {name} do not agree", _AGAIN),
    "unpack.stored-size": RefusalText(
        "{name} is not packed, and yet has {packed} bytes packed and {unpacked} unpacked", _AGAIN
    ),
    "unpack.too-large": RefusalText(
        "{name} has more than {limit} bytes, packed or unpacked, and a file on a card has no more",
        _ASK,
    ),
    "unpack.ratio": RefusalText(
        "{name} would unpack to more than {limit} times its size, as no update file does", _TRAP
    ),
    # directory against local header
    "unpack.no-member": RefusalText(
        "{name} does not begin at byte {offset}, where the directory says", _AGAIN
    ),
    "unpack.names-differ": RefusalText(
        "a member is called {local} where it stands and {directory} in the directory", _TRAP
    ),
    "unpack.flags-differ": RefusalText(
        "the flags of {name} differ between the directory and the member", _AGAIN
    ),
    "unpack.methods-differ": RefusalText(
        "the methods of {name} differ between the directory and the member", _AGAIN
    ),
    "unpack.sizes-differ": RefusalText(
        "sizes or CRC of {name} differ between the directory and the member", _AGAIN
    ),
    "unpack.descriptor": RefusalText(
        "what follows {name} is not the sizes and CRC that the directory says", _AGAIN
    ),
    "unpack.gap": RefusalText("{count} bytes after {name} belong to no member", _AGAIN),
    "unpack.overlap": RefusalText("{name} overlaps what comes after it", _TRAP),
    # while unpacking
    "unpack.damaged": RefusalText("the packed contents of {name} are damaged", _AGAIN),
    "unpack.data-after": RefusalText("more follows the packed contents of {name}", _AGAIN),
    "unpack.longer": RefusalText(
        "{name} unpacks to more than the {stated} bytes that the archive says", _AGAIN
    ),
    "unpack.shorter": RefusalText(
        "{name} unpacks to {found} bytes, and the archive says {stated}", _AGAIN
    ),
    "unpack.crc": RefusalText(
        "{name} has CRC-32 {computed}, and the archive says {stated}", _AGAIN
    ),
}
