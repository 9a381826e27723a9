"""The text with which a shop's manifest begins: remarks for whoever writes in it by hand.

``{shop}`` is the shop's name as a TOML string. What stands behind a ``#`` is
never read; each example is a table that would be read if its ``#`` were gone.
"""

from __future__ import annotations

NEW_MANIFEST = """\
# The list of released images and of facts about displays and models.
# Write in it with any editor and keep your own remarks behind a #.
# It counts only when it is signed: cardprep names every mistake by its line.

format = 1
serial = 1
shop = {shop}

# An image type besides bootloader, application, configuration and chart data:
#
# [[image_type]]
# word = "voice prompts"
# code = "VOIC"

# How a model of display reads cards; lines that do not matter may be left out:
#
# [[display]]
# model = "OV-D9"
# file_systems = ["fat32"]      # fat16, fat32, exfat; the preferred one first
# partition_table = "mbr"       # or "none"
# volume_size = "4 GB"
# largest_card = "32 GB"
# types_per_card = 1
# folder = "UPDATE"             # where images must stand; left out: at the top
# announces = ["application"]   # what it announces by itself
# writes = ["D9.LOG"]           # files that it writes on cards itself
# ticks = false                 # whether it ticks the units to be updated by itself
# told_to_read = "Setup, Cards, Read the card"   # for what it does not announce
# shows_done = "Update complete"
# shows_failed = "Update failed"

# A model of unit. The kinds are radio, handset, display, instrument, autopilot, other:
#
# [[model]]
# name = "OV-V40"
# kind = "radio"
# role = "fixed VHF radio"
# types = ["bootloader", "application"]
# companion = {{ model = "OV-H4", presence = "optional" }}   # or "always"
# versions = {{ application = ["4.17", "4.20", "4.30"] }}    # only if not plain numbers
# read_at = {{ bootloader = "first screen after power-on" }}
# seen_off = "display dark and the lamp of the power key out"
# seen_in_mode = "UPDATE stands on the screen"
# note_before = ["MMSI", "region"]
# read_back_after = ["MMSI", "region"]
# entered_once = ["MMSI"]

# An image is best added by taking the file in, which computes its digests:
#
# [[image]]
# file = "OVV40_APP_430.bin"
# models = ["OV-V40"]
# type = "application"
# version = "4.30"
# released = 2026-05-12
# size = 2097152
# sha256 = "64 digits"
# xxh3_128 = "32 digits"
# chunks = "16 digits for each 64 KiB"
# container = "opaque"
# needs = [{{ type = "bootloader", at_least = "3.10" }}]
# from_versions = ["4.17", "4.20"]
# from_empty = true             # false: not where nothing is, as after an interrupted step
# carries = [{{ model = "OV-H4", version = "2.41", mode = "programming mode" }}]
# runs_with = ["2.30"]          # handset versions with which it runs besides those that it carries
# # erases = ["configuration"] where it empties more than leaves says
# leaves = "running"            # or "waiting for application", "switched off"
# minutes = [3, 8]
# known_by = {{ how = "own download", address = "https://...", on = 2026-05-12 }}
# # how else: "maker's checksum" with address; "support ticket" with ticket; "handed over" with by, on
# list_checked = 2026-09-01
# withdrawn = "why"

# What a file that is no image of these is supposed to be, by your own rules. All that a rule
# names must fit; it proves nothing, and the file stays one that somebody has to look at:
#
# [[supposed]]
# type = "application"
# models = ["OV-V40"]
# names = ["OVV40_*.s37"]               # one of these names; * and ? are wild
# addresses = ["08010000-080FFFFF"]     # all data of an Intel HEX or S-record file in one of these
# begins = ["5330"]                     # one of these first bytes, in hex
"""
