import re

import pytest

from joulebook.ingest.topics import Place, parse_topic


@pytest.mark.parametrize(
    ("topic", "site", "device"),
    [
        ("joulebook/v1/studio/battery", "studio", "battery"),
        ("joulebook/v1/old-barn-2/battery-2", "old-barn-2", "battery-2"),
        ("joulebook/v1/1/2", "1", "2"),
        (f"joulebook/v1/{'a' * 63}/pv", "a" * 63, "pv"),
    ],
)
def test_a_topic_names_a_site_and_a_device(topic: str, site: str, device: str) -> None:
    assert parse_topic(topic) == Place(site, device)


@pytest.mark.parametrize(
    ("topic", "said"),
    [
        ("", "expected joulebook/v1/SITE/DEVICE"),
        ("studio/battery", "expected joulebook/v1/SITE/DEVICE"),
        ("joulebook/v2/studio/battery", "expected joulebook/v1/SITE/DEVICE"),
        ("/joulebook/v1/studio/battery", "expected joulebook/v1/SITE/DEVICE"),
        ("joulebook/v1/studio", "has 1 parts"),
        ("joulebook/v1/studio/battery/", "has 3 parts"),
        ("joulebook/v1//battery", "'' cannot name a site"),
        ("joulebook/v1/studio/", "'' cannot name a device"),
        ("joulebook/v1/Studio/battery", "'Studio' cannot name a site"),
        ("joulebook/v1/-x/battery", "'-x' cannot name a site"),
        ("joulebook/v1/studio/bat.tery", "'bat.tery' cannot name a device"),
        ("joulebook/v1/studio/battery\n", "cannot name a device"),
        ("joulebook/v1/studio/bätter", "cannot name a device"),
        (f"joulebook/v1/{'a' * 64}/pv", "cannot name a site"),
    ],
)
def test_another_topic_is_refused_with_what_is_wrong(topic: str, said: str) -> None:
    with pytest.raises(ValueError, match=re.escape(said)):
        parse_topic(topic)
