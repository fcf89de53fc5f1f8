-- +goose Up

-- Instants are microseconds since 1970 in UTC, 0 for none. Text is ordered by its
-- bytes, as in the other backend.

-- A site and the end of its log. origin says whether the log is written here
-- ('home') or brought in from the site itself ('replica').
CREATE TABLE sites (
    site   TEXT    COLLATE "C" NOT NULL PRIMARY KEY CHECK (site <> ''),
    origin TEXT    COLLATE "C" NOT NULL CHECK (origin IN ('home', 'replica')),
    seq    BIGINT NOT NULL CHECK (seq >= 0),
    hash   BYTEA    NOT NULL CHECK (length(hash) = 32)
);

CREATE TABLE movements (
    site      TEXT    COLLATE "C" NOT NULL REFERENCES sites (site),
    seq       BIGINT NOT NULL CHECK (seq > 0),
    time      BIGINT NOT NULL,
    event     TEXT    COLLATE "C" NOT NULL CHECK (event <> ''),
    lot       TEXT    COLLATE "C" NOT NULL,
    unit      TEXT    COLLATE "C" NOT NULL,
    plan      TEXT    COLLATE "C" NOT NULL,
    sortie    TEXT    COLLATE "C" NOT NULL,
    from_state TEXT   COLLATE "C" NOT NULL,
    to_state  TEXT    COLLATE "C" NOT NULL,
    actor     TEXT    COLLATE "C" NOT NULL CHECK (actor <> ''),
    place     TEXT    COLLATE "C" NOT NULL,
    reason    TEXT    COLLATE "C" NOT NULL,
    authority TEXT    COLLATE "C" NOT NULL,
    igniter   TEXT    COLLATE "C" NOT NULL,
    until     BIGINT NOT NULL,
    request   TEXT    COLLATE "C" NOT NULL,
    detail    BYTEA    NOT NULL,
    previous  BYTEA    NOT NULL CHECK (length(previous) = 32),
    hash      BYTEA    NOT NULL CHECK (length(hash) = 32),
    PRIMARY KEY (site, seq)
);
CREATE INDEX movements_by_unit ON movements (site, unit, seq) WHERE unit <> '';
CREATE INDEX movements_by_lot ON movements (site, lot, seq) WHERE lot <> '';
CREATE INDEX movements_by_plan ON movements (site, plan, seq) WHERE plan <> '';

CREATE TABLE lots (
    site           TEXT    COLLATE "C" NOT NULL REFERENCES sites (site),
    id             TEXT    COLLATE "C" NOT NULL,
    kind           TEXT    COLLATE "C" NOT NULL CHECK (kind IN ('booster', 'igniter')),
    type           TEXT    COLLATE "C" NOT NULL,
    suspended      TEXT    COLLATE "C" NOT NULL,
    received_count BIGINT NOT NULL CHECK (received_count >= 0),
    body           TEXT    COLLATE "C" NOT NULL,
    create_time    BIGINT NOT NULL,
    update_time    BIGINT NOT NULL,
    seq            BIGINT NOT NULL,
    PRIMARY KEY (site, id)
);

CREATE TABLE units (
    site         TEXT    COLLATE "C" NOT NULL,
    id           TEXT    COLLATE "C" NOT NULL,
    lot          TEXT    COLLATE "C" NOT NULL,
    state        TEXT    COLLATE "C" NOT NULL CHECK (state IN (
        'received', 'inspected', 'available', 'reserved', 'issued', 'fitted', 'armed', 'expended',
        'misfired', 'hung_up', 'returned', 'quarantined', 'condemned', 'disposed', 'lost')),
    place        TEXT    COLLATE "C" NOT NULL,
    usable_until BIGINT NOT NULL,
    cause        TEXT    COLLATE "C" NOT NULL,
    igniter      TEXT    COLLATE "C" NOT NULL,
    plan         TEXT    COLLATE "C" NOT NULL,
    sortie       TEXT    COLLATE "C" NOT NULL,
    until        BIGINT NOT NULL,
    issue_time   BIGINT NOT NULL,
    wait_until   BIGINT NOT NULL,
    create_time  BIGINT NOT NULL,
    update_time  BIGINT NOT NULL,
    seq          BIGINT NOT NULL,
    PRIMARY KEY (site, id),
    FOREIGN KEY (site, lot) REFERENCES lots (site, id),
    -- A unit that is held is held by exactly one sortie of one plan.
    CHECK ((state IN ('reserved', 'issued', 'fitted', 'armed')) = (plan <> '')),
    CHECK ((plan <> '') = (sortie <> ''))
);
CREATE INDEX units_by_lot ON units (site, lot, state, usable_until, id);

