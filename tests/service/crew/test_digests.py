"""Equal results have equal digests, and others have not."""

import hashlib
from contextlib import closing
from datetime import date
from pathlib import Path

from joulebook.crew.digests import digest_of
from joulebook.storage.catalogue import site_named
from joulebook.storage.days import save_day
from joulebook.storage.record_results import save_record_result
from joulebook.summaries.site_records import encoded_document
from tests.helpers.crews import some_homes

# FIPS 180-4: the digest of no bytes, as in every list of test vectors.
OF_NOTHING = "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"


def test_it_is_taken_of_what_is_stored_and_not_of_when(tmp_path: Path) -> None:
    database = some_homes(tmp_path, ())
    site = site_named(database, "studio")
    assert digest_of(database, site) == OF_NOTHING

    def with_wear(computed_ms: int, efc: float) -> str:
        document = {"efc": efc, "record": {"computed_ms": computed_ms}}
        with closing(database.connect()) as connection:
            save_record_result(
                *(connection, site.id, "wear", "record-9", encoded_document(document)),
                mark=0,
                computed_ms=computed_ms,
            )
        return digest_of(database, site)

    # By hand: a part's name, method and length on a line, then the part.
    plain = b'{"efc":1.5,"record":{}}'
    assert with_wear(5, 1.5) == hashlib.sha256(b"wear record-9 23\n" + plain).hexdigest()
    assert with_wear(6, 1.5) == with_wear(5, 1.5) != with_wear(5, 1.25)
    before = digest_of(database, site)
    with closing(database.connect()) as connection:
        save_day(
            connection, site.id, date(2026, 6, 3), "day-1", encoded_document({"efc": 1}), None, 7
        )
    assert digest_of(database, site) != before
    database.close()
