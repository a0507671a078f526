"""The second wall: rows of other tenants are kept from whoever is narrowed by the server itself.

Row-level security does not bind the owner of a table, nor a superuser; so a narrowed connection
takes a role that is neither. Workers and the ingest stay what they are, and pay nothing.
"""

from importlib import resources
from typing import Any

import sqlalchemy

from joulebook.storage.faults import StorageUnavailableError
from joulebook.storage.narrowing import Narrowing

#: One for all databases of a server: what it may do is granted in each.
ROLE = "joulebook_pages"

#: Says whose rows are seen: by this connection until it is reset, or by this transaction alone.
NARROW = """
    SELECT set_config('joulebook.sites', %(sites)s, %(local)s),
        set_config('joulebook.organisations', %(organisations)s, %(local)s),
        set_config('joulebook.people', %(people)s, %(local)s),
        set_config('joulebook.looked_after', %(looked_after)s, %(local)s),
        set_config('joulebook.signing_in', %(signing_in)s, %(local)s),
        set_config('joulebook.welcome', %(welcome)s, %(local)s),
        set_config('role', 'joulebook_pages', %(local)s)
"""
#: Takes it back, with all else that was set; a role is none of what RESET ALL resets.
WIDEN = "RESET ROLE; RESET ALL"


def values_of(narrowing: Narrowing, *, local: bool) -> dict[str, Any]:
    """Return the values for `NARROW`."""
    return {
        "sites": _listed(narrowing.sites),
        "organisations": _listed(narrowing.organisations),
        "people": _listed(narrowing.people),
        "looked_after": _listed(narrowing.looked_after),
        "signing_in": narrowing.signing_in,
        "welcome": narrowing.welcome.hex(),
        "local": local,
    }


def build_wall(connection: sqlalchemy.Connection) -> None:
    """Make the role and the policies, in the caller's transaction.

    Raises
    ------
    StorageUnavailableError
        If the role is not there and the database's user may not make it.
    """
    _make_role(connection)
    _run(connection, "policies.sql")


def build_wall_around_people(connection: sqlalchemy.Connection) -> None:
    """Make the policies of people, sessions and welcome links, in the caller's transaction."""
    _run(connection, "policies_people.sql")


def _run(connection: sqlalchemy.Connection, name: str) -> None:
    text = resources.files("joulebook.storage.postgres").joinpath(name).read_text(encoding="utf-8")
    # Percent signs in it are none of the driver's.
    connection.exec_driver_sql(text.replace("%", "%%"))


def _make_role(connection: sqlalchemy.Connection) -> None:
    user, may_make, there = connection.exec_driver_sql(
        f"""
        SELECT current_user::text, rolsuper OR rolcreaterole,
            EXISTS (SELECT 1 FROM pg_roles WHERE rolname = '{ROLE}')
        FROM pg_roles
        WHERE rolname = current_user
        """  # noqa: S608 -- a name of ours
    ).one()
    if there and _may_take(connection):
        return
    if not may_make:
        raise StorageUnavailableError(
            f"the server has no role {ROLE} that {user} may take, and {user} may not make it",
            where="database server",
            expected=f"a role {ROLE}, by which tenants are kept apart",
            next_step=f"as the server's superuser: "
            f'{"" if there else f"CREATE ROLE {ROLE} NOLOGIN; "}GRANT {ROLE} TO "{user}";',
        )
    if not there:
        connection.exec_driver_sql(f"CREATE ROLE {ROLE} NOLOGIN")
    connection.exec_driver_sql(f"GRANT {ROLE} TO CURRENT_USER")


def _may_take(connection: sqlalchemy.Connection) -> bool:
    found = connection.exec_driver_sql(f"SELECT pg_has_role('{ROLE}', 'MEMBER')")
    return bool(found.scalar_one())


def _listed(numbers: frozenset[int]) -> str:
    return "{" + ",".join(map(str, sorted(numbers))) + "}"
