"""Another bridge's messages by a mapping file, through a real broker and through our own door."""

import re
from pathlib import Path

import httpx2
import pytest
from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion

from joulebook.storage.catalogue import add_site
from joulebook.storage.database import Database
from joulebook.storage.tokens import add_token
from tests.helpers.mqtt_broker import running_mosquitto
from tests.helpers.mqtt_inbox import WAIT_S, wait_until
from tests.helpers.service import running_service

PAGE = (Path(__file__).parents[2] / "docs" / "mapping.md").read_text(encoding="utf-8")


@pytest.fixture
def secret(tmp_path: Path) -> str:
    """Make a data directory with the page's two files; return a token of its site."""
    database = Database.open(tmp_path)
    made = add_token(database, add_site(database, "studio", "Europe/Lisbon"), "clamp")
    database.close()
    (tmp_path / "mappings").mkdir()
    rules = re.findall(r"```toml\n(.*?)```", PAGE, flags=re.DOTALL)
    for name, text in zip(("kiln", "clamp"), rules, strict=True):
        (tmp_path / "mappings" / f"{name}.toml").write_text(text, encoding="utf-8")
    return made


def newest(pages: str) -> dict[str, float]:
    devices = httpx2.get(f"{pages}/api/v1/sites/studio/latest", timeout=WAIT_S).json()["devices"]
    return {
        f"{device['device']}/{reading['quantity']}": reading["value"]
        for device in devices
        for reading in device["readings"]
    }


@pytest.mark.outside
def test_a_broker_brings_what_the_mappings_name(tmp_path: Path, secret: str) -> None:
    assert secret
    with running_mosquitto(tmp_path) as broker:
        url = f"mqtt://127.0.0.1:{broker.port}"
        (tmp_path / "joulebook.toml").write_text(f'broker = "{url}"\n')
        with running_service(tmp_path) as service:
            wait_until(
                lambda: httpx2.get(f"{service.pages}/readyz", timeout=WAIT_S).status_code == 200
            )
            broker.publish(
                "studio/kiln/3/state", [b'{"at": "2026-07-14T09:30:00Z", "lines": [{"w": 1201}]}']
            )
            broker.publish("clamp/amps", [b"-18.5"])
            wait_until(lambda: "battery/current" in newest(service.pages))
            assert newest(service.pages) == {"battery/current": 18.5, "load-3/power_l1": 120.1}


def test_our_own_door_takes_them_too(tmp_path: Path, secret: str) -> None:
    with running_service(tmp_path) as service:
        client = Client(CallbackAPIVersion.VERSION2, client_id="clamp")
        client.username_pw_set("clamp", secret)
        client.connect("127.0.0.1", service.mqtt_port)
        client.loop_start()
        client.publish("clamp/amps", b"7.25", qos=1).wait_for_publish(WAIT_S)
        client.disconnect()
        client.loop_stop()
        # Acknowledged is on disk.
        assert newest(service.pages) == {"battery/current": -7.25}
