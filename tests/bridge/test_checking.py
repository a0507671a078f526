import itertools
import shutil
from pathlib import Path

import pytest

from joulebook_bridge.checking import check, report
from joulebook_bridge.configuration import Configuration, load_configuration
from tests.helpers.bridge_settings import bridge_environ
from tests.helpers.modbus_servers import plant_of, tcp_server
from tests.helpers.register_maps import CURRENT, HEAD, VOLTAGE
from tests.helpers.scripted_mqtt import ScriptedServer, connack
from tests.helpers.service import unused_port
from tests.helpers.spools import batch, spool_in
from tests.helpers.stepped_clock import SteppedClock

EXPECT = "[[expect]]\naddress = 0\nwords = [7]\n"
WORDS = {0: 7, 10: 531, 11: 214}


def configuration(
    folder: Path,
    url: str,
    mqtt_port: int,
    *,
    text: str = EXPECT + VOLTAGE + CURRENT,
    spool: str = "",
) -> Configuration:
    (folder / "map.toml").write_text(HEAD + text)
    (folder / "bridge.toml").write_text(
        f'[spool]\n{spool}\n[[line]]\nurl = "{url}"\ntimeout_s = 0.1\n'
        '[[line.unit]]\nnumber = 1\nmap = "map.toml"\n'
    )
    environ = bridge_environ(mqtt_port)
    return load_configuration(folder / "bridge.toml", environ)


def links(found: Configuration, time: SteppedClock | None = None) -> list[str]:
    return [str(link) for link in check(found, (time or SteppedClock()).clock())]


def test_links_that_all_hold(tmp_path: Path) -> None:
    said: list[str] = []
    with tcp_server(plant_of({1: WORDS})) as (port, _), ScriptedServer() as server:
        found = configuration(tmp_path, f"tcp://127.0.0.1:{port}", server.port)
        assert report(found, SteppedClock().clock(), said.append) == 0
    assert said[0] == (
        f"ok    unit 1 on tcp://127.0.0.1:{port}: a battery: battery/voltage 53.1 V, "
        "battery/current -21.4 A"
    )
    assert said[1].startswith(f"ok    spool: 0 readings wait in {tmp_path / 'spool'}")
    assert said[2] == "ok    clock: 2026-09-10 12:00:00 UTC, set by a time server"
    assert said[3].startswith(f"ok    service mqtt://127.0.0.1:{server.port}: took a reading")
    assert said[4] == "all links hold"
    assert server.messages[0][0] == "joulebook/v1/studio/bridge"


def test_every_link_is_looked_at_though_one_is_missing(tmp_path: Path) -> None:
    said: list[str] = []
    found = configuration(tmp_path, f"tcp://127.0.0.1:{unused_port()}", unused_port())
    assert report(found, SteppedClock().clock(), said.append) == 3
    assert [text[:4] for text in said] == ["FAIL", "ok  ", "ok  ", "FAIL", "a li"]
    assert "nothing answers at tcp://" in said[0]
    assert "next: check host and port" in said[0]
    assert "nothing listens at this port" in said[3]


def equipment(folder: Path, words: dict[int, int], **named: str) -> list[str]:
    with tcp_server(plant_of({1: words})) as (port, _), ScriptedServer() as server:
        return links(configuration(folder, f"tcp://127.0.0.1:{port}", server.port, **named))


def test_equipment_that_is_not_what_it_should_be(tmp_path: Path) -> None:
    [first, *_] = equipment(tmp_path, WORDS | {0: 8})
    assert "it has [8], expected [7]" in first
    assert "next: scan the line again" in first


def test_registers_that_are_not_there(tmp_path: Path) -> None:
    [first, *_] = equipment(
        tmp_path, {0: 7, 10: 531, 11: 0}, text=VOLTAGE + CURRENT.replace("11", "44")
    )
    assert "1 registers from address 44: it answered illegal data address (2)" in first
    assert "next: correct these addresses" in first


