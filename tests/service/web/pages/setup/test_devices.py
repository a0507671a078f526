from contextlib import closing

from joulebook.storage.database import transaction
from joulebook.storage.series import SeriesRegister
from joulebook.web.words.device_rows import told_devices
from tests.helpers.pages import Studio, outline, words_of

_PAGE = "/sites/studio/setup/devices"


def test_it_says_of_each_device_what_is_heard_and_used(heard: Studio) -> None:
    words = words_of(heard.client.get(_PAGE).text)
    assert "2 devices have been heard of." in words
    # The helper: each hour from 3 March 2026, 12:00 on, the last one an hour ago.
    assert "Battery battery First heard 3 March 2026 12:00 WET" in words
    assert "Last heard 4 March 2026 11:00 WET, 1 h 0 min ago" in words
    assert "Used power [W], charge_energy [Wh], soc [ratio]" in words


def test_what_is_not_understood_is_kept_and_named(heard: Studio) -> None:
    words = words_of(heard.client.get(_PAGE).text)
    assert (
        "Not used heat [°C], door [yes or no], state [words]: kept and exported;"
        " no number rests on them"
    ) in words
    assert "Nothing is computed from a device of this kind." in words


def test_a_device_that_never_sent_a_reading_is_known_by_name(empty: Studio) -> None:
    with closing(empty.database.connect()) as connection, transaction(connection):
        SeriesRegister().device_id(connection, empty.site.id, "grid")
    words = words_of(empty.client.get(_PAGE).text)
    assert "Grid grid Heard never: it is known by name only" in words
    assert "1 device has been heard of." in words


def test_it_says_how_one_more_is_added_with_the_caution_before_it(empty: Studio) -> None:
    html = empty.client.get(_PAGE).text
    words = words_of(html)
    assert "No device has been heard of yet." in words
    assert words.index("hold energy that kills") < words.index("joulebook-bridge scan")
    assert "work for a qualified person, with the equipment off and locked out" in words
    assert "export JOULEBOOK_BRIDGE_SITE=studio" in words
    assert "JOULEBOOK_BRIDGE_SERVER=mqtt://127.0.0.1:1883" in words  # as the browser came here
    assert "/sites/studio/setup/tokens" in [each["href"] for each in outline(html).named("a")]


def test_a_viewer_is_told_who_makes_a_token(seen: Studio) -> None:
    html = seen.client.get(_PAGE).text
    assert "An owner makes it." in words_of(html)
    assert "/sites/studio/setup/tokens" not in html


def test_a_kind_of_device_is_known_or_not(heard: Studio) -> None:
    client = heard.client
    devices = told_devices(client.app.state.backing, heard.site)  # type: ignore[attr-defined]
    assert [(each.name, each.kind_known) for each in devices] == [
        ("battery", True),
        ("kiln", False),
    ]
