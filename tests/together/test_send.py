"""Bridge and service in one test: what the bridge sends by hand is what the pages then show."""

import subprocess
import sys
from pathlib import Path

import httpx2
import pytest

from joulebook.storage.catalogue import add_site
from joulebook.storage.database import Database
from joulebook.storage.tokens import add_token
from tests.helpers.bridge_settings import bridge_environ
from tests.helpers.mqtt_inbox import WAIT_S
from tests.helpers.service import clean_environment, running_service


def send(port: int, secret: str, *readings: str) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "joulebook_bridge", "send", "battery", *readings]
    environment = {
        **clean_environment(),
        **bridge_environ(port, secret),
    }
    return subprocess.run(command, env=environment, capture_output=True, text=True, check=False)


@pytest.fixture
def secret(tmp_path: Path) -> str:
    database = Database.open(tmp_path)
    made = add_token(database, add_site(database, "studio", "Europe/Lisbon"), "shed")
    database.close()
    return made


def test_a_reading_sent_by_hand_is_on_the_page(tmp_path: Path, secret: str) -> None:
    with running_service(tmp_path) as service:
        done = send(service.mqtt_port, secret, "voltage=53.1V", "soc=0.61")
        page = httpx2.get(f"{service.pages}/sites/studio", timeout=WAIT_S).text
        ready = httpx2.get(f"{service.pages}/readyz", timeout=WAIT_S)
    assert done.returncode == 0, done.stderr
    assert done.stdout.startswith("delivered 2 readings to studio/battery")
    assert "53.1" in page
    assert ready.status_code == 200


def test_a_wrong_token_is_refused_in_words(tmp_path: Path, secret: str) -> None:
    with running_service(tmp_path) as service:
        done = send(service.mqtt_port, secret[:-1], "voltage=53.1V")
    assert done.returncode == 2
    assert "token" in done.stderr
    assert secret[:-1] not in done.stderr
