-- +goose Up

-- Instants are microseconds since 1970 in UTC, 0 for none.

-- A site and the end of its log. origin says whether the log is written here
-- ('home') or brought in from the site itself ('replica').
CREATE TABLE sites (
    site   TEXT    NOT NULL PRIMARY KEY CHECK (site <> ''),
    origin TEXT    NOT NULL CHECK (origin IN ('home', 'replica')),
    seq    INTEGER NOT NULL CHECK (seq >= 0),
    hash   BLOB    NOT NULL CHECK (length(hash) = 32)
) STRICT, WITHOUT ROWID;

CREATE TABLE movements (
    site      TEXT    NOT NULL REFERENCES sites (site),
    seq       INTEGER NOT NULL CHECK (seq > 0),
    time      INTEGER NOT NULL,
    event     TEXT    NOT NULL CHECK (event <> ''),
    lot       TEXT    NOT NULL,
    unit      TEXT    NOT NULL,
    plan      TEXT    NOT NULL,
    sortie    TEXT    NOT NULL,
    from_state TEXT   NOT NULL,
    to_state  TEXT    NOT NULL,
    actor     TEXT    NOT NULL CHECK (actor <> ''),
    place     TEXT    NOT NULL,
    reason    TEXT    NOT NULL,
    authority TEXT    NOT NULL,
    igniter   TEXT    NOT NULL,
    until     INTEGER NOT NULL,
    request   TEXT    NOT NULL,
    detail    BLOB    NOT NULL,
    previous  BLOB    NOT NULL CHECK (length(previous) = 32),
    hash      BLOB    NOT NULL CHECK (length(hash) = 32),
    PRIMARY KEY (site, seq)
) STRICT, WITHOUT ROWID;
CREATE INDEX movements_by_unit ON movements (site, unit, seq) WHERE unit <> '';
CREATE INDEX movements_by_lot ON movements (site, lot, seq) WHERE lot <> '';
CREATE INDEX movements_by_plan ON movements (site, plan, seq) WHERE plan <> '';

CREATE TABLE lots (
    site           TEXT    NOT NULL REFERENCES sites (site),
    id             TEXT    NOT NULL,
    kind           TEXT    NOT NULL CHECK (kind IN ('booster', 'igniter')),
    type           TEXT    NOT NULL,
    suspended      TEXT    NOT NULL,
    received_count INTEGER NOT NULL CHECK (received_count >= 0),
    body           TEXT    NOT NULL,
    create_time    INTEGER NOT NULL,
    update_time    INTEGER NOT NULL,
    seq            INTEGER NOT NULL,
    PRIMARY KEY (site, id)
) STRICT, WITHOUT ROWID;

CREATE TABLE units (
    site         TEXT    NOT NULL,
    id           TEXT    NOT NULL,
    lot          TEXT    NOT NULL,
    state        TEXT    NOT NULL CHECK (state IN (
        'received', 'inspected', 'available', 'reserved', 'issued', 'fitted', 'armed', 'expended',
        'misfired', 'hung_up', 'returned', 'quarantined', 'condemned', 'disposed', 'lost')),
    place        TEXT    NOT NULL,
    usable_until INTEGER NOT NULL,
    cause        TEXT    NOT NULL,
    igniter      TEXT    NOT NULL,
    plan         TEXT    NOT NULL,
    sortie       TEXT    NOT NULL,
    until        INTEGER NOT NULL,
    issue_time   INTEGER NOT NULL,
    wait_until   INTEGER NOT NULL,
    create_time  INTEGER NOT NULL,
    update_time  INTEGER NOT NULL,
    seq          INTEGER NOT NULL,
    PRIMARY KEY (site, id),
    FOREIGN KEY (site, lot) REFERENCES lots (site, id),
    -- A unit that is held is held by exactly one sortie of one plan.
    CHECK ((state IN ('reserved', 'issued', 'fitted', 'armed')) = (plan <> '')),
    CHECK ((plan <> '') = (sortie <> ''))
) STRICT, WITHOUT ROWID;
CREATE INDEX units_by_lot ON units (site, lot, state, usable_until, id);

