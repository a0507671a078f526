import pytest

from joulebook.errors import UsageError
from joulebook.storage.catalogue import add_site
from joulebook.storage.database import Connection, Database
from joulebook.storage.records import Site
from joulebook.storage.shares import (
    LONGEST_MS,
    Share,
    add_share,
    revoke_share,
    share_numbered,
    share_of,
    shares_of,
)

PAGE = "/sites/studio/wear"


def shared(connection: Connection, site: Site, *, lasts_ms: int = 100) -> str:
    return add_share(connection, site, PAGE, made_by="Ada", now_ms=10, lasts_ms=lasts_ms)


def test_a_link_leads_to_its_page_until_it_ends(connection: Connection, site: Site) -> None:
    secret = shared(connection, site)
    share = Share(id=1, site_id=site.id, page=PAGE, made_by="Ada", made_ms=10, ends_ms=110)
    assert share_of(connection, secret, now_ms=109) == share
    assert share_numbered(connection, 1, now_ms=109) == share
    assert share_of(connection, secret, now_ms=110) is None
    assert share_numbered(connection, 1, now_ms=110) is None
    assert share_of(connection, secret[:-1], now_ms=11) is None
    assert shares_of(connection, site.id) == [share]


@pytest.mark.parametrize("lasts_ms", [0, -1, LONGEST_MS + 1])
def test_no_link_is_good_for_ever(connection: Connection, site: Site, lasts_ms: int) -> None:
    with pytest.raises(UsageError, match="for so long"):
        shared(connection, site, lasts_ms=lasts_ms)


def test_a_revoked_link_leads_nowhere(
    connection: Connection, site: Site, database: Database
) -> None:
    secret = shared(connection, site)
    annexe = add_site(database, "annexe", "Europe/Lisbon")
    with pytest.raises(UsageError, match="has no link 1"):
        revoke_share(connection, annexe, 1, now_ms=20)
    assert revoke_share(connection, site, 1, now_ms=20).page == PAGE
    assert share_of(connection, secret, now_ms=21) is None
    assert shares_of(connection, site.id)[0].revoked_ms == 20
    with pytest.raises(UsageError, match="has no link 1"):
        revoke_share(connection, site, 1, now_ms=30)
