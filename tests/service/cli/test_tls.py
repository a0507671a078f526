"""A service whose door for bridges is encrypted, from its settings."""

import asyncio
import os
import signal
from pathlib import Path

import pytest

from joulebook.cli.service import Service
from joulebook.settings import Settings
from joulebook.storage.database import Database
from tests.helpers.mqtt_tls import tls_contexts


@pytest.mark.outside
def test_bridges_connect_with_tls_where_a_certificate_is_set(tmp_path: Path) -> None:
    _, client = tls_contexts(tmp_path)
    database = Database.open(tmp_path / "house")
    settings = Settings(
        port=0,
        mqtt_port=0,
        tls_certificate=str(tmp_path / "certificate.pem"),
        tls_key=str(tmp_path / "key.pem"),
    )
    service = Service(database, settings, clock_ms=lambda: 1_780_000_000_000)
    spoken: list[str | None] = []

    async def connect() -> None:
        _, writer = await asyncio.open_connection("127.0.0.1", service.mqtt_port, ssl=client)
        spoken.append(writer.get_extra_info("ssl_object").version())
        writer.close()
        await writer.wait_closed()
        os.kill(os.getpid(), signal.SIGINT)

    tasks: list[asyncio.Task[None]] = []

    async def run() -> None:
        await service.run(lambda: tasks.append(asyncio.ensure_future(connect())))
        await tasks[0]

    asyncio.run(run())
    database.close()
    assert spoken == ["TLSv1.3"]
