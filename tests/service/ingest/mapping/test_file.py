from decimal import Decimal
from pathlib import Path

import pytest

from joulebook.errors import UsageError
from joulebook.ingest.mapping.file import load_mappings, parse_mappings, read_mappings

KILN = """\
[[mapping]]
topic = "kiln/+/state"
site = "studio"
device = "load-{1}"
time = "/at"

  [[mapping.reading]]
  quantity = "power"
  pointer = "/w"
  unit = "W"
  scale = 0.1
  turn_sign = true
  missing = [65535, "n/a", false]

[[mapping]]
topic = "lamp"
site = "studio"
device = "lamp"

  [[mapping.reading]]
  quantity = "lit_now"
"""


def test_what_a_file_says() -> None:
    kiln, lamp = parse_mappings(KILN, "kiln.toml")
    assert (kiln.topic, kiln.site, kiln.device) == ("kiln/+/state", "studio", "load-{1}")
    assert (kiln.time, kiln.time_form) == (("at",), "seconds")
    (power,) = kiln.readings
    assert (power.quantity, power.at, power.unit) == ("power", ("w",), "W")
    assert power.scale == Decimal("-0.1")
    assert power.missing == (Decimal(65535), "n/a", False)
    assert lamp.time is None
    assert lamp.readings[0].at == ()
    assert lamp.readings[0].scale == 1


@pytest.mark.parametrize(
    ("old", "new", "line", "what"),
    [
        ("kiln/+/state", "kiln#/state", 2, "'kiln#/state' is no topic filter"),
        ("kiln/+/state", "joulebook/v1/x/y", 2, "is a topic of ours"),
        ('"studio"', '"The Studio"', 3, "'The Studio' cannot be a site"),
        ("load-{1}", "load-{2}", 4, r"'load-\{2\}' names no device"),
        ('time = "/at"', 'time = "at"', 5, "does not begin with '/'"),
        ('time = "/at"', "time = 5", 5, "5 is no text for time"),
        ('time = "/at"', 'time_form = "days"', 5, "'days'"),
        ('quantity = "power"', 'quantity = "Power!"', 8, "'Power!' cannot be a quantity"),
        ('pointer = "/w"', 'pointr = "/w"', 9, "unknown key 'pointr'"),
        ('unit = "W"', 'unit = "horses"', 10, "'horses' is no unit"),
        ("scale = 0.1", "scale = 0", 11, "0"),
        ("scale = 0.1", "scale = true", 11, "True"),
        ("turn_sign = true", 'turn_sign = "yes"', 12, "'yes'"),
        ('[65535, "n/a", false]', "65535", 13, "65535"),
        ('[65535, "n/a", false]', "[[1]]", 13, r"\[\[1\]\]"),
        ('topic = "lamp"\n', "", 15, "there is no topic"),
        ('  [[mapping.reading]]\n  quantity = "lit_now"', "", 15, r"no \[\[mapping.reading\]\]"),
        ('  [[mapping.reading]]\n  quantity = "lit_now"', "reading = [3]", 20, "3"),
    ],
)
def test_a_mistake_is_told_with_its_line(old: str, new: str, line: int, what: str) -> None:
    with pytest.raises(UsageError, match=what) as refused:
        parse_mappings(KILN.replace(old, new, 1), "kiln.toml")
    assert refused.value.where == f"kiln.toml, line {line}"


@pytest.mark.parametrize(
    ("text", "what"),
    [("", r"no \[\[mapping\]\]"), ("mapping = 3", r"no \[\[mapping\]\]"), ("x = 1", "key 'x'")],
)
def test_a_file_without_a_mapping_is_refused(text: str, what: str) -> None:
    with pytest.raises(UsageError, match=what) as refused:
        parse_mappings(text, "empty.toml")
    assert refused.value.where == "empty.toml, line 1"


def test_a_file_that_is_no_toml_is_refused_with_its_line() -> None:
    with pytest.raises(UsageError, match="line 2"):
        parse_mappings("[[mapping]]\ntopic = \n", "kiln.toml")


def test_a_folder_is_read_by_name_and_may_be_absent(tmp_path: Path) -> None:
    assert load_mappings(tmp_path / "mappings") == ()
    (tmp_path / "b.toml").write_text(KILN.replace("kiln/+/state", "second/+"))
    (tmp_path / "a.toml").write_text(KILN)
    (tmp_path / "notes.txt").write_text("not ours")
    topics = [rule.topic for rule in load_mappings(tmp_path)]
    assert topics == ["kiln/+/state", "lamp", "second/+", "lamp"]


def test_a_file_that_cannot_be_read_is_named(tmp_path: Path) -> None:
    (tmp_path / "a.toml").write_bytes(b"\xff")
    with pytest.raises(UsageError, match="cannot read") as refused:
        read_mappings(tmp_path / "a.toml")
    assert refused.value.where == str(tmp_path / "a.toml")
