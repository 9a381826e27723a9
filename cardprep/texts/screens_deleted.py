"""The catalogue, part three, about deleted files; see ``screens.py``, which takes these in."""

from __future__ import annotations

from collections.abc import Mapping

# What is left of a deleted file, by ``volume.model.Left``, and what else is said of it.
LEFT: Mapping[str, str] = {
    "left-free": "its clusters are free, so the content may still be there",
    "left-partly": "part of its clusters is in use again",
    "left-in-use": "its first cluster is in use again",
    "left-empty": "it had no content",
    "left-nowhere": "where it began is not known",
    "left-other": "what lies there now is something else",
    "left-too-much": "more would have to be read than the card holds",
    "left-unreadable": "where it may be, the card cannot be read",
    "deleted-name": "it has the same name",
    "deleted-name-part": "its name is the same but for the first character, which is lost",
    "deleted-name-cut": "its name begins the same, and the end of it is lost",
    "deleted-same-size": "and the same size",
    "deleted-other-size": "and another size",
}

DELETED: Mapping[str, str] = {
    "inspect.deleted": "deleted, what is left of it: {count} files and folders (? is a lost character)",
    "inspect.one-of-deleted": "deleted, what is left of it: one file or folder (? is a lost character)",
    "inspect.deleted-left": "{left}",
    "inspect.deleted-cut": "only the first {bytes} bytes are looked at",
    "inspect.deleted-place": "guessed from byte {first} on: sha256 {sha256}",
    "inspect.deleted-unread": "guessed from byte {first} on, where the card cannot be read",
    "inspect.deleted-more": "to look for what was in them: cardprep inspect --deleted {target}",
}
