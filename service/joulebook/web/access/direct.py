"""Does a request come directly from this very machine?"""

from ipaddress import IPv6Address, ip_address

from starlette.requests import HTTPConnection

#: Whoever passes a request on says so with one of these (RFC 7239, and what came before it).
_PASSED_ON = ("forwarded", "via", "x-real-ip")


def is_direct(request: HTTPConnection) -> bool:
    """Tell whether somebody at this machine asks, and nobody passed the request on.

    The Host header counts too: a page from elsewhere that has its name resolved to this machine
    (DNS rebinding) asks for its own name.
    """
    if request.client is None or not is_loopback(request.client.host):
        return False
    if any(name in _PASSED_ON or name.startswith("x-forwarded") for name in request.headers):
        return False
    hosts = request.headers.getlist("host")
    return len(hosts) == 1 and _is_own_name(hosts[0])


def _is_own_name(host: str) -> bool:
    name = host.rpartition(":")[0] if host.rpartition(":")[2].isdecimal() else host
    return name.lower() == "localhost" or is_loopback(name.removeprefix("[").removesuffix("]"))


def is_loopback(text: str) -> bool:
    """Tell whether an address leads to the machine itself; a name does not count as one."""
    try:
        address = ip_address(text)
    except ValueError:
        return False
    if isinstance(address, IPv6Address) and address.ipv4_mapped is not None:
        return address.ipv4_mapped.is_loopback
    return address.is_loopback
