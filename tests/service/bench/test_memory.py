from pathlib import Path

import pytest

from joulebook.bench.memory import peak_mb
from joulebook.cli import main

#: A service that answers 404 to everything, on a free port.
NOT_FOUND = """
import http.server
server = http.server.HTTPServer(("127.0.0.1", 0), http.server.BaseHTTPRequestHandler)
http.server.BaseHTTPRequestHandler.log_message = lambda *_: None
http.server.BaseHTTPRequestHandler.do_GET = lambda self: self.send_error(404)
print(f"pages:   http://127.0.0.1:{server.server_port}", flush=True)
server.serve_forever()
"""


@pytest.fixture
def house(tmp_path: Path) -> Path:
    facts = ["site", "add", "bench", "--timezone", "UTC", "--data", str(tmp_path / "house")]
    assert main(facts) == 0
    return tmp_path / "house"


def test_a_service_takes_some_memory(house: Path) -> None:
    peak = peak_mb(house, ["/sites/bench", "/healthz"])
    assert isinstance(peak, float)
    assert 40 < peak < 400


def test_a_page_that_is_refused_is_the_reason(tmp_path: Path) -> None:
    reason = peak_mb(tmp_path, ["/nowhere"], command=("-c", NOT_FOUND))
    assert reason == "/nowhere was answered with 404"


def test_a_service_that_does_not_start_is_the_reason(tmp_path: Path) -> None:
    assert peak_mb(tmp_path, [], command=("-c", "print('no')")) == "the service did not start"


def test_a_service_that_is_gone_is_the_reason(tmp_path: Path) -> None:
    gone = "print('pages:   http://127.0.0.1:9')"  # discard, RFC 863: nobody listens
    reason = peak_mb(tmp_path, ["/"], command=("-c", gone))
    assert str(reason).startswith("the service or its memory could not be read: ")
