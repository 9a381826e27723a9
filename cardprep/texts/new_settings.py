"""The text of a shop's settings, with remarks for whoever opens the folder without cardprep.

``{name}``, ``{operator}`` and so on are TOML strings.
"""

from __future__ import annotations

NEW_SETTINGS = """\
# Settings of a shop folder of cardprep. What stands where:
#   manifest.toml      the shop's list of released images; write in it with any editor
#   manifest.toml.sig  its signature, checked by: ssh-keygen -Y verify
#   shelf              the released images, each under its own SHA-256
#   log.sqlite3        what was done; never to be edited
#   jobs               papers and evidence of each job
#   key, key.pub       the shop's key; keep a copy of it in another place

format = 1
name = {name}
bench = {bench}         # one letter; no two benches of a shop have the same
operator = {operator}
signing = {signing}      # "file": with the key in this folder; "agent": with ssh-agent
"""
