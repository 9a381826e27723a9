"""Tell what sort of station a maritime mobile service identity (MMSI) belongs to.

An MMSI is nine digits and a string: leading zeros are data, and there is no
check digit. Its form tells the sort of station, and three of its digits the
country or area whose administration gave it (MID, maritime identification
digits). Countries come and go, so a number that is on no list here is only
mentioned.

Source: Recommendation ITU-R M.585, Assignment and use of identities in the
maritime mobile service, Annexes 1 and 2; the forms are taken from public texts
that cite it section by section. The numbers of countries are those of the ITU's
Table of Maritime Identification Digits as two open-source decoders agree on
them (290 entries, read in November 2026).
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from enum import StrEnum


class Station(StrEnum):
    """The sorts of station that a form stands for; slugs of the catalogue's words."""

    SHIP = "station.ship"
    GROUP = "station.group"
    COAST = "station.coast"
    ALL_COAST = "station.all-coast"
    AIRCRAFT = "station.aircraft"
    AID = "station.aid"
    TENDER = "station.tender"
    HANDHELD = "station.handheld"
    SART = "station.sart"
    MAN_OVERBOARD = "station.man-overboard"
    EPIRB = "station.epirb"
    AUTONOMOUS = "station.autonomous"


# A vessel that is visited is called by one of these; the others are no vessels.
OF_VESSELS = frozenset((Station.SHIP, Station.TENDER))

_LOWEST, _HIGHEST = 201, 775
_FORMS: tuple[tuple[Station, re.Pattern[str]], ...] = tuple(
    (station, re.compile(form, re.ASCII))
    for station, form in (
        (Station.ALL_COAST, "009990000"),
        (Station.COAST, r"00(\d{3})\d{4}"),
        (Station.GROUP, r"0(\d{3})\d{5}"),
        (Station.AIRCRAFT, r"111(\d{3})\d{3}"),
        (Station.AID, r"99(\d{3})\d{4}"),
        (Station.TENDER, r"98(\d{3})\d{4}"),
        (Station.SART, r"970\d{6}"),
        (Station.MAN_OVERBOARD, r"972\d{6}"),
        (Station.EPIRB, r"974\d{6}"),
        (Station.AUTONOMOUS, r"979\d{6}"),
        (Station.HANDHELD, r"8(\d{3})\d{5}"),
        (Station.SHIP, r"([2-7]\d{2})\d{6}"),
    )
)
# First and last of each run of numbers that were given out.
_GIVEN = (
    "201-216 218-220 224-259 261-279 301 303-312 314 316 319 321 323 325 327 329-332 334 336 "
    "338-339 341 343 345 347-348 350-359 361-362 364 366-379 401 403 405 408 410 412-414 416-417 "
    "419 422-423 425 428 431-432 434 436-438 440-441 443 445 447 450-451 453 455 457 459 461 463 "
    "466 468 470-473 475 477-478 501 503 506 508 510-512 514-516 518 520 523 525 529 531 533 536 "
    "538 540 542 544 546 548 553 555 557 559 561 563-567 570 572 574 576-578 601 603 605 607-613 "
    "615-622 624-627 629-637 642 644-645 647 649-650 654-657 659-672 674-679 701 710 720 725 730 "
    "735 740 745 750 755 760 765 770 775"
)


@dataclass(frozen=True, slots=True)
class Identity:
    """What the form of an MMSI tells.

    station  the sort of station
    country  its three digits (MID), or None for forms that have none
    """

    station: Station
    country: str | None

    @property
    def country_known(self) -> bool:
        """Whether the country's digits are on the list, or there are none to look for."""
        return self.country is None or int(self.country) in countries()


def identity_of(mmsi: str) -> Identity | None:
    """Return what an MMSI tells, or None if it has no form that the recommendation describes."""
    for station, form in _FORMS:
        match = form.fullmatch(mmsi)
        if match is None:
            continue
        country = match[1] if form.groups else None
        if country is None or _LOWEST <= int(country) <= _HIGHEST:
            return Identity(station, country)
    return None


def countries() -> frozenset[int]:
    """Return the numbers of countries and areas that were given out."""
    found: set[int] = set()
    for run in _GIVEN.split():
        first, _, last = run.partition("-")
        found.update(range(int(first), int(last or first) + 1))
    return frozenset(found)
