-- Made by tests/service/storage/saved_database.py
PRAGMA application_id = 1785689452;
BEGIN TRANSACTION;
CREATE TABLE alembic_version (
	version_num VARCHAR(32) NOT NULL, 
	CONSTRAINT alembic_version_pkc PRIMARY KEY (version_num)
);
INSERT INTO "alembic_version" VALUES('0019');
CREATE TABLE alert_channels (
        id INTEGER NOT NULL PRIMARY KEY,
        site_id INTEGER NOT NULL REFERENCES sites (id),
        label VARCHAR NOT NULL,
        url VARCHAR NOT NULL,
        made_ms INTEGER NOT NULL,
        removed_ms INTEGER
    );
INSERT INTO "alert_channels" VALUES(1,1,'mail','json://a.example',1772409480000,NULL);
CREATE TABLE alert_deliveries (
        id INTEGER NOT NULL PRIMARY KEY,
        channel_id INTEGER NOT NULL REFERENCES alert_channels (id),
        about VARCHAR NOT NULL,
        title VARCHAR NOT NULL,
        body VARCHAR NOT NULL,
        html VARCHAR,
        state VARCHAR NOT NULL CHECK (
            state IN ('waiting', 'sending', 'delivered', 'unknown', 'given-up')
        ),
        made_ms INTEGER NOT NULL,
        next_ms INTEGER NOT NULL,
        tries INTEGER NOT NULL,
        trouble VARCHAR NOT NULL,
        UNIQUE (channel_id, about)
    );
INSERT INTO "alert_deliveries" VALUES(1,1,'episode 1 opened','studio: full','It is full.',NULL,'waiting',1772409480000,1772409480000,0,'');
CREATE TABLE alert_episodes (
        id INTEGER NOT NULL PRIMARY KEY,
        site_id INTEGER NOT NULL REFERENCES sites (id),
        rule VARCHAR NOT NULL,
        subject VARCHAR NOT NULL,
        opened_ms INTEGER NOT NULL,
        closed_ms INTEGER,
        value FLOAT NOT NULL,
        sentence VARCHAR NOT NULL,
        CHECK (opened_ms <= closed_ms)
    );
INSERT INTO "alert_episodes" VALUES(1,1,'disk','',1772409480000,NULL,4.0,'it is full');
CREATE TABLE alert_rules (
        site_id INTEGER NOT NULL REFERENCES sites (id),
        rule VARCHAR NOT NULL,
        is_on BOOLEAN NOT NULL,
        opens_at FLOAT,
        PRIMARY KEY (site_id, rule)
    );
INSERT INTO "alert_rules" VALUES(1,'gap',0,NULL);
CREATE TABLE alert_settings (
        site_id INTEGER NOT NULL PRIMARY KEY REFERENCES sites (id),
        quiet_from INTEGER,
        quiet_to INTEGER,
        dangerous_anyway BOOLEAN NOT NULL,
        letter_day INTEGER,
        letter_hour INTEGER,
        CHECK ((quiet_from IS NULL) = (quiet_to IS NULL)),
        CHECK ((letter_day IS NULL) = (letter_hour IS NULL))
    );
INSERT INTO "alert_settings" VALUES(1,1320,420,1,6,18);
CREATE TABLE alert_watches (
        site_id INTEGER NOT NULL REFERENCES sites (id),
        rule VARCHAR NOT NULL,
        subject VARCHAR NOT NULL,
        is_open BOOLEAN NOT NULL,
        since_ms INTEGER,
        least FLOAT,
        PRIMARY KEY (site_id, rule, subject)
    );
INSERT INTO "alert_watches" VALUES(1,'disk','',1,NULL,NULL);
CREATE TABLE audit (
        id INTEGER NOT NULL PRIMARY KEY,
        at_ms INTEGER NOT NULL,
        who VARCHAR NOT NULL,
        site VARCHAR,
        action VARCHAR NOT NULL,
        detail VARCHAR NOT NULL
    , organisation_id INTEGER);
INSERT INTO "audit" VALUES(1,1772409480000,'Ada',NULL,'sign in','',NULL);
INSERT INTO "audit" VALUES(2,1772409480000,'Ada','studio','put site into organisation','Kiln and Sun',14);
CREATE TABLE blocks (
        id INTEGER NOT NULL PRIMARY KEY,
        device_id INTEGER NOT NULL REFERENCES devices (id),
        start_ms INTEGER NOT NULL,
        end_ms INTEGER NOT NULL,
        first_ms INTEGER NOT NULL,
        last_ms INTEGER NOT NULL,
        rows INTEGER NOT NULL,
        format INTEGER NOT NULL,
        checksum INTEGER NOT NULL,
        data BLOB NOT NULL,
        UNIQUE (device_id, start_ms)
    );
