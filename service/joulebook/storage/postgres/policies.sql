-- The wall between tenants, as of schema 0016. Whoever is narrowed takes the role joulebook_pages
-- and sees rows of the sites and organisations that his connection names, whatever he asks for.

CREATE FUNCTION seen_sites() RETURNS SETOF BIGINT LANGUAGE SQL STABLE ROWS 10 AS $$
    SELECT unnest(coalesce(nullif(current_setting('joulebook.sites', TRUE), ''), '{}')::BIGINT[])
$$;

CREATE FUNCTION seen_organisations() RETURNS SETOF BIGINT LANGUAGE SQL STABLE ROWS 10 AS $$
    SELECT unnest(
        coalesce(nullif(current_setting('joulebook.organisations', TRUE), ''), '{}')::BIGINT[]
    )
$$;

CREATE FUNCTION seen_devices() RETURNS SETOF BIGINT LANGUAGE SQL STABLE ROWS 50 AS $$
    SELECT id FROM devices WHERE site_id IN (SELECT * FROM seen_sites())
$$;

-- Builds it around one table; for those of later migrations too.
CREATE FUNCTION build_wall(around TEXT, condition TEXT) RETURNS VOID LANGUAGE plpgsql AS $$
BEGIN
    EXECUTE format('ALTER TABLE %I ENABLE ROW LEVEL SECURITY', around);
    EXECUTE format('CREATE POLICY pages ON %I TO joulebook_pages USING (%s)', around, condition);
END
$$;

-- What is of nobody in particular stays open, for handlers to guard: people, sessions, welcomes.
-- Parts of blocks are reached through the whole, and the schema's number is only read.
DO $$
DECLARE
    each TEXT;
BEGIN
    EXECUTE format('GRANT USAGE ON SCHEMA %I TO joulebook_pages', current_schema());
    FOR each IN
        SELECT tablename FROM pg_tables
        WHERE schemaname = current_schema() AND tablename NOT LIKE 'blocks\_%'
            AND tablename NOT IN ('alembic_version', 'audit')
    LOOP
        EXECUTE format('GRANT SELECT, INSERT, UPDATE, DELETE ON %I TO joulebook_pages', each);
    END LOOP;
    GRANT SELECT ON alembic_version TO joulebook_pages;
    GRANT SELECT, INSERT ON audit TO joulebook_pages;
    EXECUTE format('GRANT USAGE ON ALL SEQUENCES IN SCHEMA %I TO joulebook_pages', current_schema());

    PERFORM build_wall('sites',
        'id IN (SELECT * FROM seen_sites())
        OR organisation_id IN (SELECT * FROM seen_organisations())');
    FOR each IN
        SELECT unnest(ARRAY[
            'devices', 'dirty_days', 'day_results', 'final_before', 'record_marks',
            'record_results', 'zone_rules', 'seal_links', 'quarantine', 'corrections', 'events',
            'deep_tests', 'tariffs', 'sign_offs', 'roles', 'shares', 'alert_watches',
            'alert_episodes', 'alert_rules', 'alert_settings', 'alert_channels', 'home_lines'
        ])
    LOOP
        PERFORM build_wall(each, 'site_id IN (SELECT * FROM seen_sites())');
    END LOOP;
    PERFORM build_wall('quarantine_sizes', 'owner IN (SELECT * FROM seen_sites())');
    FOR each IN
        SELECT unnest(ARRAY[
            'readings', 'hot_days', 'blocks', 'quarters', 'dirty_quarters'
        ])
    LOOP
        PERFORM build_wall(each, 'device_id IN (SELECT * FROM seen_devices())');
    END LOOP;
    -- Of what is looked up row by row; the wall around the parent holds in here too.
    PERFORM build_wall('series',
        'EXISTS (SELECT 1 FROM devices WHERE devices.id = device_id)');
    PERFORM build_wall('newest',
        'EXISTS (SELECT 1 FROM series WHERE series.id = series_id)');
    PERFORM build_wall('alert_deliveries',
        'channel_id IN (
            SELECT id FROM alert_channels WHERE site_id IN (SELECT * FROM seen_sites())
        )');
    PERFORM build_wall('organisations', 'id IN (SELECT * FROM seen_organisations())');
    PERFORM build_wall('organisation_roles',
        'organisation_id IN (SELECT * FROM seen_organisations())');
    PERFORM build_wall('tokens',
        'site_id IN (SELECT * FROM seen_sites())
        OR organisation_id IN (SELECT * FROM seen_organisations())');
    -- Everybody adds lines; nobody changes any.
    PERFORM build_wall('audit',
        'organisation_id IN (SELECT * FROM seen_organisations())
        OR site IN (SELECT name FROM sites WHERE id IN (SELECT * FROM seen_sites()))');
    CREATE POLICY pages_add ON audit FOR INSERT TO joulebook_pages WITH CHECK (TRUE);
END
$$;
