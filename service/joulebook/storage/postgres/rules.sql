-- What a file's triggers do, as of schema 0014.

-- What was computed before a day whose readings were let go stays as it is.
CREATE FUNCTION is_final_day(asked_site BIGINT, asked TEXT) RETURNS BOOLEAN LANGUAGE SQL STABLE AS $$
    SELECT coalesce(asked < (SELECT day FROM final_before WHERE site_id = asked_site), FALSE)
$$;

CREATE FUNCTION is_final_instant(asked_device BIGINT, asked_ms BIGINT) RETURNS BOOLEAN
LANGUAGE SQL STABLE AS $$
    SELECT coalesce(
        asked_ms < (
            SELECT final_before.start_ms
            FROM final_before
            JOIN devices ON devices.site_id = final_before.site_id
            WHERE devices.id = asked_device
        ),
        FALSE
    )
$$;

CREATE FUNCTION pass_over() RETURNS TRIGGER LANGUAGE plpgsql AS $$ BEGIN RETURN NULL; END $$;

CREATE TRIGGER final_dirty_days_insert BEFORE INSERT ON dirty_days
FOR EACH ROW WHEN (is_final_day(NEW.site_id, NEW.day)) EXECUTE FUNCTION pass_over();

CREATE TRIGGER final_day_results_insert BEFORE INSERT ON day_results
FOR EACH ROW WHEN (is_final_day(NEW.site_id, NEW.day)) EXECUTE FUNCTION pass_over();

CREATE TRIGGER final_day_results_update_or_delete BEFORE UPDATE OR DELETE ON day_results
FOR EACH ROW WHEN (is_final_day(OLD.site_id, OLD.day)) EXECUTE FUNCTION pass_over();

CREATE TRIGGER final_quarters_insert BEFORE INSERT ON quarters
FOR EACH ROW WHEN (is_final_instant(NEW.device_id, NEW.start_ms)) EXECUTE FUNCTION pass_over();

CREATE TRIGGER final_quarters_update_or_delete BEFORE UPDATE OR DELETE ON quarters
FOR EACH ROW WHEN (is_final_instant(OLD.device_id, OLD.start_ms)) EXECUTE FUNCTION pass_over();

CREATE TRIGGER final_dirty_quarters_insert BEFORE INSERT ON dirty_quarters
FOR EACH ROW WHEN (is_final_instant(NEW.device_id, NEW.day * 86400000))
EXECUTE FUNCTION pass_over();

CREATE FUNCTION refuse_edit() RETURNS TRIGGER LANGUAGE plpgsql AS $$
BEGIN
    RAISE EXCEPTION 'a sign-off is never edited' USING ERRCODE = 'integrity_constraint_violation';
END
$$;

CREATE TRIGGER sign_offs_stay_as_they_are BEFORE UPDATE ON sign_offs
FOR EACH ROW EXECUTE FUNCTION refuse_edit();

-- How much is set aside, of whom and why: counted along, for counting it anew would read it all.
CREATE FUNCTION quarantine_bytes(one quarantine) RETURNS BIGINT LANGUAGE SQL IMMUTABLE AS $$
    SELECT (
        octet_length(one.payload) + octet_length(one.topic) + octet_length(one.source)
        + octet_length(one.detail)
    )::BIGINT
$$;

CREATE FUNCTION note_quarantine() RETURNS TRIGGER LANGUAGE plpgsql AS $$
BEGIN
    IF TG_OP = 'INSERT' THEN
        INSERT INTO quarantine_sizes AS sizes (owner, reason, kept, kept_bytes)
        VALUES (coalesce(NEW.site_id, 0), NEW.reason, 1, quarantine_bytes(NEW))
        ON CONFLICT (owner, reason) DO UPDATE
        SET kept = sizes.kept + 1, kept_bytes = sizes.kept_bytes + excluded.kept_bytes;
    ELSE
        UPDATE quarantine_sizes
        SET kept = kept - 1,
            kept_bytes = kept_bytes - quarantine_bytes(OLD),
            let_go = let_go + 1
        WHERE owner = coalesce(OLD.site_id, 0) AND reason = OLD.reason;
    END IF;
    RETURN NULL;
END
$$;

CREATE TRIGGER quarantine_changes AFTER INSERT OR DELETE ON quarantine
FOR EACH ROW EXECUTE FUNCTION note_quarantine();
