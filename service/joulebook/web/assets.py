"""Static files: compressed once, at addresses that change with their content."""

import gzip
import hashlib
from collections.abc import Callable
from importlib import resources
from threading import Lock

_MEDIA_TYPES = {
    "css": "text/css; charset=utf-8",
    "html": "text/html; charset=utf-8",
    "js": "text/javascript; charset=utf-8",
    "png": "image/png",
    "svg": "image/svg+xml",
    "webmanifest": "application/manifest+json",
}
_OWN = (
    *("joulebook.css", "forms.css"),
    *("frame.js", "offline.js", "figures.js", "zoom.js", "live.js", "checks.js", "waiting.js"),
    *("icon.svg", "icon-180.png", "icon-192.png", "icon-512.png", "icon-full-512.png"),
)
PLOTLY = "plotly.min.js"


class Asset:
    """One file, its media type, and its compressed form, made when first asked for.

    ``read`` returns the content as it is. Almost every browser takes it compressed, so a large
    file is not kept in memory in both forms.
    """

    def __init__(self, name: str, read: Callable[[], bytes]) -> None:
        self._read = read
        self.media_type = _MEDIA_TYPES[name.rpartition(".")[2]]
        self.digest = hashlib.sha256(read()).hexdigest()[:16]
        self._packed: bytes | None = None
        self._lock = Lock()

    @property
    def content(self) -> bytes:
        """The file, not compressed."""
        return self._read()

    def packed(self) -> bytes:
        """Return the content compressed by gzip."""
        with self._lock:
            if self._packed is None:
                # mtime=0: the same bytes after every start.
                self._packed = gzip.compress(self.content, compresslevel=6, mtime=0)
            return self._packed


class Assets:
    """The files of ``static/``, and plotly's script out of the installed ``plotly`` package."""

    def __init__(self) -> None:
        own = resources.files("joulebook.web") / "static"
        plotly = resources.files("plotly") / "package_data" / PLOTLY
        self._assets = {PLOTLY: Asset(PLOTLY, plotly.read_bytes)}
        for name in _OWN:
            self.add(name, (own / name).read_bytes())

    def add(self, name: str, content: bytes) -> None:
        """Add a file, kept in memory."""
        self._assets[name] = Asset(name, lambda: content)

    def named(self, name: str) -> Asset:
        """Return a file that must be there."""
        return self._assets[name]

    def url(self, name: str) -> str:
        """Return the address of a file; it changes when the file does, so it keeps for ever."""
        return f"/assets/{self.named(name).digest}/{name}"

    def find(self, digest: str, name: str) -> Asset | None:
        """Return the file, or ``None`` where there is none of that name and content."""
        asset = self._assets.get(name)
        return asset if asset is not None and asset.digest == digest else None