CREATE TABLE plans (
    site             TEXT    COLLATE "C" NOT NULL REFERENCES sites (site),
    id               TEXT    COLLATE "C" NOT NULL,
    display_name     TEXT    COLLATE "C" NOT NULL,
    state            TEXT    COLLATE "C" NOT NULL CHECK (state IN ('draft', 'confirmed', 'cancelled', 'expired', 'closed')),
    hold_until       BIGINT NOT NULL,
    model_version    TEXT    COLLATE "C" NOT NULL,
    catalog_revision TEXT    COLLATE "C" NOT NULL,
    request_digest   TEXT    COLLATE "C" NOT NULL,
    sorties          TEXT    COLLATE "C" NOT NULL,
    reason           TEXT    COLLATE "C" NOT NULL,
    create_time      BIGINT NOT NULL,
    update_time      BIGINT NOT NULL,
    seq              BIGINT NOT NULL,
    cycle            BYTEA    NOT NULL,
    answer           BYTEA    NOT NULL,
    PRIMARY KEY (site, id)
);

CREATE TABLE reservations (
    site      TEXT    COLLATE "C" NOT NULL,
    unit      TEXT    COLLATE "C" NOT NULL,
    seq       BIGINT NOT NULL,
    plan      TEXT    COLLATE "C" NOT NULL,
    sortie    TEXT    COLLATE "C" NOT NULL,
    until     BIGINT NOT NULL,
    close_seq BIGINT CHECK (close_seq > seq),
    PRIMARY KEY (site, unit, seq),
    FOREIGN KEY (site, unit) REFERENCES units (site, id),
    FOREIGN KEY (site, plan) REFERENCES plans (site, id)
);
-- The last line of defence: no unit is promised twice, whoever writes.
CREATE UNIQUE INDEX reservations_open ON reservations (site, unit) WHERE close_seq IS NULL;
CREATE INDEX reservations_by_plan ON reservations (site, plan, sortie, unit) WHERE close_seq IS NULL;

CREATE TABLE readings (
    site              TEXT    COLLATE "C" NOT NULL,
    lot               TEXT    COLLATE "C" NOT NULL,
    time              BIGINT NOT NULL,
    place             TEXT    COLLATE "C" NOT NULL,
    temperature_c     DOUBLE PRECISION    NOT NULL,
    relative_humidity DOUBLE PRECISION CHECK (relative_humidity BETWEEN 0 AND 1),
    source            TEXT    COLLATE "C" NOT NULL,
    seq               BIGINT NOT NULL,
    PRIMARY KEY (site, lot, time, place),
    FOREIGN KEY (site, lot) REFERENCES lots (site, id)
);

-- Answers already given, kept in the transaction that they answer.
CREATE TABLE receipts (
    site   TEXT    COLLATE "C" NOT NULL REFERENCES sites (site),
    id     TEXT    COLLATE "C" NOT NULL CHECK (id <> ''),
    method TEXT    COLLATE "C" NOT NULL,
    hash   BYTEA    NOT NULL CHECK (length(hash) = 32),
    time   BIGINT NOT NULL,
    result BYTEA    NOT NULL,
    PRIMARY KEY (site, id)
);

CREATE TABLE catalog_revisions (
    site        TEXT    COLLATE "C" NOT NULL REFERENCES sites (site),
    revision    TEXT    COLLATE "C" NOT NULL CHECK (revision <> ''),
    seq         BIGINT NOT NULL CHECK (seq > 0),
    actor       TEXT    COLLATE "C" NOT NULL,
    note        TEXT    COLLATE "C" NOT NULL,
    create_time BIGINT NOT NULL,
    body        BYTEA    NOT NULL,
    PRIMARY KEY (site, revision),
    UNIQUE (site, seq)
);

-- The past is not edited, not even by hand.
-- +goose StatementBegin
CREATE FUNCTION refuse() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    RAISE EXCEPTION 'rows of % are never % ', TG_TABLE_NAME, lower(TG_OP) USING ERRCODE = 'integrity_constraint_violation';
END $$;
-- +goose StatementEnd
CREATE TRIGGER movements_keep BEFORE UPDATE OR DELETE OR TRUNCATE ON movements
    FOR EACH STATEMENT EXECUTE FUNCTION refuse();
CREATE TRIGGER units_keep BEFORE DELETE OR TRUNCATE ON units
    FOR EACH STATEMENT EXECUTE FUNCTION refuse();
CREATE TRIGGER catalog_revisions_keep BEFORE UPDATE OR DELETE OR TRUNCATE ON catalog_revisions
    FOR EACH STATEMENT EXECUTE FUNCTION refuse();
