"""The note with which every capture begins: how anybody checks it without cardprep.

It is a part of the format: changing a letter of it makes another format, which
needs a new number.
"""

from __future__ import annotations

NOTE = """\
This file holds a copy of a memory card, made by cardprep as evidence.
It is an ordinary ZIP file (with ZIP64). To check it with any tools:

  unzip FILE
  sha256sum -c --strict SHA256SUMS

card.img    the card, from its first byte to its last
index.json  what was copied, when, by which version; the SHA-256 of the whole
            card and of each block; and the places that could not be read
SHA256SUMS  the digests of all this

"unreadable" in index.json lists the places that the reader could not read.
They are filled with zeros in card.img, and the digests are of it as it is
here. Where "tried" is false, the place was not tried sector by sector, and
some of it could perhaps be read.

"blocks" in index.json lists the blocks of card.img in order, each block
"block_size" bytes and the last one what is left. A row is: how many blocks
in a row are the same; how many bytes each of them takes in the ZIP file; the
CRC-32 of those bytes; the SHA-256 of the block. To check block N by itself:

  dd if=card.img bs=BLOCK_SIZE skip=N count=1 | sha256sum

Each block is packed by itself, as raw deflate (RFC 1951).
"""
