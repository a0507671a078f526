"""Are the doors open, or free; is their certificate good; does the broker answer."""

import json
import socket
import ssl
from collections.abc import Iterator, Mapping
from datetime import UTC, datetime
from http.client import HTTPConnection, HTTPException
from pathlib import Path
from typing import Any

from joulebook.cli.doctor.findings import Finding, look, trouble, well
from joulebook.errors import UsageError
from joulebook.ingest.mqtt.address import broker_address
from joulebook.settings import Settings

_PATIENCE_S = 5.0
#: Common practice, no source: a renewal that failed twice is noticed in time.
SOON_DAYS = 21
_ANYWHERE = {"0.0.0.0": "127.0.0.1", "::": "::1", "": "127.0.0.1"}  # noqa: S104 -- where to ask instead


def asked_ready(settings: Settings) -> tuple[int, Mapping[str, object]]:
    """Ask the service of these settings whether it is ready; return its status and answer.

    Raises
    ------
    OSError, HTTPException, ValueError
        If nobody answers there, or not as joulebook does.
    """
    host = _ANYWHERE.get(settings.host, settings.host)
    connection = HTTPConnection(host, settings.port, timeout=_PATIENCE_S)
    try:
        connection.request("GET", "/readyz")
        answer = connection.getresponse()
        told = json.loads(answer.read(1_000_000))
    finally:
        connection.close()
    if not isinstance(told, dict) or "ready" not in told:
        raise ValueError("no answer of joulebook")
    return answer.status, told


def check_service(settings: Settings, process: int | None) -> Iterator[Finding]:
    """Look whether the service runs, answers and is ready; where it does not, at its ports."""
    if process is None:
        yield look("service", "no service runs in this data directory", "start it")
        for name, port in (("pages", settings.port), ("bridges", settings.mqtt_port)):
            yield from _check_free(name, settings.host, port)
        return
    try:
        status, told = asked_ready(settings)
    except (OSError, HTTPException, ValueError) as error:
        yield trouble(
            "service",
            f"process {process} runs here, and {settings.host} port {settings.port} does not "
            f"answer as joulebook: {error}",
            "give the same --port and --host as the service has, or look into its log",
        )
        return
    problems = told.get("problems", [])
    assert isinstance(problems, list)
    if status == 200:
        yield well("service", f"process {process} runs and is ready")
    else:
        yield trouble(
            "service", f"process {process} runs and is not ready", "see below, and the log"
        )
    yield from (look("service", str(problem), "as it says") for problem in problems)


def check_certificate(settings: Settings, now_ms: int) -> Iterator[Finding]:
    """Look at the certificate of the door for bridges."""
    if not settings.tls_certificate:
        return
    about = "certificate"
    try:
        certificate = certificate_of(settings.tls_certificate, settings.tls_key)
    except (OSError, ssl.SSLError) as error:
        next_step = "renew it, or check both paths and that this user may read them"
        yield trouble(about, f"it cannot be used: {getattr(error, 'strerror', error)}", next_step)
        return
    ends_s = ssl.cert_time_to_seconds(str(certificate["notAfter"]))
    days = int((ends_s - now_ms / 1000) // 86_400)
    names = ", ".join(name for _, name in certificate.get("subjectAltName", ())) or "no name"
    until = datetime.fromtimestamp(ends_s, UTC).date()
    sentence = f"for {names}, until {until}, {days} days from now"
    if days < SOON_DAYS:
        yield look(about, sentence, "renew it and restart the service: it is read at the start")
    elif names == "no name":
        yield look(about, sentence, "make one with subjectAltName: clients look for the name there")
    else:
        yield well(about, sentence)
    if Path(settings.tls_key).stat().st_mode & 0o077:
        yield look("key", "others may read the certificate's key", f"chmod 600 {settings.tls_key}")


def certificate_of(chain: str, key: str) -> Mapping[str, Any]:
    """Return what a certificate says, by a handshake with ourselves that trusts it and no other.

    Raises
    ------
    OSError, ssl.SSLError
        If the files cannot be read, do not belong together, or are out of date.
    """
    server = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    server.load_cert_chain(chain, key)
    client = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
    client.check_hostname = False
    client.verify_flags |= ssl.VERIFY_X509_PARTIAL_CHAIN  # the certificate itself is trusted
    client.load_verify_locations(cadata=_first_certificate(Path(chain)))
    there, here = ssl.MemoryBIO(), ssl.MemoryBIO()
    asking = client.wrap_bio(here, there)
    answering = server.wrap_bio(there, here, server_side=True)
    for side in (asking, answering, asking):
        try:
            side.do_handshake()
        except ssl.SSLWantReadError:
            continue
    return asking.getpeercert() or {}


def check_broker(settings: Settings) -> Iterator[Finding]:
    """Look whether somebody answers where the broker should be; without signing in."""
    if not settings.broker:
        return
    try:
        address = broker_address(settings.broker)
    except UsageError as error:
        yield trouble("broker", error.what, error.next_step)
        return
    try:
        socket.create_connection((address.host, address.port), _PATIENCE_S).close()
    except OSError as error:
        next_step = "start the broker, or correct the setting 'broker'"
        yield trouble(
            "broker", f"{address} cannot be reached: {error.strerror or error}", next_step
        )
    else:
        yield well("broker", f"{address} answers; whether it lets us in, the service tells")


def _check_free(name: str, host: str, port: int) -> Iterator[Finding]:
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    try:
        socket.create_server((host, port), family=family).close()
    except OSError as error:
        yield trouble(
            f"port of the {name}",
            f"{host} port {port} cannot be had: {error.strerror or error}",
            "end what uses it, or choose another port",
        )
    else:
        yield well(f"port of the {name}", f"{host} port {port} is free")


def _first_certificate(chain: Path) -> str:
    text = chain.read_text(encoding="ascii", errors="replace")
    end = "-----END CERTIFICATE-----"
    begin = text.find("-----BEGIN CERTIFICATE-----")
    return text[begin : text.find(end) + len(end)] + "\n"