INSERT INTO "blocks" VALUES(7,1,1772323200000,1772409600000,1772409480000,1772409485000,2,1,1255259544,X'6A626C6B0100010002000000010002004063D6AB9C010000020000001D000000071117FB0A0000002519E5CC01000000000000000100001F0000007125639102000000000000000101001C00000002661FBF64524AEF014063D6AB9C010000881300000000000000000000000000000000000001789C6B00000081008102021900000000000000000109000000040110010180A6390002000000B28C02010500000000000000000106000000040110010000020000000180');
INSERT INTO "blocks" VALUES(8,2,1772323200000,1772409600000,1772409480000,1772409480000,1,1,138212000,X'6A626C6B0100010001000000000002004063D6AB9C010000010000001D0000007C014ED8030000000000000002000041000000B492784E04000000000000000300001C0000009DEB07FB9E871F51014063D6AB9C010000010000000000000000000000000000000000000001000000070000001100000001080000000401001000380004000000000F000000789C2B4FCC2CC9CC4B07000BE902F4010600000004011001000002000000008002000100000000000000000106000000040110010000020000000180');
CREATE TABLE broker_sessions (
        client_id VARCHAR NOT NULL PRIMARY KEY,
        broker VARCHAR NOT NULL,
        subscriptions VARCHAR NOT NULL,
        holder VARCHAR NOT NULL,
        beats INTEGER NOT NULL
    );
CREATE TABLE corrections (
        id INTEGER NOT NULL PRIMARY KEY,
        site_id INTEGER NOT NULL REFERENCES sites (id),
        device VARCHAR NOT NULL,
        quantity VARCHAR NOT NULL,
        kind VARCHAR NOT NULL CHECK (kind IN ('sign', 'scale', 'offset', 'exclude')),
        value FLOAT,
        from_ms INTEGER,
        to_ms INTEGER,
        note VARCHAR NOT NULL,
        made_ms INTEGER NOT NULL,
        withdrawn_ms INTEGER,
        CHECK ((value IS NOT NULL) = (kind IN ('scale', 'offset'))),
        CHECK (from_ms < to_ms)
    );
INSERT INTO "corrections" VALUES(1,1,'battery','power','scale',0.5,NULL,5,'',1772409480000,NULL);
CREATE TABLE "day_results" (
        site_id INTEGER NOT NULL REFERENCES sites (id),
        day DATE NOT NULL,
        method VARCHAR NOT NULL,
        result BLOB NOT NULL,
        computed_ms INTEGER NOT NULL,
        PRIMARY KEY (site_id, day)
    );
INSERT INTO "day_results" VALUES(1,'2026-03-01','day-1',X'7B7D',1772409480000);
CREATE TABLE deep_tests (
        id INTEGER NOT NULL PRIMARY KEY,
        site_id INTEGER NOT NULL REFERENCES sites (id),
        planned_ms INTEGER NOT NULL,
        started_ms INTEGER,
        ended_ms INTEGER,
        target VARCHAR NOT NULL,
        note VARCHAR NOT NULL,
        CHECK (started_ms < ended_ms)
    );
INSERT INTO "deep_tests" VALUES(1,1,1772409480000,1772409480001,NULL,'{"rated_ah":200.0,"cells":16,"low_state":0.08,"low_v":50.7,"most_a":30.0,"advised_a":40.0,"expected_ah":184.0}','First');
CREATE TABLE devices (
        id INTEGER NOT NULL PRIMARY KEY,
        site_id INTEGER NOT NULL REFERENCES sites (id),
        name VARCHAR NOT NULL,
        UNIQUE (site_id, name)
    );
INSERT INTO "devices" VALUES(1,1,'battery');
INSERT INTO "devices" VALUES(2,1,'inverter');
CREATE TABLE dirty_days (
        site_id INTEGER NOT NULL REFERENCES sites (id),
        day DATE NOT NULL,
        mark INTEGER NOT NULL,
        PRIMARY KEY (site_id, day)
    ) WITHOUT ROWID
    ;
