from joulebook.web.health import Health
from tests.helpers.pages import Studio, client_of


def test_alive_is_alive_whatever_else_is(empty: Studio) -> None:
    client = client_of(empty.database, health=lambda: Health(ready=False))
    assert client.get("/healthz").json() == {"status": "alive"}


def test_ready_or_why_not(empty: Studio) -> None:
    assert empty.client.get("/readyz").json() == {"ready": True, "problems": []}
    away = Health(ready=False, problems=("the disk is full",))
    answer = client_of(empty.database, health=lambda: away).get("/readyz")
    assert answer.status_code == 503
    assert answer.json() == {"ready": False, "problems": ["the disk is full"]}
    assert answer.headers["cache-control"] == "no-store"


def test_metrics_come_as_the_text_format(empty: Studio) -> None:
    answer = empty.client.get("/metrics")
    # Prometheus documentation, "Text-based format": the content type.
    assert answer.headers["content-type"] == "text/plain; version=0.0.4; charset=utf-8"
    assert 'joulebook_build_info{version="1.2.3"} 1' in answer.text
