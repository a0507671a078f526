"""What somebody stood for on a day: written once, never edited, and hashed as it is kept."""

import hashlib
import hmac
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal, get_args

import msgspec

from joulebook.errors import UsageError
from joulebook.storage.connections import Connection, joined
from joulebook.storage.faults import names_faults
from joulebook.storage.records import Site

Role = Literal["owner", "installer"]
ROLES: tuple[Role, ...] = get_args(Role)

LONGEST_NAME = 80
#: A document longer than this is none of ours. [character]
_LONGEST_DOCUMENT = 2_000_000


@dataclass(frozen=True, slots=True, kw_only=True)
class SignOff:
    """One sign-off.

    Attributes
    ----------
    id : int
        Its number.
    at_ms : int
        When it was signed. [ms, UTC epoch]
    who : str
        Who was signed in then, as the audit log calls him.
    name, role : str, and Role
        Who signed, as he wrote it.
    document : str
        JSON, the very characters that were hashed: what was signed, name and role among it.
    sha256 : str
        Of the document's UTF-8 bytes, as 64 hexadecimal digits.
    """

    id: int
    at_ms: int
    who: str
    name: str
    role: Role
    document: str
    sha256: str

    @property
    def is_whole(self) -> bool:
        """Whether the document is, to the character, the one that was signed."""
        return hmac.compare_digest(_hash(self.document), self.sha256)

    def content(self) -> dict[str, Any]:
        """Return the document as Python has it."""
        found: dict[str, Any] = msgspec.json.decode(self.document)
        return found


@names_faults
def add_sign_off(
    connection: Connection,
    site: Site,
    content: Mapping[str, Any],
    *,
    at_ms: int,
    who: str,
    name: str,
    role: Role,
) -> SignOff:
    """Keep a sign-off for good.

    Parameters
    ----------
    content : mapping
        What is signed. The document also says ``signed``: instant, name and role.
    at_ms : int
        [ms, UTC epoch]

    Raises
    ------
    UsageError
        If nobody signs, or the role is unknown.
    """
    if not (0 < len(name.strip()) <= LONGEST_NAME and name.isprintable()):
        raise _refused("nobody signs", "name", f"a name of 1 to {LONGEST_NAME} characters")
    if role not in ROLES:
        raise _refused(f"there is no role {role!r}", "role", "one of " + ", ".join(ROLES))
    signed = {"at_ms": at_ms, "name": name, "role": role}
    # Keys in order: the same content is the same document, wherever it is written anew.
    document = msgspec.json.encode({**content, "signed": signed}, order="sorted").decode()
    if len(document) > _LONGEST_DOCUMENT:
        raise _refused("the document is too long", "document", f"{_LONGEST_DOCUMENT} characters")
    sha256 = _hash(document)
    with joined(connection):
        (number,) = connection.execute(
            """
            INSERT INTO sign_offs (site_id, at_ms, who, name, role, document, sha256)
            VALUES (?, ?, ?, ?, ?, ?, ?)
            RETURNING id
            """,
            (site.id, at_ms, who, name, role, document, sha256),
        ).fetchone()
    return SignOff(
        id=int(number),
        at_ms=at_ms,
        who=who,
        name=name,
        role=role,
        document=document,
        sha256=sha256,
    )


@names_faults
def keep_sign_off(connection: Connection, site: Site, signed: SignOff) -> bool:
    """Keep a sign-off that was signed elsewhere, to the character; return whether it was new.

    Raises
    ------
    UsageError
        If its document is not the one that was signed.
    """
    if not (signed.is_whole and _says_who(signed)):
        raise _refused(
            f"sign-off {signed.id} is not as it was signed",
            "sign_offs",
            "a document with its own SHA-256, which says when, by whom and in which role",
        )
    with joined(connection):
        if signed.sha256 in {each.sha256 for each in sign_offs_of(connection, site.id)}:
            return False
        connection.execute(
            """
            INSERT INTO sign_offs (site_id, at_ms, who, name, role, document, sha256)
            VALUES (?, ?, ?, ?, ?, ?, ?)
            """,
            (
                *(site.id, signed.at_ms, signed.who, signed.name, signed.role),
                *(signed.document, signed.sha256),
            ),
        )
    return True


@names_faults
def sign_offs_of(connection: Connection, site_id: int) -> list[SignOff]:
    """Return a site's sign-offs in the order in which they were signed."""
    rows = connection.execute(
        """
        SELECT id, at_ms, who, name, role, document, sha256
        FROM sign_offs
        WHERE site_id = ?
        ORDER BY at_ms, id
        """,
        (site_id,),
    )
    return [
        SignOff(
            id=number,
            at_ms=at_ms,
            who=who,
            name=name,
            role=role,
            document=document,
            sha256=sha256,
        )
        for number, at_ms, who, name, role, document, sha256 in rows
    ]


@names_faults
def sign_off_of(connection: Connection, site: Site, number: int) -> SignOff:
    """Return one of a site's sign-offs.

    Raises
    ------
    UsageError
        If the site has none of that number.
    """
    there = {each.id: each for each in sign_offs_of(connection, site.id)}
    if number not in there:
        raise UsageError(
            f"site {site.name} has no sign-off {number}",
            where="sign-off",
            expected="one of " + ", ".join(map(str, there)) if there else "a sign-off",
            next_step="list them with `joulebook sign-off list`",
        )
    return there[number]


def _says_who(signed: SignOff) -> bool:
    """Return whether the document says the same of its signing as stands beside it."""
    said = {"at_ms": signed.at_ms, "name": signed.name, "role": signed.role}
    try:
        return bool(signed.content()["signed"] == said)
    except (msgspec.DecodeError, LookupError, TypeError):
        return False


def _hash(document: str) -> str:
    return hashlib.sha256(document.encode()).hexdigest()


def _refused(what: str, where: str, expected: str) -> UsageError:
    return UsageError(
        what, where=where, expected=expected, next_step="correct it; nothing was signed"
    )
