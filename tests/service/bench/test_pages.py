"""What is timed, and that a refused page is never taken for a fast one."""

import http.server
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest

from joulebook.bench.pages import Asker, measured_pages
from joulebook.bench.questions import WrongAnswerError
from joulebook.bench.serving import Served, served_pages
from tests.helpers.pages import measured_studio


@pytest.fixture(scope="module")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    data_dir = tmp_path_factory.mktemp("timed")
    measured_studio(data_dir).database.close()
    with served_pages(data_dir) as found:
        assert found is not None
        yield found


def test_every_page_of_the_navigation_and_every_figure_is_timed(served: Served) -> None:
    visited: list[int] = []
    times = measured_pages(served, "studio", requests=2, progress=visited.append)
    paths = {each.path.partition("?")[0] for each in times}
    for page in ("", "/months", "/checks", "/carry", "/efficiency", "/wear", "/warranty", "/money"):
        assert f"/sites/studio{page}" in paths
    assert any(each.path.startswith("/sites/studio/days/") for each in times)  # today's own address
    assert "/sites/studio/figures/week" in paths
    assert visited == list(range(1, len(times) + 1))
    for each in times:
        assert each.is_figure == ("/figures/" in each.path)
        assert 0 < each.p50_ms <= each.p95_ms
        assert each.first_ms > 0
        assert each.processor_ms > 0
        assert each.sent_bytes > 100


def test_pages_travel_compressed(served: Served) -> None:
    asker = Asker(served)
    packed, plain = (asker.ask("/sites/studio", packed=each) for each in (True, False))
    asker.close()
    assert packed.sent_bytes < plain.sent_bytes / 3
    assert b"<html" in plain.body


def test_a_page_that_is_refused_has_no_time(served: Served) -> None:
    asker = Asker(served)
    with pytest.raises(WrongAnswerError, match="/sites/nowhere was answered with 404"):
        asker.ask("/sites/nowhere")
    asker.close()


def test_pages_elsewhere_are_not_visited() -> None:
    asked: list[str] = []

    class Site(http.server.BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            asked.append(self.path)
            body = (
                b'<a href="/about">x</a><a href="/sites/a/days#top">x</a><a href="/sites/ab">x</a>'
                b'<a>x</a><a href="/sites/a/nights.csv">x</a>'
                b'<div data-figure="/sites/a/figures/b?week=1"></div>'
            )
            self.send_response(200)
            self.send_header("Content-Length", str(len(body)))
            self.end_headers()
            self.wfile.write(body)

        def log_message(self, *_: object) -> None:
            """Stay silent."""

    server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), Site)
    threading.Thread(target=server.serve_forever).start()
    served = Served(f"http://127.0.0.1:{server.server_port}", threading.get_native_id())
    times = measured_pages(served, "a", requests=1, progress=lambda _: None)
    server.shutdown()
    server.server_close()
    assert [each.path for each in times] == [
        "/sites/a",
        "/sites/a/figures/b?week=1&scheme=light&width=390",
        "/sites/a/nights.csv",
    ]
    assert set(asked) == {each.path for each in times}


def test_a_service_that_does_not_start(tmp_path: Path) -> None:
    with served_pages(tmp_path, command=("-c", "print('no')")) as served:
        assert served is None
