"""A certificate for 127.0.0.1, made afresh: no private key lies about in the repository."""

import ssl
import subprocess
from pathlib import Path

from tests.helpers.outside import needs_program


def tls_contexts(folder: Path) -> tuple[ssl.SSLContext, ssl.SSLContext]:
    """Return a server's and a client's TLS context that trust each other."""
    key, certificate = folder / "key.pem", folder / "certificate.pem"
    subprocess.run(
        [
            needs_program("openssl"), "req", "-x509", "-newkey", "ec",
            "-pkeyopt", "ec_paramgen_curve:prime256v1", "-nodes", "-days", "2",
            "-subj", "/CN=127.0.0.1", "-addext", "subjectAltName=IP:127.0.0.1",
            "-keyout", str(key), "-out", str(certificate),
        ],
        check=True,
        capture_output=True,
    )  # fmt: skip
    server = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    server.load_cert_chain(certificate, key)
    return server, ssl.create_default_context(cafile=str(certificate))
