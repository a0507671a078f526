"""A service whose door for bridges is encrypted, from its settings."""

import asyncio
import os
import signal
import ssl
from collections.abc import Awaitable, Callable
from pathlib import Path

import pytest

from joulebook.cli.service import Service
from joulebook.settings import Settings
from joulebook.storage.database import Database
from tests.helpers.mqtt_packets import connect
from tests.helpers.mqtt_tls import client_authority, client_certificate, tls_contexts


def served(tmp_path: Path, meet: Callable[[int], Awaitable[None]], *, client_ca: str = "") -> None:
    """Run a service with a certificate until ``meet``, given the bridges' port, is done."""
    database = Database.open(tmp_path / "house")
    service = Service(
        database,
        Settings(
            port=0,
            mqtt_port=0,
            tls_certificate=str(tmp_path / "certificate.pem"),
            tls_key=str(tmp_path / "key.pem"),
            tls_client_ca=client_ca,
        ),
        clock_ms=lambda: 1_780_000_000_000,
    )
    tasks: list[asyncio.Task[None]] = []

    async def met() -> None:
        try:
            await meet(service.mqtt_port)
        finally:
            os.kill(os.getpid(), signal.SIGINT)

    async def run() -> None:
        await service.run(lambda: tasks.append(asyncio.ensure_future(met())))
        await tasks[0]

    asyncio.run(run())
    database.close()


async def answer(port: int, tls: ssl.SSLContext) -> bytes:
    """Return what a CONNECT with a wrong token is answered; nothing where TLS already fails."""
    try:
        reader, writer = await asyncio.open_connection("127.0.0.1", port, ssl=tls)
        writer.write(connect())
        answered = await reader.read(4)
    except (ssl.SSLError, ConnectionError):  # pragma: no cover - how TLS says no is a race
        return b""
    writer.close()
    return answered


@pytest.mark.outside
def test_bridges_connect_with_tls_where_a_certificate_is_set(tmp_path: Path) -> None:
    _, client = tls_contexts(tmp_path)
    spoken: list[str | None] = []

    async def meet(port: int) -> None:
        _, writer = await asyncio.open_connection("127.0.0.1", port, ssl=client)
        spoken.append(writer.get_extra_info("ssl_object").version())
        writer.close()
        await writer.wait_closed()

    served(tmp_path, meet)
    assert spoken == ["TLSv1.3"]


@pytest.mark.outside
def test_with_an_authority_only_bridges_with_its_certificate_get_to_the_token(
    tmp_path: Path,
) -> None:
    _, bare = tls_contexts(tmp_path)
    ours, theirs = client_authority(tmp_path, "ours"), client_authority(tmp_path, "theirs")
    contexts = {"bare": bare}
    for authority in (ours, theirs):
        contexts[authority.stem] = ssl.create_default_context(
            cafile=str(tmp_path / "certificate.pem")
        )
        contexts[authority.stem].load_cert_chain(
            *client_certificate(authority, f"bridge-of-{authority.stem}")
        )
    answers: dict[str, bytes] = {}

    async def meet(port: int) -> None:
        for name, context in contexts.items():
            answers[name] = await answer(port, context)

    served(tmp_path, meet, client_ca=str(ours))
    # 0x04: bad user name or password (MQTT 3.1.1 Table 3.1): only this one was asked for its token.
    assert answers == {"bare": b"", "ours": b"\x20\x02\x00\x04", "theirs": b""}
