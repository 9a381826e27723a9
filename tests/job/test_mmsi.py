"""What an MMSI tells of its station."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cardprep.job.mmsi import OF_VESSELS, Station, countries, identity_of


# Source: Recommendation ITU-R M.585, Annex 1 (sections 1 to 5) and Annex 2 (sections 1
# and 2), as cited section by section in public texts; the values themselves are examples.
@pytest.mark.parametrize(
    ("mmsi", "station", "country"),
    [
        pytest.param("211123456", Station.SHIP, "211", id="ship"),
        pytest.param("775123456", Station.SHIP, "775", id="last number of a country"),
        pytest.param("021112345", Station.GROUP, "211", id="group of ships"),
        pytest.param("002111234", Station.COAST, "211", id="coast station"),
        pytest.param("009990000", Station.ALL_COAST, None, id="all coast stations"),
        pytest.param("111211500", Station.AIRCRAFT, "211", id="aircraft"),
        pytest.param("992111234", Station.AID, "211", id="aid to navigation"),
        pytest.param("982111234", Station.TENDER, "211", id="craft of a parent ship"),
        pytest.param("821112345", Station.HANDHELD, "211", id="handheld"),
        pytest.param("970010001", Station.SART, None, id="rescue transmitter"),
        pytest.param("972010001", Station.MAN_OVERBOARD, None, id="man overboard"),
        pytest.param("974010001", Station.EPIRB, None, id="beacon"),
        pytest.param("979000001", Station.AUTONOMOUS, None, id="autonomous"),
    ],
)
def test_forms(mmsi: str, station: Station, country: str | None) -> None:
    found = identity_of(mmsi)
    assert found is not None
    assert (found.station, found.country) == (station, country)
    assert found.country_known
    assert (station in OF_VESSELS) is (station in (Station.SHIP, Station.TENDER))


@pytest.mark.parametrize(
    "mmsi",
    [
        pytest.param("21112345", id="eight digits"),
        pytest.param("2111234567", id="ten digits"),
        pytest.param("000000000", id="nothing but zeros"),
        pytest.param("123456789", id="as one types a number without thinking"),
        pytest.param("999999999", id="nothing but nines"),
        pytest.param("200123456", id="below the first country"),
        pytest.param("776123456", id="above the last country"),
        pytest.param("971000001", id="no such device"),
        pytest.param("21112345x", id="a letter"),
        pytest.param("٢١١١٢٣٤٥٦", id="digits of another script"),
        pytest.param("211123456\n", id="a line end"),
        pytest.param("", id="nothing"),
    ],
)
def test_no_mmsi(mmsi: str) -> None:
    assert identity_of(mmsi) is None


@pytest.mark.parametrize("country", [217, 221, 222, 223, 260, 280, 299])
def test_a_number_of_no_country_is_still_a_ship(country: int) -> None:
    """Numbers of the table that no administration has; they may be given out any day."""
    found = identity_of(f"{country}123456")
    assert found is not None
    assert found.station is Station.SHIP
    assert not found.country_known


def test_how_many_countries() -> None:
    """The count that two open-source decoders of AIS messages have in their tables."""
    assert len(countries()) == 290
    assert (min(countries()), max(countries())) == (201, 775)


@given(st.text(alphabet="0123456789", min_size=9, max_size=9))
def test_every_nine_digits_have_one_meaning_or_none(mmsi: str) -> None:
    found = identity_of(mmsi)
    assert found is None or (found.country is None) == (found.station in _WITHOUT_COUNTRY)


_WITHOUT_COUNTRY = {
    Station.ALL_COAST,
    Station.SART,
    Station.MAN_OVERBOARD,
    Station.EPIRB,
    Station.AUTONOMOUS,
}
