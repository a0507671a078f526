"""Equipment that describes itself in bad faith: what is written stays a configuration."""

import random
import tomllib
from collections.abc import Mapping
from pathlib import Path

import pytest

from joulebook_bridge.modbus.addresses import NetworkLine
from joulebook_bridge.simulate.layouts import model_words
from joulebook_bridge.sunspec.scan import describe, scan
from joulebook_bridge.sunspec.walk import MARKER
from joulebook_bridge.sunspec.written import configuration_of
from tests.helpers.modbus_servers import words_at
from tests.helpers.register_maps import ScriptedLine
from tests.helpers.sunspec_plants import ZONE_END, chain, image

ADDRESS = NetworkLine("10.0.0.7", 502)


def read_and_write(units: Mapping[int, Mapping[int, int]]) -> str:
    """Look at a line as `scan` does; return the configuration, which has to be TOML."""
    found = scan(ScriptedLine(units), sorted(units))
    assert all(line.isprintable() for line in describe(found))
    text = configuration_of(ADDRESS, found)
    tomllib.loads(text)
    return text


@pytest.mark.parametrize("seed", range(4))
def test_changed_registers(seed: int) -> None:
    chance = random.Random(seed)
    good = [chain(image(103)), chain(image(802)), chain(image(713))]
    for _ in range(150):
        words = dict(chance.choice(good))
        for _ in range(chance.randint(1, 20)):
            words[chance.choice(list(words))] = chance.choice(
                (0, 1, 0x7FFF, 0x8000, 0xFFFF, chance.randrange(0x10000))
            )
        read_and_write({1: words, 2: good[0]})


@pytest.mark.parametrize(
    "name",
    [
        'x"\n[[line]]\naddress = "tcp://10.0.0.66:502',
        "x'''\n\"\"\"",
        "a\\\\\\",
        "a\r\nb\x00c\x1b[2J\x7f",
        "{0}{unit}{{",
        "\u2028\u202e",
    ],
)
def test_names_that_would_be_more_than_names(name: str) -> None:
    common = model_words(1, {"Mn": name[:16], "Md": name[-16:], "Vr": "1", "SN": name[:16]})
    words = words_at(40000, [*MARKER, *common, *image(802), *ZONE_END])
    text = read_and_write({1: words})
    (line,) = tomllib.loads(text)["line"]
    assert str(ADDRESS) in line.values()


def test_a_chain_of_all_the_same(tmp_path: Path) -> None:
    (tmp_path / "found.toml").write_text(read_and_write({1: words_at(40000, [*MARKER] * 5000)}))
    read_and_write({1: words_at(40000, [*MARKER, *[1, 0] * 5000])})
