from pathlib import Path

import pytest

from joulebook_bridge.errors import AwayError, WrongError
from joulebook_bridge.sunspec.commissioning import scan_line, write_found
from tests.helpers.modbus_servers import plant_of, tcp_server
from tests.helpers.service import unused_port
from tests.helpers.sunspec_plants import chain, image


def test_a_real_server_is_scanned_and_written(tmp_path: Path) -> None:
    said: list[str] = []
    with tcp_server(plant_of({1: chain(image(103), image(802))})) as (port, asked):
        url = f"tcp://127.0.0.1:{port}"
        address, found = scan_line(url, (1, 2), timeout_s=2, say=said.append)
    assert said[0].startswith("unit 1: Clay Works 6")
    assert set(asked.functions) == {3}
    write_found(address, found, tmp_path / "found.toml")
    assert url in (tmp_path / "found.toml").read_text()
    with pytest.raises(WrongError, match="File exists") as refused:
        write_found(address, found, tmp_path / "found.toml")
    assert refused.value.next_step == "give another name to --write"


def test_a_line_where_nobody_is(tmp_path: Path) -> None:
    with pytest.raises(AwayError, match="nothing answers") as away:
        scan_line(f"tcp://127.0.0.1:{unused_port()}", (1,), timeout_s=0.2, say=print)
    assert "Modbus is switched on" in away.value.next_step
    with pytest.raises(AwayError) as away:
        scan_line(f"serial://{tmp_path}/none", (1,), timeout_s=0.2, say=print)
    assert "this machine has:" in away.value.next_step


def test_a_line_where_no_unit_answers() -> None:
    with (
        tcp_server(plant_of({7: {0: 1}})) as (port, _),
        pytest.raises(AwayError, match="no unit answers") as away,
    ):
        scan_line(f"tcp://127.0.0.1:{port}", (1, 2), timeout_s=0.2, say=print)
    assert away.value.where.endswith("units 1, 2")
    assert "--units" in away.value.next_step
