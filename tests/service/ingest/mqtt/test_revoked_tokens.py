"""A token that is revoked: whoever came in with it has to go, and nobody else."""

from collections.abc import Collection
from contextlib import closing
from pathlib import Path

from joulebook.ingest.mqtt.limits import ListenerLimits
from joulebook.ingest.throttle import Throttle
from joulebook.storage.catalogue import add_site
from joulebook.storage.database import Database
from joulebook.storage.records import Grant
from joulebook.storage.tokens import (
    add_token,
    check_token,
    revoke_token,
    revoked_among,
    tokens_of,
)
from tests.helpers.mqtt_inbox import RecordingInbox, wait_until
from tests.helpers.mqtt_packets import PINGREQ, connect, publish
from tests.helpers.mqtt_server import check_token as check_of_one
from tests.helpers.mqtt_server import running_listener

#: Asks so often that no test has to wait.
EAGER = ListenerLimits(revoked_s=0.01)


def test_its_connection_is_closed_and_none_opened_again(
    tmp_path: Path, inbox: RecordingInbox
) -> None:
    database = Database.open(tmp_path)
    site = add_site(database, "home", "UTC")
    shed, kiln = (add_token(database, site, name) for name in ("shed", "kiln"))
    with (
        running_listener(
            inbox,
            check=lambda name, secret: check_token(database, name, secret),
            revoked=lambda token_ids: revoked_among(database, token_ids),
            limits=EAGER,
        ) as server,
        server.stranger() as leaving,
        server.stranger() as staying,
    ):
        leaving.send(connect(5, name="shed", secret=shed))
        assert leaving.packet()[:1] == b"\x20"
        staying.send(connect(4, name="kiln", secret=kiln))
        assert staying.packet().hex() == "20020000"
        with closing(database.connect()) as connection:
            by_name = {one.name: one.id for one in tokens_of(connection)}
            revoke_token(connection, by_name["shed"], now_ms=1)
        # MQTT 5.0, 3.14.2.1: DISCONNECT with reason 0x87, not authorized.
        assert leaving.packet()[:3:2] == b"\xe0\x87"
        assert leaving.is_closed()
        staying.send(PINGREQ)
        assert staying.packet() == b"\xd0\x00"
        with server.stranger() as again:
            again.send(connect(4, name="shed", secret=shed))
            assert again.packet().hex() == "20020004"  # 3.1.1, 3.2.2.3: bad user name or password


def test_while_the_list_cannot_be_read_everybody_stays(inbox: RecordingInbox) -> None:
    asked = []

    def cannot(token_ids: Collection[int]) -> Collection[int]:
        asked.append(set(token_ids))
        raise OSError("the disk is away")

    with running_listener(inbox, revoked=cannot, limits=EAGER) as server, server.client() as client:
        wait_until(lambda: len(asked) > 2)
        client.send(publish(packet_id=3))
        assert client.packet().hex() == "40020003"
    assert asked[0] == {1}


def test_nobody_is_asked_about_once_all_are_gone(inbox: RecordingInbox) -> None:
    asked = []

    def note(token_ids: Collection[int]) -> Collection[int]:
        asked.append(token_ids)
        return ()

    with running_listener(inbox, revoked=note, limits=EAGER) as server:
        with server.client():
            wait_until(lambda: bool(asked))
        wait_until(lambda: server.listener.counts().connections == 0)
        # The next who comes is asked about again.
        before = len(asked)
        with server.client():
            wait_until(lambda: len(asked) > before + 1)


def test_who_guesses_at_tokens_is_turned_away_unheard_and_the_bridge_is_not(
    inbox: RecordingInbox,
) -> None:
    asked = []

    def check(name: str, secret: str) -> Grant | None:
        asked.append(secret)
        return check_of_one(name, secret)

    with running_listener(inbox, check=check, guesses=Throttle()) as server:
        with server.client():  # the bridge gets in, and is known from here
            pass
        for _ in range(8):
            with server.stranger() as guesser:
                guesser.send(connect(4, name="bridge2", secret="wrong"))
                assert guesser.packet().hex() == "20020004"
        assert asked.count("wrong") == 6  # the clock of the test stands still
        with server.client():
            pass


def test_guesses_from_behind_a_balancer_delay_only_whom_they_are_about(
    inbox: RecordingInbox,
) -> None:
    limits = ListenerLimits(balancers=("127.0.0.1",))
    with running_listener(inbox, limits=limits, guesses=Throttle()) as server:
        for _ in range(8):
            with server.stranger() as guesser:
                guesser.send(connect(4, name="bridge2", secret="wrong"))
                assert guesser.packet().hex() == "20020004"
        with server.client():  # one that was never here before
            pass
