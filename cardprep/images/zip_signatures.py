"""How the structures of a ZIP file begin, and whether a file begins like one.

Source: .ZIP File Format Specification (APPNOTE.TXT) 6.3.10, sections 4.3.7, 4.3.9,
4.3.12 and 4.3.16.
"""

from __future__ import annotations

LOCAL_SIGNATURE = b"PK\x03\x04"
DESCRIPTOR_SIGNATURE = b"PK\x07\x08"
DIRECTORY_SIGNATURE = b"PK\x01\x02"
END_SIGNATURE = b"PK\x05\x06"


def looks_like_zip(head: bytes) -> bool:
    """Return whether a file starts like ZIP: with a member, or empty with its end record."""
    return head.startswith((LOCAL_SIGNATURE, END_SIGNATURE))
