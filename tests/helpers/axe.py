"""axe-core, the accessibility checker (https://github.com/dequelabs/axe-core, MPL-2.0).

It comes from npm once and is kept beside the repository's other fetched things; the package's
digest is pinned, so that what runs is what was looked at.
"""

import base64
import hashlib
import subprocess
import tarfile
import tempfile
from functools import cache
from pathlib import Path

from tests.helpers.browser import Page
from tests.helpers.outside import is_absent, needs_program

_VERSION = "4.14.1"
#: As the registry states it: sha512 of the package.
_DIGEST = "FHfa+lmNjQZfJz1q8wKqIDwC6DExcHt/pkjNQb09a3NPjCKg2rhu5qb2S4r76ASyFNNtuFooJpZe37OgudVGtQ=="
_KEPT = Path(__file__).parents[2] / "node_modules" / f"axe-core-{_VERSION}.tgz"
#: WCAG 2.2 up to level AA, and what its makers call best practice.
_RUN = """
axe.run(document, {resultTypes: ["violations"]}).then(found => found.violations.map(each =>
    `${each.id}: ${each.help} at ${each.nodes.map(node => node.target.join(" ")).join("; ")}`))
"""


@cache
def _source() -> str:
    """Return axe's script; skip the test where it cannot be had."""
    if not _KEPT.exists():  # pragma: no cover - the first run on a machine
        fetch(_KEPT, needs_program("npm"))
    assert base64.b64encode(hashlib.sha512(_KEPT.read_bytes()).digest()).decode() == _DIGEST
    with tarfile.open(_KEPT) as package:
        script = package.extractfile("package/axe.min.js")
        assert script is not None
        return script.read().decode()


def fetch(kept: Path, npm: str) -> None:
    """Have npm pack axe-core into a file, whole or not at all; skip the test if it cannot."""
    kept.parent.mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory(dir=kept.parent) as folder:
        command = [npm, "pack", "--silent", f"axe-core@{_VERSION}", "--pack-destination", folder]
        packed = subprocess.run(command, capture_output=True, text=True, check=False, timeout=120)
        if packed.returncode != 0:
            is_absent(f"axe-core {_VERSION} does not come from npm: {packed.stderr[-200:]}")
        (Path(folder) / f"axe-core-{_VERSION}.tgz").rename(kept)


def violations(page: Page) -> list[str]:
    """Return what axe finds wrong with a page as it stands."""
    page.evaluate(f"{_source()};undefined")
    found: list[str] = page.evaluate(_RUN)
    return found
