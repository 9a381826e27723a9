"""How a capture begins and ends, so that it is told from an image file by a few bytes.

Looked at for every file that is checked, so nothing else is loaded for it. Both ends
are looked at, so that a capture of which one byte was altered is still known as one.
What begins or ends like this and is none is refused, and never read as a card.
"""

from __future__ import annotations

from cardprep.errors import CardprepError
from cardprep.medium.protocol import Sectors, read

FIRST_NAME = b"CAPTURE.txt"
COMMENT = b"cardprep capture 1"

_LOCAL, _END = b"PK\x03\x04", b"PK\x05\x06"
# The name stands behind a local header of 30 bytes, the comment behind an end of 22.
_NAME_PLACE, _COMMENT_PLACE = 30, 22
_BEGIN_LENGTH, _END_LENGTH = _NAME_PLACE + len(FIRST_NAME), _COMMENT_PLACE + len(COMMENT)
# The number is left out: a capture of another version is none that is read, and no image.
_ANY_COMMENT = COMMENT.rstrip(b"0123456789")


def looks_like_capture(file: Sectors) -> bool:
    """Return whether a file begins or ends as captures do."""
    try:
        begin = read(file, 0, min(_BEGIN_LENGTH, file.size))
        if begin.startswith(_LOCAL) and FIRST_NAME.startswith(begin[_NAME_PLACE:]):
            return True
        if file.size < _END_LENGTH:
            return False
        end = read(file, file.size - _END_LENGTH, _END_LENGTH)
    except CardprepError:
        # What cannot be read is told where the card is looked at.
        return False
    return end.startswith(_END) and end[_COMMENT_PLACE:].startswith(_ANY_COMMENT)
