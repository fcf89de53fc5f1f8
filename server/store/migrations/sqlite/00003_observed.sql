-- +goose Up

-- What launches really did. A row is written once: a correcting record supersedes
-- it, once at most.
CREATE TABLE observed_runs (
    site             TEXT    NOT NULL REFERENCES sites (site),
    id               TEXT    NOT NULL CHECK (id <> ''),
    aircraft_type    TEXT    NOT NULL,
    tail             TEXT    NOT NULL,
    deck             TEXT    NOT NULL,
    lot              TEXT    NOT NULL,
    plan             TEXT    NOT NULL,
    sortie           TEXT    NOT NULL,
    launch_time      INTEGER NOT NULL,
    supersedes       TEXT    NOT NULL,
    actor            TEXT    NOT NULL,
    model_version    TEXT    NOT NULL,
    catalog_revision TEXT    NOT NULL,
    create_time      INTEGER NOT NULL,
    body             BLOB    NOT NULL,
    PRIMARY KEY (site, id),
    CHECK (supersedes <> id)
) STRICT;
CREATE UNIQUE INDEX observed_runs_superseded ON observed_runs (site, supersedes) WHERE supersedes <> '';
CREATE INDEX observed_runs_by_type ON observed_runs (site, aircraft_type, id);
CREATE INDEX observed_runs_by_plan ON observed_runs (site, plan, id) WHERE plan <> '';

-- Corrections of aircraft types, proposed and decided.
CREATE TABLE corrections (
    site             TEXT    NOT NULL REFERENCES sites (site),
    id               TEXT    NOT NULL CHECK (id <> ''),
    state            TEXT    NOT NULL CHECK (state IN ('proposed', 'accepted', 'rejected', 'reverted')),
    aircraft_type    TEXT    NOT NULL,
    catalog_revision TEXT    NOT NULL,
    create_time      INTEGER NOT NULL,
    update_time      INTEGER NOT NULL,
    seq              INTEGER NOT NULL CHECK (seq > 0),
    body             BLOB    NOT NULL,
    PRIMARY KEY (site, id)
) STRICT;

-- +goose StatementBegin
CREATE TRIGGER observed_runs_keep_update BEFORE UPDATE ON observed_runs
BEGIN SELECT RAISE(ABORT, 'observed runs are never changed'); END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER observed_runs_keep_delete BEFORE DELETE ON observed_runs
BEGIN SELECT RAISE(ABORT, 'observed runs are never removed'); END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER corrections_keep BEFORE DELETE ON corrections
BEGIN SELECT RAISE(ABORT, 'corrections are never removed'); END;
-- +goose StatementEnd
