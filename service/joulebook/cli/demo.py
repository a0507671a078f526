"""``joulebook demo``: an invented pottery studio, fourteen months of it, and on from there."""

import asyncio
import time
from pathlib import Path

import click

from joulebook.cli.arenas import share_one_arena
from joulebook.cli.options import clock_ms, opened_database, progress_bar, settings_of
from joulebook.cli.service import Service, free_port
from joulebook.demo.bridged import (
    ANNEX,
    ANNEX_AH,
    ANNEX_CELLS,
    BridgedAnnex,
    bridge_is_installed,
)
from joulebook.demo.history import History
from joulebook.demo.publish import LivePublisher
from joulebook.demo.seed import seed
from joulebook.demo.studio import SITE, TIMEZONE
from joulebook.logs import set_up_logs
from joulebook.storage.catalogue import add_site, site_named, sites
from joulebook.storage.database import Database
from joulebook.storage.lock import only_service
from joulebook.storage.tokens import add_token, check_token
from joulebook.summaries.record_update import update_record

_BRIDGE = "shed"


@click.command()
@click.option(
    "--data",
    "data_dir",
    type=click.Path(path_type=Path, file_okay=False),
    default=Path("joulebook-demo"),
    show_default=True,
    metavar="DIR",
    help="The data directory; a second run continues in it.",
)
@click.option("--port", type=int, metavar="N", help="Port of the pages. [8350, or a free one]")
@click.option("--mqtt-port", type=int, metavar="N", help="Port for MQTT. [1883, or a free one]")
@click.option("--no-serve", is_flag=True, help="Build the site and stop.")
def demo(data_dir: Path, port: int | None, mqtt_port: int | None, *, no_serve: bool) -> None:
    """Build the demonstration site `studio`, serve it and keep it moving.

    Where joulebook-bridge is installed too, it reads a second site, `annex`, from the registers of
    a simulated plant. Everything about both is simulated. The pages stay on this
    machine (127.0.0.1).

    \b
    Example: joulebook demo
             joulebook demo --data DIR --no-serve
    """
    share_one_arena()
    settings = settings_of(
        data_dir,
        host="127.0.0.1",
        port=free_port(8350) if port is None else port,
        mqtt_port=free_port(1883) if mqtt_port is None else mqtt_port,
        log_level="warning",
    )
    set_up_logs(settings.log_level, settings.log_form)
    with only_service(data_dir), opened_database(data_dir) as database:
        history = _build(database, max_gap_s=settings.max_gap_s)
        if not no_serve:
            service = Service(database, settings, clock_ms=clock_ms, demonstration=True)
            asyncio.run(_serve_moving(database, service, history))


def _build(database: Database, *, max_gap_s: float) -> History:
    began_s = time.monotonic()
    with progress_bar(f"simulating {SITE}") as advance:
        counts = seed(database, clock_ms=clock_ms, progress=advance)
    site = site_named(database, SITE)
    update_record(database, site, clock_ms=clock_ms, max_gap_s=max_gap_s)
    took_s = time.monotonic() - began_s
    print(f"{SITE}: {counts.new} readings new, {counts.days} days computed in {took_s:.1f} s")
    return counts.history


async def _serve_moving(database: Database, service: Service, history: History) -> None:
    """Serve, and publish live readings through the MQTT door once it is open."""
    feeds: list[LivePublisher | BridgedAnnex] = []

    def started() -> None:
        print(service.address())
        print("Ctrl-C ends it; run it again and it continues.", flush=True)
        feeds.extend(feeds_of(database, history, service.mqtt_port))
        for feed in feeds:
            feed.start()

    def stopping() -> None:
        for feed in feeds:
            feed.stop()

    await service.run(started, stopping)


def feeds_of(
    database: Database, history: History, mqtt_port: int
) -> list[LivePublisher | BridgedAnnex]:
    """Return what keeps the demonstration moving: the annex only where the bridge is installed."""
    host, secret = "127.0.0.1", bridge_secret(database, SITE)
    publisher = LivePublisher(host, mqtt_port, _BRIDGE, secret, history=history, clock_ms=clock_ms)
    if not bridge_is_installed():
        return [publisher]
    if all(site.name != ANNEX for site in sites(database)):
        add_site(database, ANNEX, TIMEZONE, battery_ah=ANNEX_AH, battery_cells=ANNEX_CELLS)
    folder, secret = database.data_dir / "demo-annex", bridge_secret(database, ANNEX)
    return [publisher, BridgedAnnex(folder, host, mqtt_port, _BRIDGE, secret)]


def bridge_secret(database: Database, site: str) -> str:
    """Return the secret of the bridge of a site of the demonstration, kept from run to run."""
    file = database.data_dir / f"demo-{site}.secret"
    if file.exists():
        secret = file.read_text(encoding="utf-8")
        grant = check_token(database, _BRIDGE, secret)
        if grant is not None and grant.site == site:
            return secret
    secret = add_token(database, site_named(database, site), _BRIDGE)
    file.touch(mode=0o600)
    file.write_text(secret, encoding="utf-8")
    return secret
