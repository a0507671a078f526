from pathlib import Path

import pytest

from joulebook_bridge.configuration import Configuration, entries_of, load_configuration
from joulebook_bridge.errors import WrongError
from joulebook_bridge.modbus.addresses import NetworkLine, SerialLine
from joulebook_bridge.session import Server
from tests.helpers.bridge_settings import bridge_environ
from tests.helpers.register_maps import CURRENT, HEAD, VOLTAGE

ENVIRON = bridge_environ()
LINE = """
[[line]]
url = "tcp://10.0.0.7"
  [[line.unit]]
  number = 1
  map = "battery.toml"
"""


def load(folder: Path, text: str = LINE, **changed: str) -> Configuration:
    (folder / "battery.toml").write_text(HEAD + VOLTAGE + CURRENT)
    (folder / "bridge.toml").write_text(text)
    environ = {name: value for name, value in (ENVIRON | changed).items() if value}
    return load_configuration(folder / "bridge.toml", environ)


def refused(folder: Path, text: str = LINE, **changed: str) -> WrongError:
    with pytest.raises(WrongError) as error:
        load(folder, text, **changed)
    return error.value


def test_a_line_and_the_environment_are_enough(tmp_path: Path) -> None:
    found = load(tmp_path)
    assert found.service.server == Server("127.0.0.1", 1883, tls=False)
    assert (found.service.site, found.service.credentials.name) == ("studio", "shed")
    assert found.service.credentials.token == "sesame"
    [line] = found.lines
    assert line.address == NetworkLine("10.0.0.7", 502)
    assert [entry.quantity for _, _, entry in entries_of(found.lines)] == ["voltage", "current"]
    assert found.spool.folder == tmp_path / "spool"
    assert found.spool.when_full == "drop oldest"
    assert (found.heartbeat_s, found.own_device) == (30, "bridge")


def test_the_environment_counts_over_the_file(tmp_path: Path) -> None:
    said = 'server = "mqtt://other:1"\nsite = "barn"\nname = "loft"\n' + LINE
    assert load(tmp_path, said).service.site == "studio"
    nothing = dict.fromkeys(("JOULEBOOK_BRIDGE_SERVER", "JOULEBOOK_BRIDGE_SITE"), "")
    found = load(tmp_path, said, **nothing)
    assert (str(found.service.server), found.service.site) == ("mqtt://other:1", "barn")


def test_the_token_may_be_in_a_file(tmp_path: Path) -> None:
    (tmp_path / "token").write_text("from-a-file\n")
    none = {"JOULEBOOK_BRIDGE_TOKEN": ""}
    found = load(tmp_path, 'token_file = "token"\n' + LINE, **none)
    assert found.service.credentials.token == "from-a-file"
    named = load(tmp_path, JOULEBOOK_BRIDGE_TOKEN_FILE=str(tmp_path / "token"), **none)
    assert named.service.credentials.token == "from-a-file"
    (tmp_path / "token").write_text("\n")
    assert "it is empty" in refused(tmp_path, 'token_file = "token"\n' + LINE, **none).what
    assert "No such file" in refused(tmp_path, 'token_file = "none"\n' + LINE, **none).what


def test_a_certificate_of_its_own_and_its_key_are_beside_the_file(tmp_path: Path) -> None:
    found = load(tmp_path, 'certificate = "own.pem"\nkey = "own-key.pem"\n' + LINE)
    sender = found.service.credentials
    assert (sender.certificate, sender.key) == (
        str(tmp_path / "own.pem"),
        str(tmp_path / "own-key.pem"),
    )
    variables = {"JOULEBOOK_BRIDGE_CERTIFICATE": "/a.pem", "JOULEBOOK_BRIDGE_KEY": "/b.pem"}
    sender = load(tmp_path, 'certificate = "own.pem"\n' + LINE, **variables).service.credentials
    assert (sender.certificate, sender.key) == ("/a.pem", "/b.pem")
    assert "one is missing" in refused(tmp_path, 'key = "own-key.pem"\n' + LINE).what


