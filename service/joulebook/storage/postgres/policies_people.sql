-- The wall around people, where they are signed in and the links that let them in, as of schema
-- 0018. A person may belong to several tenants or to none, so no column names whose a row is:
-- beside what policies.sql reads, a narrowed connection says as whom it asks.

-- The accounts whose own it is: of who asks, or has just signed in.
CREATE FUNCTION acting_people() RETURNS SETOF BIGINT LANGUAGE SQL STABLE ROWS 2 AS $$
    SELECT unnest(coalesce(nullif(current_setting('joulebook.people', TRUE), ''), '{}')::BIGINT[])
$$;

-- The organisations whose people he looks after: those that he owns.
CREATE FUNCTION looked_after() RETURNS SETOF BIGINT LANGUAGE SQL STABLE ROWS 2 AS $$
    SELECT unnest(
        coalesce(nullif(current_setting('joulebook.looked_after', TRUE), ''), '{}')::BIGINT[]
    )
$$;

-- The hash of the welcome link that was presented.
CREATE FUNCTION presented_welcome() RETURNS BYTEA LANGUAGE SQL STABLE AS $$
    SELECT decode(nullif(current_setting('joulebook.welcome', TRUE), ''), 'hex')
$$;

-- All that follow look past the wall, for it cannot stand on itself; they tell numbers of rows, and
-- yes or no.

-- Who may do something in the organisations that are looked after.
CREATE FUNCTION known_people() RETURNS SETOF BIGINT LANGUAGE SQL STABLE ROWS 50 AS $$
    SELECT person_id
    FROM organisation_roles
    WHERE organisation_id IN (SELECT * FROM looked_after())
    UNION
    SELECT person_id
    FROM roles
    JOIN sites ON sites.id = site_id
    WHERE organisation_id IN (SELECT * FROM looked_after())
$$;

-- And who may do nothing elsewhere: with power over such an account nobody gets further than he is.
CREATE FUNCTION kept_people() RETURNS SETOF BIGINT LANGUAGE SQL STABLE ROWS 50 AS $$
    SELECT id
    FROM people
    WHERE everywhere IS NULL
        AND id IN (SELECT * FROM known_people())
        AND NOT EXISTS (
            SELECT 1
            FROM organisation_roles
            WHERE person_id = people.id
                AND organisation_id NOT IN (SELECT * FROM looked_after())
        )
        AND NOT EXISTS (
            SELECT 1
            FROM roles
            JOIN sites ON sites.id = site_id
            WHERE person_id = people.id
                AND (
                    organisation_id IS NULL
                    OR organisation_id NOT IN (SELECT * FROM looked_after())
                )
        )
$$;

-- Whose name was given to sign in.
CREATE FUNCTION person_signing_in() RETURNS BIGINT LANGUAGE SQL STABLE AS $$
    SELECT id FROM people WHERE name_folded = current_setting('joulebook.signing_in', TRUE)
$$;

-- Whom the link that was presented lets in.
CREATE FUNCTION person_welcomed() RETURNS BIGINT LANGUAGE SQL STABLE AS $$
    SELECT person_id FROM welcomes WHERE secret_sha256 = presented_welcome()
$$;

CREATE FUNCTION has_owner() RETURNS BOOLEAN LANGUAGE SQL STABLE AS $$
    SELECT EXISTS (SELECT 1 FROM people WHERE everywhere = 'owner' AND password IS NOT NULL)
$$;

-- Whether the link that was presented makes the first owner.
CREATE FUNCTION is_founding() RETURNS BOOLEAN LANGUAGE SQL STABLE AS $$
    SELECT NOT has_owner() AND EXISTS (
        SELECT 1 FROM welcomes WHERE secret_sha256 = presented_welcome() AND person_id IS NULL
    )
$$;

DO $$
DECLARE
    each TEXT;
BEGIN
    FOR each IN
        SELECT unnest(ARRAY[
            'known_people()', 'kept_people()', 'person_signing_in()', 'person_welcomed()',
            'has_owner()', 'is_founding()'
        ])
    LOOP
        -- Tables of that name that somebody made for himself must not be taken for ours.
        EXECUTE format(
            'ALTER FUNCTION %s SECURITY DEFINER SET search_path = %I, pg_temp',
            each, current_schema()
        );
        EXECUTE format('REVOKE EXECUTE ON FUNCTION %s FROM PUBLIC', each);
        EXECUTE format('GRANT EXECUTE ON FUNCTION %s TO joulebook_pages', each);
    END LOOP;
END
$$;

ALTER TABLE people ENABLE ROW LEVEL SECURITY;
ALTER TABLE sessions ENABLE ROW LEVEL SECURITY;
ALTER TABLE welcomes ENABLE ROW LEVEL SECURITY;

-- What no page does nobody may: delete people, change a name or what is done everywhere, read the
-- hash of a session.
REVOKE INSERT, UPDATE, DELETE ON people FROM joulebook_pages;
GRANT INSERT (name, name_folded, everywhere, made_ms), UPDATE (password, disabled_ms)
ON people TO joulebook_pages;
REVOKE SELECT, UPDATE ON sessions FROM joulebook_pages;
GRANT SELECT (id, person_id, address, agent, made_ms, seen_ms) ON sessions TO joulebook_pages;
REVOKE UPDATE ON welcomes FROM joulebook_pages;

-- Functions that depend on no row are asked once a statement: hence the SELECT around each.
CREATE POLICY pages ON people TO joulebook_pages
USING (id IN (SELECT * FROM acting_people()));

CREATE POLICY pages_see ON people FOR SELECT TO joulebook_pages
USING (
    id IN (SELECT * FROM known_people())
    OR id = (SELECT person_signing_in())
    OR id = (SELECT person_welcomed())
    OR (everywhere = 'owner' AND (SELECT is_founding()))
);

CREATE POLICY pages_change ON people FOR UPDATE TO joulebook_pages
USING (
    id IN (SELECT * FROM kept_people())
    OR id = (SELECT person_welcomed())
    OR (everywhere = 'owner' AND (SELECT is_founding()))
);

CREATE POLICY pages_add ON people FOR INSERT TO joulebook_pages
WITH CHECK (
    (everywhere IS NULL AND EXISTS (SELECT * FROM looked_after()))
    OR (everywhere = 'owner' AND (SELECT is_founding()))
);

CREATE POLICY pages ON sessions TO joulebook_pages
USING (person_id IN (SELECT * FROM acting_people()));

CREATE POLICY pages_see ON sessions FOR SELECT TO joulebook_pages
USING (
    person_id IN (SELECT * FROM kept_people())
    OR person_id = (SELECT person_signing_in())
    OR person_id = (SELECT person_welcomed())
);

CREATE POLICY pages_end ON sessions FOR DELETE TO joulebook_pages
USING (
    person_id IN (SELECT * FROM kept_people())
    OR person_id = (SELECT person_welcomed())
);

CREATE POLICY pages ON welcomes TO joulebook_pages
USING (person_id IN (SELECT * FROM kept_people()));

CREATE POLICY pages_see ON welcomes FOR SELECT TO joulebook_pages
USING (secret_sha256 = (SELECT presented_welcome()));

CREATE POLICY pages_use ON welcomes FOR DELETE TO joulebook_pages
USING (secret_sha256 = (SELECT presented_welcome()));