INSERT INTO "dirty_days" VALUES(1,'2026-03-01',11);
INSERT INTO "dirty_days" VALUES(1,'2026-03-02',11);
CREATE TABLE dirty_quarters (
        device_id INTEGER NOT NULL REFERENCES devices (id),
        day INTEGER NOT NULL,
        mark INTEGER NOT NULL,
        PRIMARY KEY (device_id, day)
    ) WITHOUT ROWID
    ;
INSERT INTO "dirty_quarters" VALUES(1,20513,10);
INSERT INTO "dirty_quarters" VALUES(1,20514,10);
INSERT INTO "dirty_quarters" VALUES(2,20513,5);
INSERT INTO "dirty_quarters" VALUES(2,20514,5);
CREATE TABLE event_photos (
        id INTEGER NOT NULL PRIMARY KEY,
        site_id INTEGER NOT NULL REFERENCES sites (id),
        event_id INTEGER NOT NULL REFERENCES events (id),
        caption VARCHAR NOT NULL,
        made_ms INTEGER NOT NULL,
        width INTEGER NOT NULL,
        height INTEGER NOT NULL,
        sha256 VARCHAR NOT NULL,
        jpeg BLOB NOT NULL
    );
INSERT INTO "event_photos" VALUES(1,1,1,'The roof',1772409480000,8,6,'9ed97c950c330a5b556b00fe9d46390594f0a34437886edd034c323444fbd7d8',X'6E6F2070696374757265');
CREATE TABLE events (
        id INTEGER NOT NULL PRIMARY KEY,
        site_id INTEGER NOT NULL REFERENCES sites (id),
        at_ms INTEGER NOT NULL,
        kind VARCHAR NOT NULL CHECK (
            kind IN (
                'firmware', 'wiring', 'panels', 'battery', 'sensor', 'settings',
                'capacity_setting', 'other'
            )
        ),
        title VARCHAR NOT NULL,
        note VARCHAR NOT NULL,
        made_ms INTEGER NOT NULL,
        removed_ms INTEGER
    );
INSERT INTO "events" VALUES(1,1,1772409480000,'panels','Four more panels','',1772409480000,NULL);
CREATE TABLE final_before (
        site_id INTEGER NOT NULL PRIMARY KEY REFERENCES sites (id),
        day DATE NOT NULL,
        start_ms INTEGER NOT NULL
    );
CREATE TABLE home_lines (
        site_id INTEGER NOT NULL PRIMARY KEY REFERENCES sites (id),
        gravity INTEGER NOT NULL,
        reasons VARCHAR NOT NULL,
        numbers BLOB NOT NULL,
        numbers_of VARCHAR NOT NULL,
        peers BLOB,
        told BLOB NOT NULL,
        made_of VARCHAR NOT NULL,
        made_ms INTEGER NOT NULL,
        mark INTEGER NOT NULL
    );
INSERT INTO "home_lines" VALUES(1,90000,'alert',X'7B7D','record-1',X'7B7D',X'5B5D','all of it',1772409480000,3);
CREATE TABLE hot_days (
        device_id INTEGER NOT NULL REFERENCES devices (id),
        day INTEGER NOT NULL,
        mark INTEGER NOT NULL,
        PRIMARY KEY (device_id, day)
    ) WITHOUT ROWID
    ;
INSERT INTO "hot_days" VALUES(1,20513,9);
CREATE TABLE markings (
        id INTEGER NOT NULL PRIMARY KEY CHECK (id = 1),
        last_mark INTEGER NOT NULL
    );
INSERT INTO "markings" VALUES(1,14);
CREATE TABLE newest (
        series_id INTEGER NOT NULL PRIMARY KEY REFERENCES series (id),
        at_ms INTEGER NOT NULL,
        value NOT NULL
    );
INSERT INTO "newest" VALUES(1,1772409485000,-0.25);
INSERT INTO "newest" VALUES(2,1772409490000,0.75);
INSERT INTO "newest" VALUES(3,1772409480000,'waiting');
INSERT INTO "newest" VALUES(4,1772409480000,1);
CREATE TABLE organisation_roles (
        person_id INTEGER NOT NULL REFERENCES people (id),
        organisation_id INTEGER NOT NULL REFERENCES organisations (id),
        role VARCHAR NOT NULL CHECK (role IN ('viewer', 'owner')),
        PRIMARY KEY (person_id, organisation_id)
    );
