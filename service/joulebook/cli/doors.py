"""What the doors stand on: listening sockets, certificates, limits and room for connections."""

import contextlib
import logging
import resource
import socket
import ssl

from joulebook.errors import UnavailableError, UsageError
from joulebook.ingest.mqtt.limits import ListenerLimits
from joulebook.settings import Settings, listed

_log = logging.getLogger(__name__)

# The total rate of all bridges, in rates of one.
_TOTAL_OF_ONE = 10

# Files and connections that the service needs besides those of bridges: pages, the database.
_OTHER_DESCRIPTORS = 1024


def listener_limits(settings: Settings) -> ListenerLimits:
    """Return the limits of the door for bridges; those that are no settings have their defaults."""
    return ListenerLimits(
        connections=settings.mqtt_connections,
        address_connections=settings.mqtt_connections_per_address,
        address_connects_at_once=settings.mqtt_connections_per_address,
        messages_per_s=settings.mqtt_messages_per_s,
        balancers=tuple(listed(settings.trusted_proxies)),
        total_messages_per_s=_TOTAL_OF_ONE * settings.mqtt_messages_per_s,
    )


def make_room_for_connections(settings: Settings) -> None:
    """Let this process have a descriptor for each connection, where the system allows it."""
    needed = settings.mqtt_connections + _OTHER_DESCRIPTORS
    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    if soft != resource.RLIM_INFINITY and soft < needed:
        wanted = needed if hard == resource.RLIM_INFINITY else min(needed, hard)
        with contextlib.suppress(OSError, ValueError):
            resource.setrlimit(resource.RLIMIT_NOFILE, (wanted, hard))
        soft = resource.getrlimit(resource.RLIMIT_NOFILE)[0]
        if soft < needed:
            _log.warning(
                "the system allows %d open files, and %d connections of bridges need %d: "
                "raise LimitNOFILE, or lower mqtt_connections",
                soft,
                settings.mqtt_connections,
                needed,
            )


def listening_socket(host: str, port: int) -> socket.socket:
    """Return a socket for the pages, or say plainly why there is none."""
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    try:
        listening = socket.create_server((host, port), family=family, backlog=256)
    except OSError as error:
        raise UnavailableError(
            f"cannot listen for the pages: {error.strerror or error}",
            where=f"{host}:{port}",
            expected="an address of this machine and a free port",
            next_step="choose another with --port, or stop what uses it",
        ) from error
    # asyncio does it for sockets of its own making only; without it each answer waits 40 ms for
    # the browser's delayed acknowledgement. Connections inherit it from the listening socket.
    listening.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
    return listening


def tls_context(settings: Settings) -> ssl.SSLContext | None:
    """Return what the door for bridges shows of itself, and asks of them, over TLS.

    Raises
    ------
    UsageError
        If a file is missing or none of what it should be.
    """
    if not settings.tls_certificate:
        return None
    context = ssl.create_default_context(ssl.Purpose.CLIENT_AUTH)
    try:
        context.load_cert_chain(settings.tls_certificate, settings.tls_key)
    except OSError as error:  # those of TLS are among them
        raise UsageError(
            f"cannot use the TLS certificate: {error}",
            where=f"{settings.tls_certificate}, {settings.tls_key}",
            expected="a PEM certificate chain and its unencrypted key",
            next_step="check both paths and that this user may read them",
        ) from error
    if settings.tls_client_ca:
        context.verify_mode = ssl.CERT_REQUIRED
        try:
            context.load_verify_locations(settings.tls_client_ca)
        except OSError as error:
            raise UsageError(
                f"cannot use the authority of the bridges' certificates: {error}",
                where=settings.tls_client_ca,
                expected="a PEM file with the certificate that signed those of the bridges",
                next_step="check the path and that this user may read it",
            ) from error
    return context