def test_equipment_that_gives_nothing(tmp_path: Path) -> None:
    [first, *_] = equipment(tmp_path, {10: 0xFFFF}, text=VOLTAGE + "not_available = [65535]\n")
    assert "it answers, and gives no reading" in first


def test_a_sign_that_is_undecided(tmp_path: Path) -> None:
    undecided = CURRENT.replace("discharging", "undecided")
    first, second, *_ = equipment(tmp_path, WORDS, text=VOLTAGE + undecided)
    assert first.startswith("ok  ")
    assert second.startswith("look  unit 1")
    assert "battery/current not sent" in second


def test_a_silent_unit_and_a_serial_port_that_is_not_there(tmp_path: Path) -> None:
    with ScriptedServer(connack=None) as deaf, ScriptedServer() as server:
        # Something listens, and it does not speak Modbus.
        first = links(configuration(tmp_path, f"tcp://127.0.0.1:{deaf.port}", server.port))[0]
    assert first.startswith("FAIL  unit 1 on tcp://")
    assert "is for a qualified person" in first
    found = configuration(tmp_path, "serial:///dev/no-such-port", unused_port())
    assert "next: check that the adapter is plugged in" in links(found)[0]


def of_spool(folder: Path, spool: str = "", time: SteppedClock | None = None) -> list[str]:
    found = configuration(folder, f"tcp://127.0.0.1:{unused_port()}", unused_port(), spool=spool)
    return [text for text in links(found, time) if text[6:11] in ("spool", "clock")]


def test_a_spool_without_room(tmp_path: Path) -> None:
    mb = shutil.disk_usage(tmp_path).free // 1_000_000
    if mb >= 900_000:  # pragma: no cover - a disk larger than any setting
        pytest.skip("there is more room here than can be asked for")
    [first, _] = of_spool(tmp_path, "keep_free_mb = 999999")
    assert first.startswith("FAIL  spool")
    assert "next: make room on that disk" in first


def test_a_spool_that_cannot_be_used_and_one_that_is_in_use(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    [first] = of_spool(tmp_path, 'folder = "file"')
    assert first.startswith("FAIL  spool: the spool cannot be used")
    running = spool_in(tmp_path / "used")
    first, second = of_spool(tmp_path, 'folder = "used"')
    assert first == f"ok    spool: a running bridge uses {tmp_path / 'used'}"
    assert second.startswith("ok    clock")
    running.close()


def test_readings_of_a_time_that_nobody_knows(tmp_path: Path) -> None:
    spool = spool_in(tmp_path / "spool")
    spool.append(batch(SteppedClock(5).now(), 1))
    spool.close()
    later = spool_in(tmp_path / "spool", boot="second")
    later.set_clock(SteppedClock().now(), SteppedClock().now().wall_ms)
    later.close()
    [first, _] = of_spool(tmp_path)
    assert first.startswith("look  spool")
    assert "2 have times that nobody knows" in first


def test_clocks(tmp_path: Path) -> None:
    time = SteppedClock()
    time.confirmed = False
    [_, clock] = of_spool(tmp_path, time=time)
    assert clock.startswith("look  clock: 2026-09-10 12:00:00 UTC, and nobody confirms it")
    past = SteppedClock(5)
    past.confirmed = False
    [_, clock] = of_spool(tmp_path, time=past)
    assert clock.startswith("FAIL  clock: 1970-01-01 00:00:00 UTC is in the past")


def test_a_wrong_token_is_a_matter_for_the_person(tmp_path: Path) -> None:
    with (
        tcp_server(plant_of({1: WORDS})) as (port, _),
        ScriptedServer(connack=connack(0x86)) as server,
    ):
        found = configuration(tmp_path, f"tcp://127.0.0.1:{port}", server.port)
        said: list[str] = []
        assert report(found, SteppedClock().clock(), said.append) == 2
    assert "does not accept the name" in "".join(said)
    assert "sesame" not in "".join(itertools.chain(said))
