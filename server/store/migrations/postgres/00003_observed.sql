-- +goose Up

-- What launches really did. A row is written once: a correcting record supersedes
-- it, once at most.
CREATE TABLE observed_runs (
    site             TEXT    COLLATE "C" NOT NULL REFERENCES sites (site),
    id               TEXT    COLLATE "C" NOT NULL CHECK (id <> ''),
    aircraft_type    TEXT    COLLATE "C" NOT NULL,
    tail             TEXT    COLLATE "C" NOT NULL,
    deck             TEXT    COLLATE "C" NOT NULL,
    lot              TEXT    COLLATE "C" NOT NULL,
    plan             TEXT    COLLATE "C" NOT NULL,
    sortie           TEXT    COLLATE "C" NOT NULL,
    launch_time      BIGINT  NOT NULL,
    supersedes       TEXT    COLLATE "C" NOT NULL,
    actor            TEXT    COLLATE "C" NOT NULL,
    model_version    TEXT    COLLATE "C" NOT NULL,
    catalog_revision TEXT    COLLATE "C" NOT NULL,
    create_time      BIGINT  NOT NULL,
    body             BYTEA   NOT NULL,
    PRIMARY KEY (site, id),
    CHECK (supersedes <> id)
);
CREATE UNIQUE INDEX observed_runs_superseded ON observed_runs (site, supersedes) WHERE supersedes <> '';
CREATE INDEX observed_runs_by_type ON observed_runs (site, aircraft_type, id);
CREATE INDEX observed_runs_by_plan ON observed_runs (site, plan, id) WHERE plan <> '';

-- Corrections of aircraft types, proposed and decided.
CREATE TABLE corrections (
    site             TEXT    COLLATE "C" NOT NULL REFERENCES sites (site),
    id               TEXT    COLLATE "C" NOT NULL CHECK (id <> ''),
    state            TEXT    COLLATE "C" NOT NULL CHECK (state IN ('proposed', 'accepted', 'rejected', 'reverted')),
    aircraft_type    TEXT    COLLATE "C" NOT NULL,
    catalog_revision TEXT    COLLATE "C" NOT NULL,
    create_time      BIGINT  NOT NULL,
    update_time      BIGINT  NOT NULL,
    seq              BIGINT  NOT NULL CHECK (seq > 0),
    body             BYTEA   NOT NULL,
    PRIMARY KEY (site, id)
);

CREATE TRIGGER observed_runs_keep BEFORE UPDATE OR DELETE OR TRUNCATE ON observed_runs
    FOR EACH STATEMENT EXECUTE FUNCTION refuse();
CREATE TRIGGER corrections_keep BEFORE DELETE OR TRUNCATE ON corrections
    FOR EACH STATEMENT EXECUTE FUNCTION refuse();