CREATE TABLE plans (
    site             TEXT    NOT NULL REFERENCES sites (site),
    id               TEXT    NOT NULL,
    display_name     TEXT    NOT NULL,
    state            TEXT    NOT NULL CHECK (state IN ('draft', 'confirmed', 'cancelled', 'expired', 'closed')),
    hold_until       INTEGER NOT NULL,
    model_version    TEXT    NOT NULL,
    catalog_revision TEXT    NOT NULL,
    request_digest   TEXT    NOT NULL,
    sorties          TEXT    NOT NULL,
    reason           TEXT    NOT NULL,
    create_time      INTEGER NOT NULL,
    update_time      INTEGER NOT NULL,
    seq              INTEGER NOT NULL,
    cycle            BLOB    NOT NULL,
    answer           BLOB    NOT NULL,
    PRIMARY KEY (site, id)
) STRICT;

CREATE TABLE reservations (
    site      TEXT    NOT NULL,
    unit      TEXT    NOT NULL,
    seq       INTEGER NOT NULL,
    plan      TEXT    NOT NULL,
    sortie    TEXT    NOT NULL,
    until     INTEGER NOT NULL,
    close_seq INTEGER CHECK (close_seq > seq),
    PRIMARY KEY (site, unit, seq),
    FOREIGN KEY (site, unit) REFERENCES units (site, id),
    FOREIGN KEY (site, plan) REFERENCES plans (site, id)
) STRICT, WITHOUT ROWID;
-- The last line of defence: no unit is promised twice, whoever writes.
CREATE UNIQUE INDEX reservations_open ON reservations (site, unit) WHERE close_seq IS NULL;
CREATE INDEX reservations_by_plan ON reservations (site, plan, sortie, unit) WHERE close_seq IS NULL;

CREATE TABLE readings (
    site              TEXT    NOT NULL,
    lot               TEXT    NOT NULL,
    time              INTEGER NOT NULL,
    place             TEXT    NOT NULL,
    temperature_c     REAL    NOT NULL,
    relative_humidity REAL CHECK (relative_humidity BETWEEN 0 AND 1),
    source            TEXT    NOT NULL,
    seq               INTEGER NOT NULL,
    PRIMARY KEY (site, lot, time, place),
    FOREIGN KEY (site, lot) REFERENCES lots (site, id)
) STRICT, WITHOUT ROWID;

-- Answers already given, kept in the transaction that they answer.
CREATE TABLE receipts (
    site   TEXT    NOT NULL REFERENCES sites (site),
    id     TEXT    NOT NULL CHECK (id <> ''),
    method TEXT    NOT NULL,
    hash   BLOB    NOT NULL CHECK (length(hash) = 32),
    time   INTEGER NOT NULL,
    result BLOB    NOT NULL,
    PRIMARY KEY (site, id)
) STRICT;

CREATE TABLE catalog_revisions (
    site        TEXT    NOT NULL REFERENCES sites (site),
    revision    TEXT    NOT NULL CHECK (revision <> ''),
    seq         INTEGER NOT NULL CHECK (seq > 0),
    actor       TEXT    NOT NULL,
    note        TEXT    NOT NULL,
    create_time INTEGER NOT NULL,
    body        BLOB    NOT NULL,
    PRIMARY KEY (site, revision),
    UNIQUE (site, seq)
) STRICT;

-- The past is not edited, not even by hand.
-- +goose StatementBegin
CREATE TRIGGER movements_keep_update BEFORE UPDATE ON movements
BEGIN SELECT RAISE(ABORT, 'entries of the log are never changed'); END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER movements_keep_delete BEFORE DELETE ON movements
BEGIN SELECT RAISE(ABORT, 'entries of the log are never removed'); END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER units_keep BEFORE DELETE ON units
BEGIN SELECT RAISE(ABORT, 'units are never removed'); END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER catalog_revisions_keep BEFORE UPDATE ON catalog_revisions
BEGIN SELECT RAISE(ABORT, 'revisions are never changed'); END;
-- +goose StatementEnd
