"""Writes docs/licences.md: the licence of each package that the images hold.

``python -m tests.licences``. Which packages: the pins under docker/. Which licence: what the
package itself says in its metadata ("Core metadata specifications" of the Python packaging guide).
"""

import re
from collections.abc import Iterator
from importlib.metadata import Distribution, distribution
from pathlib import Path

from packaging.utils import canonicalize_name

ROOT = Path(__file__).parents[1]
PAGE = ROOT / "docs" / "licences.md"
LOCKS = {
    "service": ROOT / "docker" / "requirements.txt",
    "fleet": ROOT / "docker" / "fleet.requirements.txt",
    "bridge": ROOT / "docker" / "bridge.requirements.txt",
}

#: Classifiers that mean one licence and no other.
CLASSIFIERS = {
    "Apache Software License": "Apache-2.0",
    "BSD License": "BSD-3-Clause",
    "ISC License (ISCL)": "ISC",
    "MIT License": "MIT",
    "Mozilla Public License 2.0 (MPL 2.0)": "MPL-2.0",
    "Python Software Foundation License": "PSF-2.0",
}
#: What the field "License" says where it is no SPDX expression.
WORDS = {
    "Apache 2.0": "Apache-2.0",
    "Apache License 2.0": "Apache-2.0",
    "BSD": "BSD-3-Clause",
    "BSD-3": "BSD-3-Clause",
    "MIT License": "MIT",
}
#: Permissive: may go into a work under Apache-2.0 that keeps their notices.
PERMISSIVE = {
    *("0BSD", "Apache-2.0", "BSD-2-Clause", "BSD-3-Clause", "HPND", "ISC", "MIT", "MIT-0"),
    *("MIT-CMU", "PSF-2.0", "Python-2.0", "Unlicense", "Zlib", "CC0-1.0"),
}
#: Copyleft for the files themselves only: changed files stay under it, others are not touched.
WEAK_COPYLEFT = {"MPL-2.0", "EPL-2.0", "LGPL-2.1-or-later", "LGPL-3.0-only"}


def pinned(lock: Path) -> dict[str, str]:
    """Return the version of each package that a file pins."""
    return dict(re.findall(r"^([\w.-]+)==([\w.]+)", lock.read_text("utf-8"), flags=re.MULTILINE))


def licence_of(package: Distribution) -> str | None:
    """Return the licence that a package says it has, or ``None`` where no machine can tell."""
    said = package.metadata
    # Asked so, for some readers of metadata raise where a field is missing.
    expression, field = (
        str((said.get_all(name) or [""])[0]).strip() for name in ("License-Expression", "License")
    )
    if expression:
        return expression
    if "\n" not in field and field:
        field = WORDS.get(field, field)
        if set(terms_of(field)) <= PERMISSIVE | WEAK_COPYLEFT:
            return field
    classified = [
        CLASSIFIERS[words]
        for line in said.get_all("Classifier") or []
        if (words := line.rpartition(" :: ")[2]) in CLASSIFIERS
    ]
    return " OR ".join(sorted(set(classified))) or None


def terms_of(expression: str) -> list[str]:
    """Return the licences of an SPDX expression."""
    return [term for term in re.split(r"[\s()]+|\b(?:AND|OR|WITH)\b", expression) if term]


def choices_of(expression: str) -> list[list[str]]:
    """Return the licences to keep for each way that an expression leaves open (AND before OR)."""
    plain = expression.replace("(", " ").replace(")", " ")
    return [terms_of(choice) for choice in re.split(r"\bOR\b", plain)]


def kind_of(expression: str) -> str:
    """Return what a licence asks: nothing but its notice, or more."""
    choices = choices_of(expression)
    if any(set(choice) <= PERMISSIVE for choice in choices):
        return "permissive"
    if any(set(choice) <= PERMISSIVE | WEAK_COPYLEFT for choice in choices):
        return "copyleft for its own files"
    return "to be looked at"


def rows() -> Iterator[tuple[str, str, str, str]]:
    """Yield package, licence, kind, and which image holds it."""
    held = {image: pinned(lock) for image, lock in LOCKS.items()}
    for name in sorted(set().union(*held.values())):
        images = " and ".join(image for image in LOCKS if name in held[image])
        licence = licence_of(distribution(canonicalize_name(name))) or "not stated"
        yield name, licence, kind_of(licence), images


def page() -> str:
    """Return the page."""
    lines = [f"| {' | '.join(row)} |" for row in rows()]
    return HEAD + "\n".join(lines) + "\n" + FOOT


HEAD = """\
# Licences of what is shipped
joulebook itself is under Apache-2.0. Its images hold these packages of others, each under its own
licence as the package says it itself. This table is written by `python -m tests.licences`; a test
compares it, and refuses a licence that nobody has looked at.

| package | licence | asks | image |
| --- | --- | --- | --- |
"""
FOOT = """
*Permissive*: its notice is kept, which the installed packages do. *Copyleft for its own files*:
whoever changes files of that package and passes them on gives the changed files under the same
licence; joulebook changes none, and uses them as they are. Where a package offers a choice
(`OR`), the permissive one is taken. No licence here reaches joulebook's own files.

Some packages bring compiled libraries along that the table does not list: numpy OpenBLAS
(BSD-3-Clause), pillow those for images, pydantic-core, pcodec and cbor2 what they are built of.
Their notices are in the `licenses` folders of the installed packages. Python itself (PSF-2.0),
Debian's base system and SQLite (public domain) come with the image that ours are built on.
plotly.js, which the browser gets, is part of the package plotly (MIT).
"""


if __name__ == "__main__":
    PAGE.write_text(page(), encoding="utf-8")
