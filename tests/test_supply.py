"""What is shipped: every package pinned with its checksums, and every licence looked at."""

import re
import tomllib
from collections.abc import Iterator
from importlib.metadata import requires
from pathlib import Path

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

from tests.licences import LOCKS, PAGE, choices_of, kind_of, page, pinned, terms_of

ROOT = Path(__file__).parents[1]
PROJECTS = {
    "service": ROOT / "pyproject.toml",
    "fleet": ROOT / "pyproject.toml",
    "bridge": ROOT / "clients/bridge/pyproject.toml",
}
ALL_LOCKS = [*LOCKS.values(), ROOT / "docker" / "build.requirements.txt"]

#: Where the images run (PEP 508, "Environment markers").
IMAGES = [
    {
        "python_version": "3.12",
        "python_full_version": "3.12.0",
        "implementation_name": "cpython",
        "platform_python_implementation": "CPython",
        "sys_platform": "linux",
        "platform_system": "Linux",
        "os_name": "posix",
        "platform_machine": machine,
        "extra": "",
    }
    for machine in ("x86_64", "aarch64")
]


def direct(image: str) -> list[Requirement]:
    project = tomllib.loads(PROJECTS[image].read_text(encoding="utf-8"))["project"]
    # The image for many homes has one of the extras too, which is called as the image is.
    more = project.get("optional-dependencies", {}).get(image, [])
    return [Requirement(each) for each in (*project["dependencies"], *more)]


def wanted(requirement: Requirement) -> bool:
    marker = requirement.marker
    return marker is None or any(marker.evaluate(image) for image in IMAGES)


def indirect(name: str, extras: set[str]) -> Iterator[Requirement]:
    """Yield what an installed package asks for, with some of its extras."""
    for text in requires(name) or []:
        requirement = Requirement(text)
        marker = requirement.marker
        if marker is None or any(
            marker.evaluate({**image, "extra": extra})
            for image in IMAGES
            for extra in ("", *extras)
        ):
            yield requirement


@pytest.mark.parametrize("lock", ALL_LOCKS, ids=lambda lock: lock.name)
def test_each_pin_has_its_version_and_checksums_and_names_no_registry(lock: Path) -> None:
    text = lock.read_text(encoding="utf-8")
    entries = text.replace("\\\n", " ").splitlines()
    assert len(entries) >= 4
    for entry in entries:
        pin, *checksums = entry.split(" --hash=")
        assert re.fullmatch(r"[a-z0-9.-]+==[0-9][\w.]*( ; .+)?", pin.strip()), pin
        assert checksums
        assert all(re.fullmatch(r"sha256:[0-9a-f]{64}", each.strip()) for each in checksums)
    assert "://" not in text


@pytest.mark.parametrize("image", LOCKS)
def test_the_pins_are_within_the_ranges_that_the_project_asks_for(image: str) -> None:
    pins = pinned(LOCKS[image])
    for requirement in direct(image):
        version = pins[canonicalize_name(requirement.name)]
        assert requirement.specifier.contains(version), f"{requirement}, pinned {version}"


@pytest.mark.parametrize("image", LOCKS)
def test_the_pins_hold_every_package_that_is_needed_and_no_other(image: str) -> None:
    pins = pinned(LOCKS[image])
    reached: set[tuple[str, frozenset[str]]] = set()
    open_ends = [one for one in direct(image) if wanted(one)]
    while open_ends:
        requirement = open_ends.pop()
        name = canonicalize_name(requirement.name)
        step = (name, frozenset(requirement.extras))
        assert name in pins, f"{requirement} is not pinned: run .ci/lock"
        assert requirement.specifier.contains(pins[name]), f"{requirement}, pinned {pins[name]}"
        if step not in reached:
            reached.add(step)
            open_ends += indirect(name, set(requirement.extras))
    assert {name for name, _ in reached} == set(pins)


def test_the_page_of_licences_is_what_the_packages_say() -> None:
    assert PAGE.read_text(encoding="utf-8") == page()


def test_no_licence_is_one_that_nobody_has_looked_at() -> None:
    assert "not stated" not in page()
    assert "to be looked at" not in page()


@pytest.mark.parametrize(
    ("expression", "kind"),
    [
        ("MIT", "permissive"),
        ("BSD-3-Clause AND Zlib", "permissive"),
        ("EPL-2.0 OR BSD-3-Clause", "permissive"),
        ("(MPL-2.0 AND MIT)", "copyleft for its own files"),
        ("GPL-3.0-only", "to be looked at"),
        ("MIT AND AGPL-3.0-only", "to be looked at"),
        ("not stated", "to be looked at"),
    ],
)
def test_what_a_licence_asks(expression: str, kind: str) -> None:
    assert kind_of(expression) == kind


def test_expressions_are_read_as_spdx_writes_them() -> None:
    # SPDX specification 2.3, annex D: AND binds before OR.
    assert choices_of("MIT AND Zlib OR (ISC)") == [["MIT", "Zlib"], ["ISC"]]
    assert terms_of("(MIT OR ISC) AND Zlib") == ["MIT", "ISC", "Zlib"]


def test_what_two_images_hold_is_of_one_version() -> None:
    service, fleet = pinned(LOCKS["service"]), pinned(LOCKS["fleet"])
    assert {name: fleet.get(name) for name in service} == service
    assert {"psycopg", "distributed"} <= fleet.keys() - service.keys()