INSERT INTO "organisation_roles" VALUES(3,14,'owner');
CREATE TABLE organisations (
        id INTEGER NOT NULL PRIMARY KEY,
        name VARCHAR NOT NULL,
        name_folded VARCHAR NOT NULL UNIQUE,
        made_ms INTEGER NOT NULL
    );
INSERT INTO "organisations" VALUES(14,'Kiln and Sun','kiln and sun',1772409480000);
CREATE TABLE people (
        id INTEGER NOT NULL PRIMARY KEY,
        name VARCHAR NOT NULL,
        name_folded VARCHAR NOT NULL UNIQUE,
        password VARCHAR,
        everywhere VARCHAR CHECK (everywhere IN ('viewer', 'owner')),
        made_ms INTEGER NOT NULL,
        disabled_ms INTEGER
    );
INSERT INTO "people" VALUES(1,'Ada','ada','no hash of any password','owner',1772409480000,NULL);
INSERT INTO "people" VALUES(2,'Rui','rui',NULL,NULL,1772409480000,NULL);
INSERT INTO "people" VALUES(3,'Fin','fin',NULL,NULL,1772409480000,NULL);
CREATE TABLE quarantine (
        id INTEGER NOT NULL PRIMARY KEY,
        digest BLOB NOT NULL UNIQUE,
        site_id INTEGER REFERENCES sites (id),
        source VARCHAR NOT NULL,
        topic VARCHAR NOT NULL,
        payload BLOB NOT NULL,
        reason VARCHAR NOT NULL,
        detail VARCHAR NOT NULL,
        received_ms INTEGER NOT NULL,
        times_seen INTEGER NOT NULL,
        last_received_ms INTEGER NOT NULL
    );
INSERT INTO "quarantine" VALUES(1,X'0A1062DA2CF252B7691D0DCE064CAF16985D2E987AE0FBFF8829994C388F53C9',1,'bridge','joulebook/v1/studio/battery',X'005B','not-senml','The payload is neither JSON nor CBOR.',1772409480000,2,1772409480000);
CREATE TABLE quarantine_sizes (
        owner INTEGER NOT NULL,
        reason VARCHAR NOT NULL,
        kept INTEGER NOT NULL,
        kept_bytes INTEGER NOT NULL,
        let_go INTEGER NOT NULL DEFAULT 0,
        PRIMARY KEY (owner, reason)
    ) WITHOUT ROWID
    ;
INSERT INTO "quarantine_sizes" VALUES(1,'not-senml',1,72,0);
CREATE TABLE quarters (
        device_id INTEGER NOT NULL REFERENCES devices (id),
        start_ms INTEGER NOT NULL,
        method VARCHAR NOT NULL,
        data BLOB NOT NULL,
        PRIMARY KEY (device_id, start_ms)
    );
CREATE TABLE readings (
        device_id INTEGER NOT NULL,
        at_ms INTEGER NOT NULL,
        v0, v1, v2, v3, v4, v5, v6, v7, v8, v9, v10, v11, v12, v13, v14, v15,
        PRIMARY KEY (device_id, at_ms)
    ) WITHOUT ROWID
    ;
INSERT INTO "readings" VALUES(1,1772409490000,NULL,0.75,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL);
CREATE TABLE record_marks (
        site_id INTEGER NOT NULL PRIMARY KEY REFERENCES sites (id),
        mark INTEGER NOT NULL
    );
INSERT INTO "record_marks" VALUES(1,13);
CREATE TABLE record_results (
        site_id INTEGER NOT NULL REFERENCES sites (id),
        name VARCHAR NOT NULL,
        method VARCHAR NOT NULL,
        mark INTEGER NOT NULL,
        computed_ms INTEGER NOT NULL,
        result BLOB NOT NULL,
        PRIMARY KEY (site_id, name)
    );
INSERT INTO "record_results" VALUES(1,'record','record-1',1,1772409480000,X'7B7D');
CREATE TABLE roles (
        person_id INTEGER NOT NULL REFERENCES people (id),
        site_id INTEGER NOT NULL REFERENCES sites (id),
        role VARCHAR NOT NULL CHECK (role IN ('viewer', 'owner')),
        PRIMARY KEY (person_id, site_id)
    ) WITHOUT ROWID
    ;
