import platform
from pathlib import Path

import pytest

from joulebook.bench.conditions import conditions, processor


def test_the_processor_is_named(tmp_path: Path) -> None:
    file = tmp_path / "cpuinfo"
    file.write_text("processor\t: 0\nmodel name\t: Quick 3000\n")
    assert processor(file) == "Quick 3000"


def test_where_it_has_no_name_its_kind_will_do(tmp_path: Path) -> None:
    file = tmp_path / "cpuinfo"
    assert processor(file) == platform.machine()
    file.write_text("processor\t: 0\n")
    assert processor(file) == platform.machine()


def test_versions_are_told_and_what_is_absent_is_null(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("joulebook.bench.conditions._PACKAGES", ("numpy", "not-a-package"))
    told = conditions(3, 12)
    assert told["not-a-package"] is None
    assert (told["days"], told["readings"]) == (3, 12)
    assert told["numpy"].startswith("2.")