@pytest.mark.parametrize("name", ["SERVER", "SITE", "NAME", "TOKEN"])
def test_what_nobody_says_is_asked_for(tmp_path: Path, name: str) -> None:
    error = refused(tmp_path, **{f"JOULEBOOK_BRIDGE_{name}": ""})
    assert error.what == f"there is no {name.lower()}"
    key = "token_file" if name == "TOKEN" else name.lower()
    assert error.where == f"{key} in the file, or JOULEBOOK_BRIDGE_{name}"


def test_a_site_that_cannot_be_one(tmp_path: Path) -> None:
    assert "'A/B' cannot name a site" in refused(tmp_path, JOULEBOOK_BRIDGE_SITE="A/B").what


def test_everything_can_be_said(tmp_path: Path) -> None:
    text = """
heartbeat_s = 5
own_device = "bridge-2"
[spool]
folder = "/var/spool/bridge"
most_mb = 10
keep_free_mb = 0
when_full = "stop"
sync_s = 0
clock_wait_s = 5
[map.mine]
format = 1
name = "mine"
[[map.mine.reading]]
device = "battery"
quantity = "soc"
address = 0
type = "u16"
divide_by = 100
[[line]]
url = "serial:///dev/ttyUSB0"
timeout_s = 0.3
  [[line.unit]]
  number = 1
  map = "mine"
  [[line.unit]]
  number = 2
  map = "mine"
  devices = { battery = "battery-2" }
"""
    found = load(tmp_path, text)
    assert found.spool.folder == Path("/var/spool/bridge")
    assert (found.spool.most_bytes, found.spool.when_full) == (10_000_000, "stop")
    assert found.own_device == "bridge-2"
    [line] = found.lines
    assert (line.address, line.timeout_s) == (SerialLine("/dev/ttyUSB0"), 0.3)
    assert [entry.device for _, _, entry in entries_of(found.lines)] == ["battery", "battery-2"]


TWICE = LINE + '  [[line.unit]]\n  number = 2\n  map = "battery.toml"\n'


@pytest.mark.parametrize(
    ("text", "what", "where"),
    [
        ("", "there is no line to read", "line 1"),
        ('own_device = "battery"\n' + LINE, "'battery' cannot name a bridge", "line 1"),
        ('[[line]]\nurl = "tcp://h"\n', "nothing is read from this line", "line 1"),
        (LINE + LINE, "tcp://10.0.0.7:502 is there twice", "line 9"),
        (LINE.replace("battery.toml", "none"), "there is no map 'none'", "line 6"),
        (TWICE, "battery/voltage is read twice, first at {file}, line 4", "line 7"),
        (LINE + '  devices = { pv = "pv-2" }\n', "the map has no device 'pv'", "line 7"),
        (LINE + '  devices = { battery = "pv" }\n', "'battery' cannot become 'pv'", "line 7"),
        (LINE + '  devices = { battery = "battery-A" }\n', "'battery' cannot become", "line 7"),
        (LINE + "\n[spool]\nwhen_full = 'explode'\n", "when_full is 'explode'", "line 9"),
        (LINE + "  wait = 1\n", "unknown key 'wait'", "line 7"),
        ("colour = 1\n" + LINE, "unknown key 'colour'", "line 1"),
        (LINE.replace("tcp://10.0.0.7", "10.0.0.7"), "is not the address of a line", "line 3"),
    ],
)
def test_what_is_wrong_is_told_with_its_line(
    tmp_path: Path, text: str, what: str, where: str
) -> None:
    file = str(tmp_path / "bridge.toml")
    error = refused(tmp_path, text)
    assert what.format(file=file) in error.what
    assert error.where == f"{file}, {where}"


def test_a_map_that_reads_the_same_twice(tmp_path: Path) -> None:
    load(tmp_path)
    (tmp_path / "twice.toml").write_text(HEAD + VOLTAGE + VOLTAGE)
    error = refused(tmp_path, LINE.replace("battery.toml", "twice.toml"))
    assert "battery/voltage is read twice" in error.what


def test_no_equipment_is_called_bridge(tmp_path: Path) -> None:
    load(tmp_path)
    (tmp_path / "own.toml").write_text(HEAD + VOLTAGE.replace('"battery"', '"bridge"'))
    assert (
        "'bridge' cannot become 'bridge'"
        in refused(tmp_path, LINE.replace("battery.toml", "own.toml")).what
    )
