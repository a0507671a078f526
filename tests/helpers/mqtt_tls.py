"""Certificates for 127.0.0.1, made afresh: no private key lies about in the repository."""

import ssl
import subprocess
from pathlib import Path

from tests.helpers.outside import needs_program

_EC_KEY = ("-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1", "-nodes")


def tls_contexts(folder: Path) -> tuple[ssl.SSLContext, ssl.SSLContext]:
    """Return a server's and a client's TLS context that trust each other."""
    key, certificate = folder / "key.pem", folder / "certificate.pem"
    _openssl(
        "req", "-x509", *_EC_KEY, "-days", "2",
        "-subj", "/CN=127.0.0.1", "-addext", "subjectAltName=IP:127.0.0.1",
        "-keyout", str(key), "-out", str(certificate),
    )  # fmt: skip
    server = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    server.load_cert_chain(certificate, key)
    return server, ssl.create_default_context(cafile=str(certificate))


def client_authority(folder: Path, name: str) -> Path:
    """Make an authority for clients' certificates; return its own one."""
    key, certificate = folder / f"{name}-key.pem", folder / f"{name}.pem"
    _openssl(
        "req", "-x509", *_EC_KEY, "-days", "2", "-subj", f"/CN={name}",
        "-keyout", str(key), "-out", str(certificate),
    )  # fmt: skip
    return certificate


def client_certificate(authority: Path, name: str, *, days: int = 2) -> tuple[Path, Path]:
    """Return the certificate that an authority signed for a client, and the client's key."""
    folder = authority.parent
    key, request = folder / f"{name}-key.pem", folder / f"{name}.csr"
    certificate = folder / f"{name}.pem"
    _openssl("req", *_EC_KEY, "-subj", f"/CN={name}", "-keyout", str(key), "-out", str(request))
    _openssl(
        "x509", "-req", "-in", str(request), "-days", str(days),
        "-CA", str(authority), "-CAkey", str(authority.with_name(f"{authority.stem}-key.pem")),
        "-CAcreateserial", "-out", str(certificate),
    )  # fmt: skip
    return certificate, key


def _openssl(*arguments: str) -> None:
    subprocess.run([needs_program("openssl"), *arguments], check=True, capture_output=True)