INSERT INTO "roles" VALUES(2,1,'viewer');
CREATE TABLE seal_links (
        site_id INTEGER NOT NULL REFERENCES sites (id),
        number INTEGER NOT NULL,
        device_id INTEGER NOT NULL REFERENCES devices (id),
        day INTEGER NOT NULL,
        readings INTEGER NOT NULL,
        digest BLOB NOT NULL,
        sealed_ms INTEGER NOT NULL,
        hash BLOB NOT NULL,
        PRIMARY KEY (site_id, number)
    );
INSERT INTO "seal_links" VALUES(1,1,1,20513,3,X'A192B21177A4B62F369DEAC1899F7F23ACABB9047C34AF5986243C0BA77EBA5D',1773273480000,X'FD88D674C979B7FFDDD99484964E3A38DB7ABE085FA7DC800BC0CBC87927C9F7');
CREATE TABLE series (
        id INTEGER NOT NULL PRIMARY KEY,
        device_id INTEGER NOT NULL REFERENCES devices (id),
        quantity VARCHAR NOT NULL,
        unit VARCHAR NOT NULL,
        kind VARCHAR NOT NULL CHECK (kind IN ('number', 'text', 'flag')),
        slot INTEGER NOT NULL,
        UNIQUE (device_id, quantity),
        UNIQUE (device_id, slot)
    );
INSERT INTO "series" VALUES(1,1,'power','W','number',0);
INSERT INTO "series" VALUES(2,1,'soc','/','number',1);
INSERT INTO "series" VALUES(3,2,'state','','text',0);
INSERT INTO "series" VALUES(4,2,'fan','','flag',1);
CREATE TABLE sessions (
        id INTEGER NOT NULL PRIMARY KEY,
        secret_sha256 BLOB NOT NULL UNIQUE,
        person_id INTEGER NOT NULL REFERENCES people (id),
        address VARCHAR NOT NULL,
        agent VARCHAR NOT NULL,
        made_ms INTEGER NOT NULL,
        seen_ms INTEGER NOT NULL
    );
INSERT INTO "sessions" VALUES(1,X'1225AE6C1AE69DCB4EE4781B703E12206F3B549CD3CA151070A8D8D8F371DD71',1,'192.0.2.7','a browser',1772409480000,1772409480000);
CREATE TABLE shares (
        id INTEGER NOT NULL PRIMARY KEY,
        secret_sha256 BLOB NOT NULL UNIQUE,
        site_id INTEGER NOT NULL REFERENCES sites (id),
        page VARCHAR NOT NULL,
        made_by VARCHAR NOT NULL,
        made_ms INTEGER NOT NULL,
        ends_ms INTEGER NOT NULL,
        revoked_ms INTEGER
    );
INSERT INTO "shares" VALUES(1,X'4A64609F7DB9FACCA39EAF9F66D77F8F030236E4A826D9FABD09F6B27C465C54',1,'/sites/studio/wear','Ada',1772409480000,1772495880000,NULL);
CREATE TABLE sign_offs (
        id INTEGER NOT NULL PRIMARY KEY,
        site_id INTEGER NOT NULL REFERENCES sites (id),
        at_ms INTEGER NOT NULL,
        who VARCHAR NOT NULL,
        name VARCHAR NOT NULL,
        role VARCHAR NOT NULL CHECK (role IN ('owner', 'installer')),
        document VARCHAR NOT NULL,
        sha256 VARCHAR NOT NULL
    );
INSERT INTO "sign_offs" VALUES(1,1,1772409480000,'Ada','Ada','owner','{"checks":[],"signed":{"at_ms":1772409480000,"name":"Ada","role":"owner"}}','1520bf647d358aa2a5d8a281bf9e9899d26d57d71a1a95e72875ead01ed66366');
CREATE TABLE sites (
        id INTEGER NOT NULL PRIMARY KEY,
        name VARCHAR NOT NULL UNIQUE,
        timezone VARCHAR NOT NULL,
        battery_ah FLOAT,
        battery_cells INTEGER,
        installed DATE,
        warranty_years FLOAT,
        warranty_floor_ratio FLOAT,
        warranty_throughput_wh FLOAT
    , inverter_w FLOAT, inverter_peak_w FLOAT, charge_low_c FLOAT, charge_high_c FLOAT, discharge_low_c FLOAT, discharge_high_c FLOAT, charge_max_v FLOAT, battery_maker VARCHAR, battery_model VARCHAR, battery_serial VARCHAR, inverter_maker VARCHAR, inverter_model VARCHAR, inverter_serial VARCHAR, installer VARCHAR, commissioned DATE, locale VARCHAR, organisation_id INTEGER REFERENCES organisations (id));
