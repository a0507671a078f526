from pathlib import Path

from tests.helpers.carried_sites import HOUR_MS, carried_site, end_ms
from tests.helpers.pages import Studio, client_of, words_of


def words(data_dir: Path, *missing: str, later_ms: int = 0, inverter_w: float | None = None) -> str:
    database, _ = carried_site(data_dir, *missing, inverter_w=inverter_w)
    answer = client_of(database, now_ms=end_ms() + later_ms).get("/sites/studio/carry")
    assert answer.status_code == 200
    return words_of(answer.text).replace("\N{WORD JOINER}", "")


def test_the_answer_comes_first_and_then_its_parts(tmp_path: Path) -> None:
    text = words(tmp_path, inverter_w=6500.0)
    # By hand: 0.6 of 10,240 Wh at 400 W / 0.90.
    assert "At the load of now, 400 W, the battery lasts 13.8 hours" in text
    assert "The battery holds as rated, not measured 10.2 kWh" in text
    assert "Left, by its own claim no evidence 7.2 kWh" in text
    assert "up to 10 June 2026 00:00 UTC" in text
    assert "The reserve that you set in your equipment is not known here" in text
    assert "What the battery holds was not measured: as rated" in text
    assert "Not of now" not in text


def test_starts_with_their_limits(tmp_path: Path) -> None:
    text = words(tmp_path, inverter_w=6500.0)
    assert "The largest start from 1 June 2026 to 10 June 2026 was 1500 W" in text
    assert "1500 W, seen 9 times" in text
    assert "Rating leaves 4600 W at most" in text
    assert "Leaves on L1 1550 W at most" in text
    assert "as you entered it: 6500 W. Each leg is taken to have half of it." in text
    assert "What this cannot see: read every 60 s: a motor's first instants" in text


def test_the_largest_start_is_drawn(tmp_path: Path) -> None:
    database, _ = carried_site(tmp_path)
    client = client_of(database, now_ms=end_ms())
    drawn = client.get("/sites/studio/figures/start").json()
    load, l1, _, volts = drawn["data"]
    at = load["x"].index(0.0)
    # The kettle is on in three readings; the battery gives way by 0.6 V meanwhile.
    assert load["y"][at : at + 5] == [400, 1900, 1900, 1900, 400]
    assert l1["y"][at : at + 5] == [200, 1700, 1700, 1700, 200]
    assert volts["y"][at : at + 5] == [52.8, 52.2, 52.2, 52.2, 52.8]
    assert load["x"][0] == -10.0
    assert "/sites/studio/figures/start" in client.get("/sites/studio/carry").text


def test_without_a_start_there_is_nothing_to_draw(tmp_path: Path) -> None:
    database, _ = carried_site(tmp_path, "load", "battery.voltage")
    client = client_of(database, now_ms=end_ms())
    answer = client.get("/sites/studio/figures/start")
    assert (answer.status_code, answer.json()["title"]) == (404, "Not yet")
    assert "/sites/studio/figures/start" not in client.get("/sites/studio/carry").text


def test_outages_are_a_table(tmp_path: Path) -> None:
    text = words(tmp_path)
    assert "6 Jun 2026, 20:00 1 h 0 min (59 min to 1 h 1 min) the house went on" in text
    assert "Told by grid: voltage_l1 and voltage_l2 below half" in text
    assert "joulebook site set studio --inverter-w" in text


def test_an_answer_of_yesterday_says_so(tmp_path: Path) -> None:
    assert "Not of now: nothing was read since." in words(tmp_path, later_ms=20 * HOUR_MS)


def test_what_is_missing_is_said(tmp_path: Path) -> None:
    text = words(tmp_path, "load", "grid")
    assert "How long the battery lasts cannot be told: no meter reads the load." in text
    assert "The largest starts cannot be told: no meter reads the load." in text
    assert "Outages cannot be told: the site measures neither the grid's voltage" in text


def test_no_outage_is_told_with_how_much_was_measured(short: Studio, studio: Studio) -> None:
    for each in (short, studio):
        answer = each.client.get("/sites/studio/carry")
        assert answer.status_code == 200
        assert "Outages" in words_of(answer.text)


def test_a_site_without_readings_says_what_to_do(empty: Studio) -> None:
    assert "waits for its first reading" in words_of(empty.client.get("/sites/studio/carry").text)
