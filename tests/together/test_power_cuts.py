"""``kill -9`` of the service while a bridge publishes: nothing lost, nothing doubled.

The promise is the project's own ("acknowledged means on disk", docs/wire-format.md); the witness is
paho-mqtt, which sends again what was not acknowledged, as MQTT 3.1.1 §4.4 asks of a client.
"""

import random
from pathlib import Path

from joulebook.core.spans import Span
from joulebook.storage.catalogue import add_site
from joulebook.storage.database import Database
from joulebook.storage.reading import read_device
from joulebook.storage.tokens import add_token
from tests.helpers.numbered_publisher import START_MS, NumberedPublisher
from tests.helpers.service import serve, unused_port

#: `python -m tests.faults` kills a hundred times, each part in the middle of its work.
ROUNDS = 6


def test_power_cuts_lose_and_double_nothing(tmp_path: Path) -> None:
    database = Database.open(tmp_path)
    site = add_site(database, "studio", "Europe/Lisbon")
    secret = add_token(database, site, "shed")
    port = unused_port()
    publisher = NumberedPublisher(port, secret)
    chance = random.Random(20)
    try:
        for _ in range(ROUNDS):
            service = serve(tmp_path, mqtt_port=port, measured=False)
            publisher.publish(500)
            # The cut comes somewhere among the acknowledgements of this round.
            publisher.wait_for_more(chance.randrange(1, 450))
            service.kill()
        service = serve(tmp_path, mqtt_port=port)
        publisher.wait_for_all()
        assert service.end() == 0
    finally:
        publisher.stop()
    connection = database.connect()
    span = Span(START_MS, START_MS + publisher.published * 1000)
    stored = read_device(connection, site.id, "battery", span)
    connection.close()
    database.close()
    assert publisher.published == ROUNDS * 500
    assert stored.values["power"].tolist() == [float(n) for n in range(publisher.published)]