INSERT INTO "sites" VALUES(1,'studio','Europe/Lisbon',200.0,16,'2025-01-15',10.0,0.7,NULL,6500.0,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,14);
INSERT INTO "sites" VALUES(2,'annexe','Pacific/Apia',NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL);
CREATE TABLE tariffs (
        id INTEGER NOT NULL PRIMARY KEY,
        site_id INTEGER NOT NULL REFERENCES sites (id),
        from_day DATE NOT NULL,
        terms VARCHAR NOT NULL,
        note VARCHAR NOT NULL,
        made_ms INTEGER NOT NULL,
        withdrawn_ms INTEGER
    );
INSERT INTO "tariffs" VALUES(1,1,'2026-01-01','{"currency": "EUR", "from": "2026-01-01", "fixed_per_day": "0", "fixed_per_month": "0", "listed_dates": [], "season": [{"name": "year", "first": "01-01", "last": "12-31", "band": [{"days": ["weekdays", "weekend"], "from": "00:00", "to": "24:00", "import": "0.2", "export": "0.05"}]}]}','',1772409480000,NULL);
CREATE TABLE "tokens" (
        id INTEGER NOT NULL PRIMARY KEY,
        site_id INTEGER REFERENCES sites (id),
        name VARCHAR NOT NULL,
        secret_sha256 BLOB NOT NULL UNIQUE,
        scope VARCHAR NOT NULL CHECK (scope IN ('write', 'read', 'metrics')),
        made_ms INTEGER,
        last_used_ms INTEGER,
        revoked_ms INTEGER, organisation_id INTEGER REFERENCES organisations (id)
    CHECK (organisation_id IS NULL OR (site_id IS NULL AND scope = 'read')),
        CHECK (site_id IS NOT NULL OR scope <> 'write')
    );
INSERT INTO "tokens" VALUES(1,1,'bridge',X'D05C1865FE44BF9F2E23A2575CF4B1B82A4ABEBDE081190A3BB9041AAE8A283D','write',NULL,NULL,NULL,NULL);
INSERT INTO "tokens" VALUES(2,NULL,'reader',X'C51E455B41DF6C017327E16001DD064B8B6733FAEAA69B23D9BD79C8079237D5','read',1772409480000,NULL,NULL,NULL);
CREATE TABLE welcomes (
        id INTEGER NOT NULL PRIMARY KEY,
        secret_sha256 BLOB NOT NULL UNIQUE,
        person_id INTEGER REFERENCES people (id),
        made_ms INTEGER NOT NULL,
        ends_ms INTEGER NOT NULL
    );
INSERT INTO "welcomes" VALUES(1,X'F23F4C56598517EE974EF6B35767BE5DF421335BEAF0E47BA77938967022FAE0',2,1772409480000,1773014280000);
CREATE TABLE zone_rules (
        site_id INTEGER NOT NULL PRIMARY KEY REFERENCES sites (id),
        rules VARCHAR NOT NULL
    );
INSERT INTO "zone_rules" VALUES(1,'[]');
CREATE INDEX ix_quarantine_last ON quarantine (last_received_ms);
CREATE INDEX ix_quarantine_site_last ON quarantine (site_id, last_received_ms);
CREATE TRIGGER final_dirty_days_insert BEFORE INSERT ON dirty_days
        WHEN NEW.day < (SELECT day FROM final_before WHERE site_id = NEW.site_id)
        BEGIN
            SELECT RAISE(IGNORE);
        END;
CREATE TRIGGER final_quarters_insert BEFORE INSERT ON quarters
        WHEN NEW.start_ms < (
    SELECT final_before.start_ms
    FROM final_before
    JOIN devices ON devices.site_id = final_before.site_id
    WHERE devices.id = NEW.device_id
)
        BEGIN
            SELECT RAISE(IGNORE);
        END;
CREATE TRIGGER final_quarters_update BEFORE UPDATE ON quarters
        WHEN OLD.start_ms < (
    SELECT final_before.start_ms
    FROM final_before
    JOIN devices ON devices.site_id = final_before.site_id
    WHERE devices.id = OLD.device_id
)
        BEGIN
            SELECT RAISE(IGNORE);
        END;
