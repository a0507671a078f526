"""Whatever a program sends within the OpenAPI document or against it, the answers are as it says.

schemathesis makes the requests and judges the answers by all of its checks: no mistake of ours,
no status, type or form of an answer that is not described, nothing taken that the document
forbids, nothing refused that it allows, no way around signing in, and 405 for what is no operation.
"""

import itertools
from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass
from datetime import UTC, date, datetime
from typing import Any

import pytest
import schemathesis
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from schemathesis import Case, Config, GenerationMode
from schemathesis.openapi import from_dict

from joulebook.ingest.inbox import Inbox
from joulebook.storage.people import add_person, set_password
from joulebook.storage.tokens import add_token
from tests.helpers.pages import NOW_MS, application, measured_studio
from tests.helpers.served import served
from tests.helpers.visitors import kept_password

#: An hour goes by with each look at the clock, so that no guess of a token has to wait.
HOUR_MS = 3_600_000
#: Whoever asks directly from this machine may see the metrics without a token.
FROM_AFAR = {"X-Forwarded-For": "192.0.2.7"}
# The years that the service takes at most at once, about 11, and that it knows, from 2000 on.
schemathesis.openapi.format("date", st.dates(date(2020, 1, 1), date(2029, 12, 31)).map(str))
schemathesis.openapi.format(
    "date-time",
    st.datetimes(datetime(2020, 1, 1), datetime(2029, 12, 31), timezones=st.just(UTC)).map(  # noqa: DTZ001
        lambda moment: moment.isoformat()
    ),
)


@dataclass(frozen=True)
class Api:
    url: str
    document: dict[str, Any]
    reader: str
    bridge: str
    watcher: str

    def tested(self, name: str, secret: str, *unusable: int) -> Any:
        """Return the document to be tested by a program with a token.

        Parameters
        ----------
        unusable : int
            What may be answered to content of the right form, of which nothing can be used: no
            schema can tell a pack or a table of readings from another one.
        """
        config = Config.from_dict(
            {
                "base-url": self.url,
                "auth": {"basic": {"username": name, "password": secret}},
                "checks": {
                    # 422: an end before the start is of the right form.
                    "positive_data_acceptance": {"expected-statuses": ["2xx", 404, 422, *unusable]},
                },
            }
        )
        return from_dict(self.document, config=config)


@pytest.fixture(scope="module")
def api(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Api]:
    studio = measured_studio(tmp_path_factory.mktemp("api"))
    database = studio.database
    with closing(database.connect()) as connection:
        person = add_person(connection, "Ada", now_ms=1, everywhere="owner")
        set_password(connection, person.id, kept_password())
    clock_ms = itertools.count(NOW_MS, HOUR_MS).__next__
    inbox = Inbox(database, clock_ms=lambda: NOW_MS)
    inbox.start()
    app = application(database, clock_ms=clock_ms, inbox=inbox)
    with served(app) as url:
        yield Api(
            url,
            app.openapi(),
            add_token(database, None, "reader", scope="read"),
            add_token(database, studio.site, "shed"),
            add_token(database, None, "watcher", scope="metrics"),
        )
    inbox.stop()


def hold(schema: Any, mode: GenerationMode, *, examples: int = 8) -> int:
    """Hold every operation of a document to it; return how many requests were judged."""
    judged = []

    for found in schema.get_all_operations():
        operation = found.ok()
        if (
            mode is GenerationMode.NEGATIVE
            and not operation.query
            and not operation.path_parameters
        ):
            continue  # there is nothing that could be wrong

        @given(operation.as_strategy(generation_mode=mode))
        @settings(
            derandomize=True,
            deadline=None,
            max_examples=examples,
            database=None,
            suppress_health_check=list(HealthCheck),
        )
        def holds(case: "Case[Any]") -> None:
            if mode is GenerationMode.POSITIVE and "site" in case.path_parameters:
                case.path_parameters["site"] = "studio"  # the others are not there
            case.call_and_validate(headers=FROM_AFAR)
            judged.append(case.operation.label)

        holds()
    return len(judged)


BOTH = pytest.mark.parametrize("mode", [GenerationMode.POSITIVE, GenerationMode.NEGATIVE])


@BOTH
def test_what_is_read(api: Api, mode: GenerationMode) -> None:
    schema = api.tested("reader", api.reader).include(method="GET").exclude(path="/metrics")
    assert hold(schema, mode) > 40


@BOTH
def test_what_is_written(api: Api, mode: GenerationMode) -> None:
    assert hold(api.tested("shed", api.bridge, 400).include(method="POST"), mode, examples=20) > 10


def test_what_is_watched(api: Api) -> None:
    schema = api.tested("watcher", api.watcher).include(path="/metrics")
    assert hold(schema, GenerationMode.POSITIVE, examples=3) > 0
