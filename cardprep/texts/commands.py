"""The catalogue, part four: help for commands and their options."""

from __future__ import annotations

from collections.abc import Mapping

PROGRAM = (
    "Prepare and verify the memory cards that carry software updates to marine electronics. "
    "A CARD is a card's image file, a device, or a mounted folder."
)

# The commands of the first word, in the order in which an evening goes.
COMMANDS: Mapping[str, str] = {
    "shop": "Make the shop folder, or accept its key.",
    "intake": "Take a maker's file onto the shelf and into the manifest.",
    "manifest": "Check or sign the manifest.",
    "job": "Open a job, plan it, show it.",
    "write": "Write a stage onto a card, read it back and log it.",
    "check": "Check a card; nothing is written on it.",
    "log": "Show the shop log, verify it, sign its head.",
    "trace": "Say which job a card, a file or a digest went into.",
}

HELP: Mapping[str, str] = {
    "shop new": "Make a shop folder with a key, an empty signed manifest and a log.",
    "shop accept": "Accept the key of a shop folder that this user has not seen, after comparing its fingerprint.",
    "manifest check": "Read the manifest and name every mistake by its line.",
    "manifest sign": "Sign the manifest with the next serial number.",
    "job open": "Open a job: a vessel, its display, its units, what they have and what they are to have.",
    "job plan": "Plan the stages of a job, bootloader before the application that needs it.",
    "job show": "Show a job and its newest plan.",
    "log show": "Show the newest records.",
    "log verify": "Verify every record, the tree over them and every signed checkpoint.",
    "log sign": "Sign the log's head as it is now.",
    "shop": "The shop folder. Default: the user's data folder, or CARDPREP_SHOP.",
    "json": "Print one JSON object instead of lines.",
    "version": "Print the version and leave.",
    "name": "Name of the shop, as on its papers.",
    "bench": "One capital letter; every job of this bench begins with it.",
    "operator": "Who works here, as on the papers.",
    "agent": "Fingerprint of an Ed25519 key that ssh-agent holds; without it a new key is kept in the folder.",
    "fingerprint": "The fingerprint, as it stands on a sheet of this shop.",
    "file": "The maker's file.",
    "type": "Image type: bootloader, application, configuration, chart data, or one of the shop's own.",
    "model": "Model that the file is for; give it again for further models.",
    "version-of": "Version, as the maker writes it.",
    "released": "Date of the release: YYYY-MM-DD, or YYYY-MM-DDTHH:MM:SSZ.",
    "known-by": "How the file is known: makers-checksum, own-download, support-ticket, handed-over.",
    "source": "The address, the ticket, or who handed it over.",
    "on": "The day of the download, ticket or handing over: YYYY-MM-DD.",
    "needs": "What the unit must have before: 'bootloader 3.10'. May be given again.",
    "from": "A version that it may start from; none given, any. May be given again.",
    "leaves": "State after loading: running, 'waiting for application', 'switched off'.",
    "minutes": "How long a step takes: 'LOW-HIGH' in minutes.",
    "sha256": "The sha256 that the maker published.",
    "as-name": "Name on the card, if the file here has another one.",
    "carries": "Code for a companion inside: 'OV-H4 application 2.41 MODE-WORDS'. May be given again.",
    "list-checked": "When the maker's list was last looked at: YYYY-MM-DD.",
    "vessel": "Name of the vessel.",
    "mmsi": "Nine digits.",
    "display": "Model of the display that reads the cards.",
    "display-software": "Software version of the display.",
    "unit": "A unit: 'model=OV-V40; role=main radio; serial=0012; has application=4.17; wants application=4.30'. May be given again.",
    "job-file": "A TOML file with [vessel], [display] and [[unit]] instead of the options.",
    "job": "Job, such as B238.",
    "stage": "Stage of the job, from 1.",
    "card": "The card: image file or device.",
    "check-card": "The card: image file, device or mounted folder.",
    "number": "Number marked on the card.",
    "loop": "The CARD is a loop device, named on purpose.",
    "yes": "Do not ask before writing.",
    "check-job": "Hold the card against this job's stage.",
    "check-stage": "The stage, with --job.",
    "to": "Write the signed checkpoint into this folder too, for whoever checks it.",
    "most": "How many records.",
    "what": "A card, a card's number, a job, a file name, a digest, a serial number or a vessel.",
}
