from joulebook.storage.records import Site
from joulebook.web.words.sentences import lead_of_months
from tests.helpers.pages import Studio, words_of


def words(studio: Studio) -> str:
    return words_of(studio.client.get("/sites/studio/months").text)


def test_it_leads_with_the_last_full_month(studio: Studio) -> None:
    text = words(studio)
    # By hand: the six last days of February, of 28.
    assert "In February 2026 the panels made 216 kWh and the studio used 144 kWh" in text
    assert "Measured: 21 % of the time." in text


def test_each_month_has_its_energies_and_coverage(studio: Studio) -> None:
    text = words(studio)
    assert "Feb 2026 216 144 0 58 14 21 %" in text
    assert "Mar 2026" in text
    assert "so far" in text


def test_what_the_battery_gave_back_has_its_interval_or_reason(studio: Studio) -> None:
    text = words(studio)
    assert "Battery gave back" in text
    assert "passed on: not given, since" in text


def test_it_says_how_its_numbers_come_about(studio: Studio) -> None:
    text = words(studio)
    assert "What the inverter took for itself" in text
    assert "sum-1" in text
    assert "round-trip-1" in text
    assert "half of the loss comes on the way in, half on the way out" in text


def test_an_empty_site_says_what_to_do_next(empty: Studio) -> None:
    text = words(empty)
    assert "No day has been summed up yet." in text
    assert "joulebook import FILE --site studio" in text


def test_a_first_month_is_so_far(studio: Studio) -> None:
    site = Site(id=1, name="studio", timezone="Europe/Lisbon")
    assert lead_of_months(site, []) == ["No day has been summed up yet."]
    assert studio.site.name == site.name
