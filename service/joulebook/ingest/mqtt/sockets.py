"""Sockets that listen, one for each address that a host's name stands for."""

import asyncio
import socket
from contextlib import ExitStack

# As many bridges as may come back at once after a power cut; the system may allow fewer.
_BACKLOG = 1024

# Answers are short, and readings are small: more than this of the system's memory would only
# serve clients that do not read their answers, or that are not read just now. [byte]
_SEND_BUFFER, _RECEIVE_BUFFER = 64 * 1024, 256 * 1024

# A 3.1.1 client may ask for no keep alive; its death is then found by TCP, which asks after so
# long a silence, so often, at such intervals. [s, s, 1] Where a system has no such options, its
# own apply.
_TCP_KEEPALIVE = (("TCP_KEEPIDLE", 120), ("TCP_KEEPINTVL", 30), ("TCP_KEEPCNT", 4))


async def listening_sockets(host: str, port: int) -> list[socket.socket]:
    """Return sockets that listen on a port of a host; an empty name stands for all addresses.

    Raises
    ------
    OSError
        If an address cannot be had.
    """
    found = await asyncio.get_running_loop().getaddrinfo(
        host or None, port, type=socket.SOCK_STREAM, flags=socket.AI_PASSIVE
    )
    with ExitStack() as opened:
        sockets = []
        for family, kind, protocol, _, address in dict.fromkeys(found):
            sock = opened.enter_context(socket.socket(family, kind, protocol))
            sock.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            if family == socket.AF_INET6:  # IPv4 has a socket of its own
                sock.setsockopt(socket.IPPROTO_IPV6, socket.IPV6_V6ONLY, 1)
            sock.bind(address)
            sock.listen(_BACKLOG)
            sock.setblocking(False)  # noqa: FBT003 - the system's name for it
            sockets.append(sock)
        opened.pop_all()
    return sockets


def set_options(sock: socket.socket) -> None:
    """Bound what the system keeps for a client, and let it ask whether it is still there."""
    sock.setsockopt(socket.SOL_SOCKET, socket.SO_SNDBUF, _SEND_BUFFER)
    sock.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, _RECEIVE_BUFFER)
    sock.setsockopt(socket.SOL_SOCKET, socket.SO_KEEPALIVE, 1)
    for option, value in _TCP_KEEPALIVE:
        number = getattr(socket, option, None)
        if number is not None:
            sock.setsockopt(socket.IPPROTO_TCP, number, value)
