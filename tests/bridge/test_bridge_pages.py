"""What docs/bridge.md and docs/register-maps.md say is what the bridge does."""

import re
import tomllib
from pathlib import Path

import pytest

from joulebook_bridge.configuration import load_configuration
from joulebook_bridge.errors import WrongError
from joulebook_bridge.parser import make_parser
from joulebook_bridge.register_map import parse_map
from joulebook_bridge.toml_tables import parse_toml
from tests.helpers.bridge_settings import bridge_environ
from tests.helpers.register_maps import HEAD, VOLTAGE, map_of

DOCS = Path(__file__).parents[2] / "docs"
BRIDGE = (DOCS / "bridge.md").read_text(encoding="utf-8")
MAPS = (DOCS / "register-maps.md").read_text(encoding="utf-8")
STUDIO = DOCS.parent / "clients/bridge/joulebook_bridge/simulate/studio-meter.toml"
ENVIRON = bridge_environ()


def block(page: str, language: str) -> str:
    [found] = re.findall(rf"^```{language}\n(.*?)^```$", page, flags=re.MULTILINE | re.DOTALL)
    return str(found)


def keys(page: str, heading: str) -> set[str]:
    """Return the words in the first column of the table under a heading."""
    section = page.partition(f"## {heading}\n")[2].partition("\n## ")[0]
    cells = re.findall(r"^\| (.*?) \|", section, flags=re.MULTILINE)
    return {word for cell in cells for word in re.findall(r"`([a-z_]+)`", cell)}


def expected_keys(text: str) -> set[str]:
    """Return the keys that the bridge names when it meets one that it does not know."""
    with pytest.raises(WrongError) as refused:
        map_of(text)
    assert refused.value.what == "unknown key 'zzz'"
    return set(refused.value.expected.removeprefix("one of ").split(", "))


def test_the_example_map_is_one_and_is_the_studios() -> None:
    text = block(MAPS, "toml")
    [entry] = parse_map(parse_toml(text, "docs")).entries
    studio = parse_map(parse_toml(STUDIO.read_text(encoding="utf-8"), "studio"))
    assert entry == studio.entries[0]
    assert parse_map(parse_toml(text, "docs")).expectations == studio.expectations
    assert tomllib.loads(text)["name"] == studio.name


def test_every_key_of_a_map_and_of_a_reading_is_told() -> None:
    table = 'zzz = 1\n[[reading]]\ndevice = "pv"\nquantity = "power"\naddress = 0\ntype = "u16"\n'
    told = keys(MAPS, "Keys of a map") - {"address", "words"}
    assert expected_keys(table) == told | {"groups", "expect", "reading"}
    current = VOLTAGE.replace("voltage", "current") + 'positive_means = "charging"\nzzz = 1\n'
    told = keys(MAPS, "Keys of a reading") | {"registers", "word_order"}
    assert (
        expected_keys(current.replace("10", "10\nscale_address = 5\nsign_address = 6", 1)) == told
    )


def test_the_error_that_is_shown_is_the_error_that_comes() -> None:
    text = HEAD + "\n" * 13 + VOLTAGE.replace("u16", "u24")
    with pytest.raises(WrongError) as refused:
        parse_map(parse_toml(text, "my-inverter.toml"))
    assert block(MAPS, "text") == f"joulebook-bridge: {refused.value}\n"


def test_every_setting_is_told(tmp_path: Path) -> None:
    (tmp_path / "map.toml").write_text(HEAD + VOLTAGE)
    head = '[[line]]\nurl = "tcp://h"\n[[line.unit]]\nnumber = 1\nmap = "map.toml"\n'
    asked: set[str] = set()
    for text in ("zzz = 1\n" + head, head + "zzz = 1\n", head + "[spool]\nzzz = 1\n"):
        (tmp_path / "bridge.toml").write_text(text)
        with pytest.raises(WrongError, match="unknown key 'zzz'") as refused:
            load_configuration(tmp_path / "bridge.toml", ENVIRON)
        asked |= set(refused.value.expected.removeprefix("one of ").split(", "))
    (tmp_path / "bridge.toml").write_text(head.replace("[[line.unit]]", "zzz = 1\n[[line.unit]]"))
    with pytest.raises(WrongError) as refused:
        load_configuration(tmp_path / "bridge.toml", ENVIRON)
    asked |= set(refused.value.expected.removeprefix("one of ").split(", "))
    assert asked - {"line", "map", "unit", "spool"} <= keys(BRIDGE, "Settings")
    assert {name for name in keys(BRIDGE, "Settings") if name not in asked} == set()


def test_every_command_is_told() -> None:
    usage = make_parser().format_help()
    commands = re.findall(r"^    (\w+) ", usage, flags=re.MULTILINE)
    readme = (DOCS.parent / "clients/bridge/README.md").read_text(encoding="utf-8")
    for command in commands:
        assert f"joulebook-bridge {command}" in BRIDGE + readme
    assert len(commands) == 5
