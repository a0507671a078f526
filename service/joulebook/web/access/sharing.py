"""Links to one page: which pages may be shared, and what such a page may fetch.

A shared page is served in place, under the link's own address. What it fetches afterwards, its
figures and newest readings, carries a seal: good for exactly that address and that link, as long
as the link is, and until the service starts anew.
"""

import hmac
import re
import secrets
from urllib.parse import parse_qsl, urlencode, urlsplit

from joulebook.storage.shares import Share
from joulebook.web.access.actor import Actor
from joulebook.web.access.who import asked

#: Where links lead that share a page.
SHARED = "/shared/"

_SEAL = "seal"
#: What no seal is about: itself, and what the page's script adds to the address of a figure.
_BESIDE = frozenset({_SEAL, "scheme", "width"})
#: The pages that tell of a site; those that change it, or show what was set aside, do not.
_PAGES = re.compile(
    r"/sites/[a-z0-9-]{1,63}"
    r"(/(days/\d{4}-\d\d-\d\d|months|checks|carry|efficiency|wear|warranty|money|letter|plan))?"
)


def can_be_shared(address: str) -> bool:
    """Tell whether an address is that of a page which may be shared."""
    return _PAGES.fullmatch(urlsplit(address).path) is not None


def actor_of_share(share: Share) -> Actor:
    """Return who holds a link: somebody who sees one page of its site."""
    return Actor(name="a link", kind="share", at={share.site_id: "viewer"}, share_id=share.id)


class Seals:
    """Seals addresses for shared pages with a key that nobody is told."""

    def __init__(self) -> None:
        self._key = secrets.token_bytes(32)

    def sealed(self, address: str) -> str:
        """Return an address for the page under way to fetch: sealed if that is a shared one."""
        share_id = asked.get().actor.share_id
        if share_id is None:
            return address
        mark = "&" if "?" in address else "?"
        return f"{address}{mark}{_SEAL}={share_id}.{self._seal(share_id, address)}"

    def share_of(self, address: str) -> int | None:
        """Return the link for whose page an address was sealed, or ``None``."""
        given = dict(parse_qsl(urlsplit(address).query)).get(_SEAL, "")
        number, _, seal = given.partition(".")
        if not (seal.isascii() and number.isascii() and number.isdecimal() and len(number) < 16):
            return None
        good = hmac.compare_digest(self._seal(int(number), address), seal)
        return int(number) if good else None

    def _seal(self, share_id: int, address: str) -> str:
        split = urlsplit(address)
        query = urlencode([each for each in parse_qsl(split.query) if each[0] not in _BESIDE])
        message = f"{share_id} {split.path}?{query}"
        return hmac.new(self._key, message.encode(), "sha256").hexdigest()[:32]
