"""The catalogue, part three, about what a mounted folder cannot show; see ``screens.py``."""

from __future__ import annotations

from collections.abc import Mapping

UNSEEN: Mapping[str, str] = {
    "unseen": "not seen, because the card was looked at as a mounted folder:",
    "unseen.item": "- {what}",
    "unseen.partitions": "how the card is divided, and what other partitions hold",
    "unseen.file-system": "which file system it is, with which cluster size, label and serial number",
    "unseen.tables": "whether its tables agree, and whether files share or lost clusters",
    "unseen.marks": "marks for a volume that was not closed properly or had errors",
    "unseen.identity": "which card it is: neither its own number nor the job that it was written for",
    "unseen.capacity": "how large the card is, and whether it really holds that much",
    "unseen.places": "where files lie, in how many pieces, and in which order",
    "unseen.stage": "whether the card is as it was written, in all its bytes",
    "unseen.short-names": "the short names, which are all that some displays read",
    "unseen.attributes": "which files are marked as hidden or as a system's own",
    "unseen.deleted": "what was deleted and may still be there",
    "unseen.hidden": "files that this system keeps to itself or does not let this user list",
    "unseen.cache": "whether the bytes come from the card or from this computer's memory",
    "unseen.names": "whether names with accents stand on the card as this system shows them",
}
