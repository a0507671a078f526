"""A ZIP file that is the same, byte for byte, whenever it holds the same."""

import hashlib
import zipfile
from collections.abc import Iterable
from pathlib import Path
from types import TracebackType
from typing import Self

#: The earliest date that a ZIP file can hold: when it was made is told inside. (APPNOTE 4.4.6)
_NO_DATE = (1980, 1, 1, 0, 0, 0)
#: Readable by everybody, as unpacked on Unix.
_MODE = 0o644 << 16
MANIFEST = "manifest.txt"


class Archive:
    """Files put in one after another, and at the end a manifest of their SHA-256 sums.

    The manifest has the form that ``sha256sum --check`` reads: the sum, two spaces, the name.
    """

    def __init__(self, path: Path) -> None:
        self._zip = zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED, compresslevel=6)
        self._sums: dict[str, str] = {}

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        traceback: TracebackType | None,
    ) -> None:
        if error is None:
            self._put(MANIFEST, [self.manifest().encode()])
        self._zip.close()

    def put(self, name: str, content: bytes | Iterable[str]) -> None:
        """Put a file in: its bytes, or its text in parts."""
        parts = [content] if isinstance(content, bytes) else (part.encode() for part in content)
        self._sums[name] = self._put(name, parts)

    def manifest(self) -> str:
        """Return the sums of all files so far, by name."""
        return "".join(f"{digest}  {name}\n" for name, digest in sorted(self._sums.items()))

    def _put(self, name: str, parts: Iterable[bytes]) -> str:
        info = zipfile.ZipInfo(name, _NO_DATE)
        info.compress_type = zipfile.ZIP_DEFLATED
        info.external_attr = _MODE
        digest = hashlib.sha256()
        with self._zip.open(info, "w", force_zip64=True) as stream:
            for part in parts:
                digest.update(part)
                stream.write(part)
        return digest.hexdigest()
