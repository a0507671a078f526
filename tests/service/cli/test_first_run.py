"""The first run, as a person meets it."""

import re
from pathlib import Path

import httpx2
import pytest

from joulebook.cli import main
from joulebook.cli.service import Service
from joulebook.errors import UsageError
from joulebook.settings import Settings
from joulebook.storage.database import Database
from tests.helpers.mqtt_inbox import WAIT_S
from tests.helpers.service import running_service
from tests.helpers.visitors import PASSWORD, basic


def test_the_first_owner_comes_in_by_the_link_that_serve_prints(tmp_path: Path) -> None:
    data = ["--data", str(tmp_path)]
    assert main(["site", "add", "studio", "--timezone", "UTC", *data]) == 0
    with running_service(tmp_path) as service:
        assert service.process.stdout is not None
        line = service.process.stdout.readline()
        found = re.match(r"welcome: (http://127\.0\.0\.1:\d+)(/welcome/[\w-]{43})  \(", line)
        assert found is not None, line
        assert found[1] == service.pages
        api = f"{service.pages}/api/v1/sites/studio/days"
        assert httpx2.get(api, timeout=WAIT_S).status_code == 200
        passed_on = {"X-Forwarded-For": "127.0.0.1"}
        assert httpx2.get(api, headers=passed_on, timeout=WAIT_S).status_code == 401
        form = {"name": "Ada", "password": PASSWORD, "again": PASSWORD}
        origin = {"Origin": service.pages}
        with httpx2.Client(base_url=service.pages, headers=origin, timeout=WAIT_S) as browser:
            assert browser.post(found[2], data=form).headers["location"] == "/"
            assert browser.get("/people").status_code == 200
        assert httpx2.get(api, timeout=WAIT_S).status_code == 401
        assert httpx2.get(f"{service.pages}/healthz", timeout=WAIT_S).status_code == 200
        assert service.end() == 0


@pytest.mark.parametrize("host", ["0.0.0.0", "192.0.2.7", "::", "localhost.example.org"])
def test_the_demonstration_stays_on_this_machine(tmp_path: Path, host: str) -> None:
    database = Database.open(tmp_path)
    settings = Settings(host=host, port=0, mqtt_port=0)
    with pytest.raises(UsageError, match="stays on this machine"):
        Service(database, settings, clock_ms=lambda: 1, demonstration=True)
    database.close()


def test_only_a_proxy_that_is_named_is_believed(tmp_path: Path) -> None:
    (tmp_path / "joulebook.toml").write_text('trusted_proxies = "127.0.0.1"\n', encoding="utf-8")
    data = ["--data", str(tmp_path)]
    assert main(["site", "add", "studio", "--timezone", "UTC", *data]) == 0
    with running_service(tmp_path) as service:
        for number in range(8):
            # Each counts as an address of its own, so none of them waits.
            headers = {
                "Authorization": basic(f"guess-{number}", "wrong"),
                "X-Forwarded-For": f"192.0.2.{number}",
                "X-Forwarded-Proto": "https",
            }
            answer = httpx2.get(f"{service.pages}/api/v1/sites", headers=headers, timeout=WAIT_S)
            assert answer.status_code == 401
            assert answer.headers["strict-transport-security"]
        assert service.end() == 0
