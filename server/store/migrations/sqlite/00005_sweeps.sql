-- +goose Up

-- Sweeps: what was asked and how far it is. The jobs that compute them are in the
-- job queue's own tables. They may be there: they were once made as schema 2, before 3
-- and 4 were known, and a store that has them so opens too.
CREATE TABLE IF NOT EXISTS sweeps (
    site             TEXT NOT NULL REFERENCES sites (site),
    id               TEXT NOT NULL CHECK (id <> ''),
    display_name     TEXT NOT NULL,
    state            TEXT NOT NULL CHECK (state IN ('queued', 'running', 'done', 'cancelled', 'failed')),
    reason           TEXT NOT NULL,
    model_version    TEXT NOT NULL,
    catalog_revision TEXT NOT NULL,
    request_digest   TEXT NOT NULL,
    row_total        INTEGER NOT NULL CHECK (row_total > 0),
    chunk_rows       INTEGER NOT NULL CHECK (chunk_rows > 0),
    chunk_total      INTEGER NOT NULL CHECK (chunk_total > 0),
    chunks_done      INTEGER NOT NULL CHECK (chunks_done BETWEEN 0 AND chunk_total),
    rows_done        INTEGER NOT NULL CHECK (rows_done BETWEEN 0 AND row_total),
    refused          INTEGER NOT NULL CHECK (refused BETWEEN 0 AND rows_done),
    goes             INTEGER NOT NULL CHECK (goes BETWEEN 0 AND rows_done),
    bytes            INTEGER NOT NULL CHECK (bytes >= 0),
    cpu              INTEGER NOT NULL CHECK (cpu >= 0),
    create_time      INTEGER NOT NULL,
    start_time       INTEGER NOT NULL,
    end_time         INTEGER NOT NULL,
    version          INTEGER NOT NULL CHECK (version > 0),
    spec             BLOB NOT NULL,
    PRIMARY KEY (site, id)
) STRICT;

-- Parts that are done. The primary key is why no row of a sweep is there twice.
CREATE TABLE IF NOT EXISTS sweep_chunks (
    site      TEXT NOT NULL,
    sweep     TEXT NOT NULL,
    chunk     INTEGER NOT NULL CHECK (chunk >= 0),
    row_total INTEGER NOT NULL CHECK (row_total > 0),
    refused   INTEGER NOT NULL,
    goes      INTEGER NOT NULL,
    bytes     INTEGER NOT NULL,
    sum       BLOB NOT NULL CHECK (length(sum) = 32),
    cpu       INTEGER NOT NULL,
    PRIMARY KEY (site, sweep, chunk),
    FOREIGN KEY (site, sweep) REFERENCES sweeps (site, id)
) STRICT;
