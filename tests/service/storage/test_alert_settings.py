from contextlib import closing
from pathlib import Path
from typing import Any

import pytest

from joulebook.errors import UsageError
from joulebook.storage.alert_settings import (
    MOST_CHANNELS,
    AlertSettings,
    RuleSetting,
    add_channel,
    alert_settings,
    channels_of,
    remove_channel,
    set_alert_settings,
    set_rules,
)
from joulebook.storage.alerts import close_episodes, episodes_of, open_episode
from joulebook.storage.connections import transaction
from tests.helpers.databases import NOON_MS, studio


@pytest.mark.parametrize(
    ("settings", "where"),
    [
        ({"quiet_from": 1440, "quiet_to": 0}, "quiet_from"),
        ({"quiet_from": 60, "quiet_to": None}, "quiet_to"),
        ({"letter_day": 7, "letter_hour": 8}, "letter_day"),
        ({"letter_day": 1, "letter_hour": 24}, "letter_hour"),
        ({"letter_day": 1}, "letter_hour"),
    ],
)
def test_times_that_are_none_are_refused(
    tmp_path: Path, settings: dict[str, Any], where: str
) -> None:
    database, site = studio(tmp_path)
    with closing(database.connect()) as connection:
        with pytest.raises(UsageError) as refused:
            set_alert_settings(connection, site, AlertSettings(**settings))
        assert refused.value.where == where
        assert alert_settings(connection, site.id) == AlertSettings()


@pytest.mark.parametrize(
    ("rule", "setting"),
    [("kiln", RuleSetting()), ("neutral", RuleSetting(opens_at=2.0))],
)
def test_rules_that_cannot_be_set_so_are_refused(
    tmp_path: Path, rule: str, setting: RuleSetting
) -> None:
    database, site = studio(tmp_path)
    with closing(database.connect()) as connection, pytest.raises(UsageError):
        set_rules(connection, site, {rule: setting})


@pytest.mark.parametrize(("label", "url"), [("", "json://h"), ("a", " "), ("a\n", "json://h")])
def test_a_channel_needs_a_name_and_an_address(tmp_path: Path, label: str, url: str) -> None:
    database, site = studio(tmp_path)
    with closing(database.connect()) as connection, pytest.raises(UsageError):
        add_channel(connection, site, label=label, url=url, made_ms=NOON_MS)


def test_there_are_only_so_many_channels_and_one_that_is_not_there_cannot_go(
    tmp_path: Path,
) -> None:
    database, site = studio(tmp_path)
    with closing(database.connect()) as connection:
        for number in range(MOST_CHANNELS):
            add_channel(connection, site, label=f"c{number}", url="json://h", made_ms=NOON_MS)
        with pytest.raises(UsageError, match="many channels"):
            add_channel(connection, site, label="more", url="json://h", made_ms=NOON_MS)
        gone = remove_channel(connection, site, 3, now_ms=NOON_MS)
        assert gone.label == "c2"
        assert len(channels_of(connection, site.id)) == MOST_CHANNELS - 1
        with pytest.raises(UsageError, match="no channel 3"):
            remove_channel(connection, site, 3, now_ms=NOON_MS)


def test_episodes_since_an_instant_are_those_that_opened_or_closed_then(tmp_path: Path) -> None:
    database, site = studio(tmp_path)
    with closing(database.connect()) as connection:
        for at_ms, rule in ((10, "gap"), (20, "disk"), (30, "lugs")):
            with transaction(connection):
                open_episode(connection, site.id, rule, "", at_ms=at_ms, value=1.0, sentence="so")
        with transaction(connection):
            [closed] = close_episodes(connection, site.id, "gap", "", at_ms=25)
            assert close_episodes(connection, site.id, "gap", "", at_ms=26) == []
        assert closed.rule == "gap"
        since = episodes_of(connection, site.id, since_ms=25)
        assert [each.rule for each in since] == ["lugs", "gap"]
        assert [each.rule for each in episodes_of(connection, site.id, only_open=True)] == [
            *("lugs", "disk"),
        ]
