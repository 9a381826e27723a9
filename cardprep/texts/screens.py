"""The catalogue, part three: what the terminal says, and the words it uses.

Keyed by slug; ``{names}`` are filled in. Words of the trade and of standards,
nothing that we made up.
"""

from __future__ import annotations

from collections.abc import Mapping

VERDICTS: Mapping[str, str] = {
    "use": "USE",
    "use-with-care": "USE WITH CARE",
    "do-not-use": "DO NOT USE",
    "cannot-say": "CANNOT SAY",
}

SEVERITIES: Mapping[str, str] = {"stop": "STOP", "caution": "CAUTION", "note": "note"}

# Values of parameters that a person reads as words.
WORDS: Mapping[str, str] = {
    "free": "marked as free",
    "free-count": "count of free clusters",
    "mirroring": "only one of its FATs is kept up to date",
    "backup-place": "place of its copy",
    "fat-count": "number of FATs",
    "label": "a label hides a file",
    "outside": "outside the volume",
    "bad": "marked as bad",
    "crossed": "another file's",
    "loop": "its own",
    "blank": "it is blank",
    "gpt": "it has a GUID partition table, which this version does not read",
    "logical": "logical partitions are not read by this version",
    "empty": "nothing is in it",
    "mbr.empty": "its partition table is empty",
    "mbr.no-signature": "its first sector is neither a partition table nor a volume",
    "mbr.status": "its partition table cannot be right",
    "mbr.short": "it is smaller than a sector",
    "dots": "its entries for itself and the folder above are wrong",
    "dot-in-root": "the root has an entry for itself",
    "no-cluster": "it has no place on the card",
    "size": "it has a size, which folders have not",
    "media": "media byte",
    "jump": "first three bytes",
    "root": "entries of the root folder",
    "old-fields": "fields that FAT32 leaves empty",
    "totals": "two different sizes",
    "small-fat": "a FAT too small for its clusters",
    "status": "reserved mark",
    "place": "where it stands",
    "signature": "its marks are missing",
    "volume-too": "the first sector is a volume's too",
    "entry": "an entry is half filled in",
    "sector-size": "it counts in other sectors than the card has",
    "shop.not-there": "there is no shop folder",
    "shop.not-a-shop": "there is no shop folder",
    "shop.key-unknown": "this user has not accepted the shop's key",
    "shop.key-not-pinned": "the shop's key is not the one known to this user",
    "manifest.unsigned": "it is not signed",
    "manifest.changed": "it was changed after it was signed",
    "manifest.other-key": "another key signed it",
    "manifest.older": "a newer one was seen before",
    "manifest.same-serial": "another one of the same serial was seen before",
    "manifest.signature-unreadable": "its signature cannot be read",
    "medium.short": "the reader gave too few bytes",
    "medium.read-error": "the reader reported an error",
    "medium.past-the-end": "it lies behind the end of the card",
    "medium.file-read-error": "the system reported an error",
    "medium.not-allowed": "this user may not read it",
    "medium.not-there": "it is gone",
}

# The same for whole families of reasons.
FAMILIES: Mapping[str, str] = {"fat.": "it is no FAT volume that can be right"}

KINDS: Mapping[str, str] = {
    "shop-opened": "shop opened",
    "image-taken-in": "image taken in",
    "manifest-signed": "manifest signed",
    "job-opened": "job opened",
    "job-planned": "job planned",
    "write-begun": "writing begun",
    "write-ended": "writing ended",
    "card-checked": "card checked",
}

