"""The catalogue, part on containers: names of formats, and what a problem says.

FORMATS is keyed by the slug of a format, PROBLEMS by the reason of a problem.
A problem is lower case without full stop, names its numbers, and stands after
the name of the file. ``{names}`` are the parameters of the problem.
"""

from __future__ import annotations

from collections.abc import Mapping

FORMATS: Mapping[str, str] = {
    "opaque": "plain data of no known format",
    "intel-hex": "Intel HEX",
    "s-record": "S-record",
    "uimage": "uImage (legacy boot image)",
    "zip": "ZIP archive",
    "gzip": "gzip compressed file",
    "tar": "tar archive",
    "elf": "ELF program",
    "device-tree": "device tree or FIT image",
    "xz": "xz compressed file",
    "zstd": "Zstandard compressed file",
    "bzip2": "bzip2 compressed file",
    "lz4": "LZ4 compressed file",
    "cpio": "cpio archive",
    "squashfs": "squashfs file system",
    "android-sparse": "Android sparse image",
    "html": "web page (HTML)",
    "apple-double": "AppleDouble companion of another file",
}

PROBLEMS: Mapping[str, str] = {
    "more-problems": "{count} more problems of this file are not listed",
    "wrong-start": "the file does not begin like one of this format",
    # Intel HEX and S-record
    "record.mark": "line {line} does not begin like a record",
    "record.digit": "line {line} has something other than a hex digit at digit {place}",
    "record.odd-digits": "line {line} has {digits} hex digits, which do not make pairs",
    "record.length": "line {line} announces {stated} bytes and carries {found}",
    "record.length-for-type": "line {line} has a length ({found}) that type {type} cannot have",
    "record.checksum": "line {line} ends with checksum {stated}, but its bytes give {computed}",
    "record.type": "line {line} is a record of type {type}, which there is not",
    "record.too-long": "line {line} is longer than the {limit} characters of the longest record",
    "record.more-bad-lines": "{count} more lines after the first bad one are bad",
    "record.given-up": "most of the first {line} lines carry no data, so the rest was not looked at",
    "record.no-end": "there is no end record after {lines} lines, so the copy was cut short",
    "record.no-end-but-count": "there is no end record, but the last record counts all {count} data records",
    "record.after-end": "line {line} stands after the end record",
    "record.no-data": "no record carries any data",
    "record.overlap": "the data at address {address} are given twice",
    "record.wraps": "the data of line {line} run over the end of their address range",
    "record.count": "line {line} counts {stated} data records, but there are {found} before it",
    "record.line-ends": "line ends are mixed ({lf} LF, {crlf} CR LF, {cr} CR), as after a transfer in text mode",
    # uImage
    "uimage.header-cut-short": "the file ends after {found} of the header's 64 bytes",
    "uimage.header-crc": "the header has checksum {stated}, but its bytes give {computed}",
    "uimage.data-crc": "the data have checksum {stated}, but their bytes give {computed}",
    "uimage.cut-short": "the header announces {stated} bytes of data, but there are {found}",
    "uimage.trailing": "after the data stand {count} bytes that no checksum covers and that are not padding",
    # gzip
    "gzip.cut-short": "the file ends inside compressed part {member}",
    "gzip.damaged": "the compressed data of part {member} are damaged",
    "gzip.crc": "part {member} has checksum {stated}, but its contents give {computed}",
    "gzip.size": "part {member} announces {stated} bytes of contents, but unpacks to {found}",
    "gzip.header-crc": "the header of part {member} has checksum {stated}, but its bytes give {computed}",
    "gzip.header-text": "the name or comment in the header of part {member} does not end within {limit} bytes",
    "gzip.trailing": "after compressed part {member} stand {count} bytes that are not gzip and not padding",
    "gzip.many-members": "there are more than {limit} compressed parts; the rest was not checked",
    "gzip.too-large": "it would unpack to more than {limit} bytes or to more than {ratio} times its size, so it was not checked",
    # tar
    "tar.cut-short": "the file ends at byte {offset}, inside member {member}",
    "tar.header-checksum": "the header of member {member}, at byte {offset}, does not fit its checksum",
    "tar.size": "the header of member {member}, at byte {offset}, has a size that cannot be right",
    "tar.no-end": "after {member} members, at byte {offset}, the two blocks of zeros that end a tar file are missing",
    "tar.after-end": "{count} bytes stand after the end, and they are not padding",
    "tar.sparse": "{name} is stored with holes left out; from there on nothing was checked",
    "tar.pax-size": "the size of member {member} stands in an extended header; from there on nothing was checked",
    # ZIP
    "zip.cut-short": "the file ends inside a member, after {members} whole ones",
    "zip.cut-short-directory": "the file ends inside its directory, after {entries} entries",
    "zip.no-end": "the file ends at byte {offset} without an end record, after {members} members",
    "zip.no-structure": "at byte {offset}, after {members} members, stands nothing that belongs in a ZIP file",
    "zip.crc": "{name} has checksum {stated}, but its contents give {computed}",
    "zip.packed-size": "{name} announces {stated} packed bytes, but there are {found}",
    "zip.unpacked-size": "{name} announces {stated} bytes of contents, but there are {found}",
    "zip.damaged": "the compressed data of {name} are damaged",
    "zip.descriptor": "what stands after the contents of {name} does not give their checksum and sizes",
    "zip.header-sizes": "{name} has another checksum or size before its contents than they have",
    "zip.name-twice": "the name {name} is given to two members",
    "zip.names-differ": "a member is called {local} in place and {directory} in the directory",
    "zip.methods-differ": "{name} has another compression method in place than in the directory",
    "zip.flags-differ": "{name} has other flags in place than in the directory",
    "zip.sizes-differ": "{name} has another checksum or size in place than in the directory",
    "zip.times-differ": "{name} has another time in place than in the directory",
    "zip.several-disks": "{name} is said to stand on another disk",
    "zip.entry-offset": "the directory lists {name} at byte {offset}, where no member begins or one is already listed",
    "zip.not-listed": "{name} is in the file but not in its directory",
    "zip.more-entries": "the directory lists more than the {members} members that there are",
    "zip.end-record": "the end record speaks of {stated} members and a directory at byte {stated_offset}; there are {found}, and it is at byte {found_offset}",
    "zip.after-end": "{count} bytes stand after the end, and they are not padding",
    "zip.encrypted": "{name} is encrypted and was not checked",
    "zip.method": "{name} is compressed by method {method} and was not checked",
    "zip.size-unknown": "where {name} ends is not said before it; from there on nothing was checked",
    "zip.zip64": "{name} has sizes or a place in zip64 form and was not checked",
    "zip.other-structure": "at byte {offset} stands a part of ZIP that is not looked into; from there on nothing was checked",
    "zip.many-members": "there are more than {limit} members; the rest was not checked",
    "zip.too-large": "{name} would unpack to more than {ratio} times its size, or all members to more than {limit} bytes, so it was not checked",
}