CREATE TRIGGER final_quarters_delete BEFORE DELETE ON quarters
        WHEN OLD.start_ms < (
    SELECT final_before.start_ms
    FROM final_before
    JOIN devices ON devices.site_id = final_before.site_id
    WHERE devices.id = OLD.device_id
)
        BEGIN
            SELECT RAISE(IGNORE);
        END;
CREATE TRIGGER final_dirty_quarters_insert BEFORE INSERT ON dirty_quarters
        WHEN NEW.day * 86400000 < (
    SELECT final_before.start_ms
    FROM final_before
    JOIN devices ON devices.site_id = final_before.site_id
    WHERE devices.id = NEW.device_id
)
        BEGIN
            SELECT RAISE(IGNORE);
        END;
CREATE INDEX ix_corrections_site ON corrections (site_id);
CREATE INDEX ix_events_site ON events (site_id);
CREATE INDEX ix_deep_tests_site ON deep_tests (site_id);
CREATE TRIGGER final_day_results_insert BEFORE INSERT ON day_results
        WHEN NEW.day < (SELECT day FROM final_before WHERE site_id = NEW.site_id)
        BEGIN
            SELECT RAISE(IGNORE);
        END;
CREATE TRIGGER final_day_results_update BEFORE UPDATE ON day_results
        WHEN OLD.day < (SELECT day FROM final_before WHERE site_id = OLD.site_id)
        BEGIN
            SELECT RAISE(IGNORE);
        END;
CREATE TRIGGER final_day_results_delete BEFORE DELETE ON day_results
        WHEN OLD.day < (SELECT day FROM final_before WHERE site_id = OLD.site_id)
        BEGIN
            SELECT RAISE(IGNORE);
        END;
CREATE INDEX ix_audit_at ON audit (at_ms);
CREATE INDEX ix_sessions_person ON sessions (person_id);
CREATE INDEX ix_shares_site ON shares (site_id);
CREATE INDEX ix_tokens_name ON tokens (name);
CREATE INDEX ix_tariffs_site ON tariffs (site_id);
CREATE INDEX ix_alert_episodes_site ON alert_episodes (site_id, opened_ms);
CREATE INDEX ix_alert_channels_site ON alert_channels (site_id);
CREATE INDEX ix_alert_deliveries_next ON alert_deliveries (state, next_ms);
CREATE INDEX ix_sign_offs_site ON sign_offs (site_id);
CREATE TRIGGER sign_offs_stay_as_they_are
    BEFORE UPDATE ON sign_offs
    BEGIN
        SELECT RAISE(ABORT, 'a sign-off is never edited');
    END;
CREATE TRIGGER quarantine_grows AFTER INSERT ON quarantine
    BEGIN
        INSERT INTO quarantine_sizes (owner, reason, kept, kept_bytes)
        VALUES (coalesce(NEW.site_id, 0), NEW.reason, 1, length(NEW.payload) + length(CAST(NEW.topic AS BLOB)) + length(CAST(NEW.source AS BLOB)) + length(CAST(NEW.detail AS BLOB)))
        ON CONFLICT (owner, reason) DO UPDATE
        SET kept = kept + 1, kept_bytes = kept_bytes + excluded.kept_bytes;
    END;
CREATE TRIGGER quarantine_shrinks AFTER DELETE ON quarantine
    BEGIN
        UPDATE quarantine_sizes
        SET kept = kept - 1,
            kept_bytes = kept_bytes - (length(OLD.payload) + length(CAST(OLD.topic AS BLOB)) + length(CAST(OLD.source AS BLOB)) + length(CAST(OLD.detail AS BLOB))),
            let_go = let_go + 1
        WHERE owner = coalesce(OLD.site_id, 0) AND reason = OLD.reason;
    END;
CREATE INDEX ix_quarantine_reason_last ON quarantine (site_id, reason, last_received_ms)
    ;
CREATE INDEX ix_seal_links_day ON seal_links (device_id, day);
CREATE INDEX ix_home_lines_mark ON home_lines (mark);
CREATE INDEX ix_alert_episodes_open ON alert_episodes (site_id) WHERE closed_ms IS NULL;
CREATE INDEX ix_sites_organisation ON sites (organisation_id);
CREATE INDEX ix_audit_organisation ON audit (organisation_id);
CREATE INDEX ix_event_photos_site ON event_photos (site_id);
CREATE INDEX ix_event_photos_event ON event_photos (event_id);
COMMIT;
