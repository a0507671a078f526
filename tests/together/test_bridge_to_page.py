"""From the registers of an invented plant to the page that a person looks at."""

import re
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import httpx2

from joulebook.storage.catalogue import add_site
from joulebook.storage.database import Database
from joulebook.storage.tokens import add_token
from tests.helpers.bridge_settings import bridge_environ
from tests.helpers.mqtt_inbox import WAIT_S, wait_until
from tests.helpers.service import clean_environment, running_service

#: The battery's power with its direction; on a sunny morning it is more than a kilowatt.
SHOWN = re.compile(r"\bk?W, (emptying|filling)\b")
BRIDGE = [sys.executable, "-m", "joulebook_bridge"]


@contextmanager
def studio(file: Path) -> Iterator[None]:
    """Serve the invented studio, and write the configuration that reads it."""
    process = subprocess.Popen(
        [*BRIDGE, "simulate", "--port=0", f"--write={file}"], stdout=subprocess.PIPE, text=True
    )
    assert process.stdout is not None
    while not process.stdout.readline().startswith("wrote"):
        assert process.poll() is None
    try:
        yield
    finally:
        process.terminate()
        process.communicate(timeout=WAIT_S)


def test_an_invented_plant_is_on_the_page(tmp_path: Path) -> None:
    (tmp_path / "data").mkdir()
    database = Database.open(tmp_path / "data")
    secret = add_token(database, add_site(database, "studio", "Europe/Lisbon"), "shed")
    database.close()
    file = tmp_path / "plant.toml"
    with running_service(tmp_path / "data") as service, studio(file):
        file.write_text(file.read_text().replace("[spool]\n", "[spool]\nclock_wait_s = 0\n"))
        environment = {
            **clean_environment(),
            **bridge_environ(service.mqtt_port, secret),
        }
        checked = subprocess.run(
            [*BRIDGE, "check", str(file)],
            env=environment,
            capture_output=True,
            text=True,
            check=False,
        )
        bridge = subprocess.Popen([*BRIDGE, "run", str(file)], env=environment)
        address = f"{service.pages}/sites/studio"
        try:
            # Inverter, battery with its direction, and the meter that has a map of its own.
            wait_until(lambda: bool(SHOWN.search(httpx2.get(address, timeout=WAIT_S).text)))
            wait_until(lambda: "Grid" in httpx2.get(address, timeout=WAIT_S).text)
        finally:
            bridge.terminate()
            bridge.wait(WAIT_S)
        metrics = httpx2.get(f"{service.pages}/metrics", timeout=WAIT_S).text
    assert checked.returncode == 0, checked.stdout
    assert "all links hold" in checked.stdout
    assert bridge.returncode == 0
    assert "joulebook_quarantined_total{" not in metrics  # a reason has a line once it came