SCREENS: Mapping[str, str] = {
    "refused": "cardprep: {message}\n  {remedy}",
    "fault": "cardprep: this is a fault of cardprep itself, and nothing of yours; what happened is in {report}\n  What was begun is in the log. Send that file to whoever looks after cardprep.",
    "fault.no-file": "no file, because none could be written",
    # what a command does, for whoever is kept waiting by it
    "command.intake": "taking a file in",
    "command.sign": "signing",
    "command.job": "working on a job",
    "command.write": "writing {target}",
    # shop
    "shop.made": "shop folder made in {folder}",
    "shop.key": "key {fingerprint} (write it down, it stands on every sheet)",
    "shop.next": "next: write displays and models into {manifest}, then take files in",
    "shop.accepted": "key {fingerprint} is accepted for {folder}",
    # intake and manifest
    "intake.done": "{file}: {type} {version} for {models}",
    "intake.container": "  {format}, {size}; its own checks: {soundness}",
    "intake.digest": "  sha256 {sha256}",
    "intake.on-shelf": "  the shelf had these bytes already",
    "intake.in-manifest": "  the manifest had this image already; nothing was changed",
    "intake.next": "next: cardprep manifest sign",
    "soundness.holds": "hold",
    "soundness.broken": "fail",
    "soundness.unchecked": "the format has none over all of it",
    "manifest.signed": "manifest signed, serial {serial}, {images} images",
    "manifest.was-signed": "the manifest is signed as it stands, serial {serial}, {images} images",
    "manifest.mistake": "{message}\n  {remedy}",
    "manifest.digest": "  sha256 {sha256}",
    "manifest.good": "the manifest has no mistake: serial {serial}, {images} images",
    # jobs
    "job.opened": "job {job} opened for {vessel}",
    "job.unit": "  {role}: {model} {serial}",
    "job.unit-type": "    {type}: has {now}, wants {wanted}",
    "job.next": "next: cardprep job plan {job}",
    "job.planned": "job {job}, {vessel}: {count} to prepare",
    "job.nothing": "job {job}, {vessel}: every unit has what it should have, no card is needed",
    "job.stage": "stage {stage} of {of}  {types}  (volume label {label})",
    "job.file": "  {path}  version {version} for {models}, {size}",
    "job.card": "  needs a card of {size} or more; {length} are written",
    "job.write": "  cardprep write {job} {stage} CARD --number N",
    "words.unknown": "unknown",
    "words.unchanged": "as it is",
    "words.one-card": "one card",
    "words.cards": "{count} cards",
    # cautions
    "caution.calling": "A radio that is being updated cannot call for help: have another means of calling ready.",
    "caution.moored": "Moored, not under way; supply on charge or shore power; never cut power to a slow step.",
    "caution.maker": "The maker's own instruction, local rules and licensed practice come before this tool.",
    # write
    "write.announced": "job {job}, stage {stage} of {of}: {label} onto card {number} ({target})",
    "write.digest": "  will be sha256 {sha256}",
    "write.range": "  over the first {length} bytes",
    "write.ask": "Write {target}? What is on it will be gone.",
    "write.writing": "writing",
    "write.reading": "reading back",
    "write.digesting": "digesting the shelf's files",
    "write.checkpoint": "log {short}  (for the label)",
    "write.prove": "anyone can check it: head -c {length} {target} | sha256sum",
    # check
    "check.card": "{target}",
    "check.volume": "{file_system}, label {label}, serial {serial}",
    "check.stage-named": "held against job {job}, stage {stage} of {of}",
    "check.stage-found": "its serial number says job {job}, stage {stage} of {of}; held against that",
    "check.no-stage": "not known as a card of this bench; held against the manifest alone",
    "check.files": "{count} looked at",
    "check.finding": "{severity}  {seen}",
    "check.why": "why: {why}",
    "check.remedy": "do:  {remedy}",
    "words.none": "none",
    "words.one-file": "one file",
    "words.files": "{count} files",
    "check.more": "and {count} more of this kind; --json lists them all",
    "check.reading": "reading the card",
    # log and trace
    "log.line": "{sequence}  {time}  {kind}  {about}",
    "log.good": "the log is whole: {size} records, {checkpoints} signed checkpoints",
    "log.root": "  root {root}",
    "log.unsealed": "  {count} records are newer than the last checkpoint",
    "log.sealed": "log signed at {size} records: {short}",
    "trace.card": "a card with volume serial {value}",
    "trace.number": "card {value}",
    "trace.job": "job {value}",
    "trace.other": "{field} {value}",
    "trace.unchanged": "it is byte for byte as it left the bench",
    "trace.changed": "it is no longer as it left the bench; check it to see how",
    "trace.vessel": "job {job}: {vessel}, display {display}",
}
