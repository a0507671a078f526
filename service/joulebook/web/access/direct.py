"""Does a request come directly from this very machine?"""

from starlette.requests import HTTPConnection

from joulebook.ingest.pace import is_this_machine

#: Whoever passes a request on says so with one of these (RFC 7239, and what came before it).
_PASSED_ON = ("forwarded", "via", "x-real-ip")


def is_direct(request: HTTPConnection) -> bool:
    """Tell whether somebody at this machine asks, and nobody passed the request on.

    The Host header counts too: a page from elsewhere that has its name resolved to this machine
    (DNS rebinding) asks for its own name.
    """
    if request.client is None or not is_this_machine(request.client.host):
        return False
    if any(name in _PASSED_ON or name.startswith("x-forwarded") for name in request.headers):
        return False
    hosts = request.headers.getlist("host")
    return len(hosts) == 1 and _is_own_name(hosts[0])


def _is_own_name(host: str) -> bool:
    name = host.rpartition(":")[0] if host.rpartition(":")[2].isdecimal() else host
    return name.lower() == "localhost" or is_this_machine(name.removeprefix("[").removesuffix("]"))
