import json
from pathlib import Path

import pytest

from joulebook.ingest.mapping.filters import levels_taken

VECTORS = json.loads((Path(__file__).parents[3] / "data" / "wire_vectors.json").read_text())


# MQTT 3.1.1 §4.7.1 to §4.7.3 (CV-44).
@pytest.mark.parametrize(("topic_filter", "topic", "taken"), VECTORS["mqtt_topic_match"])
def test_filters_take_topics_as_in_the_standard(topic_filter: str, topic: str, taken: bool) -> None:
    assert (levels_taken(topic_filter, topic) is not None) is taken


def test_what_each_plus_stands_for_is_told() -> None:
    assert levels_taken("kiln/+/meter/+/#", "kiln/2/meter/l1/now/watts") == ["2", "l1"]
    assert levels_taken("kiln/2", "kiln/2") == []
