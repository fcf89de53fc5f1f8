-- +goose Up

-- Sweeps: what was asked and how far it is. The jobs that compute them are in the
-- job queue's own tables. They may be there: they were once made as schema 2, before 3
-- and 4 were known, and a store that has them so opens too.
CREATE TABLE IF NOT EXISTS sweeps (
    site             TEXT COLLATE "C" NOT NULL REFERENCES sites (site),
    id               TEXT COLLATE "C" NOT NULL CHECK (id <> ''),
    display_name     TEXT COLLATE "C" NOT NULL,
    state            TEXT COLLATE "C" NOT NULL CHECK (state IN ('queued', 'running', 'done', 'cancelled', 'failed')),
    reason           TEXT COLLATE "C" NOT NULL,
    model_version    TEXT COLLATE "C" NOT NULL,
    catalog_revision TEXT COLLATE "C" NOT NULL,
    request_digest   TEXT COLLATE "C" NOT NULL,
    row_total        BIGINT NOT NULL CHECK (row_total > 0),
    chunk_rows       BIGINT NOT NULL CHECK (chunk_rows > 0),
    chunk_total      BIGINT NOT NULL CHECK (chunk_total > 0),
    chunks_done      BIGINT NOT NULL CHECK (chunks_done BETWEEN 0 AND chunk_total),
    rows_done        BIGINT NOT NULL CHECK (rows_done BETWEEN 0 AND row_total),
    refused          BIGINT NOT NULL CHECK (refused BETWEEN 0 AND rows_done),
    goes             BIGINT NOT NULL CHECK (goes BETWEEN 0 AND rows_done),
    bytes            BIGINT NOT NULL CHECK (bytes >= 0),
    cpu              BIGINT NOT NULL CHECK (cpu >= 0),
    create_time      BIGINT NOT NULL,
    start_time       BIGINT NOT NULL,
    end_time         BIGINT NOT NULL,
    version          BIGINT NOT NULL CHECK (version > 0),
    spec             BYTEA NOT NULL,
    PRIMARY KEY (site, id)
);

-- Parts that are done. The primary key is why no row of a sweep is there twice.
CREATE TABLE IF NOT EXISTS sweep_chunks (
    site      TEXT COLLATE "C" NOT NULL,
    sweep     TEXT COLLATE "C" NOT NULL,
    chunk     BIGINT NOT NULL CHECK (chunk >= 0),
    row_total BIGINT NOT NULL CHECK (row_total > 0),
    refused   BIGINT NOT NULL,
    goes      BIGINT NOT NULL,
    bytes     BIGINT NOT NULL,
    sum       BYTEA NOT NULL CHECK (length(sum) = 32),
    cpu       BIGINT NOT NULL,
    PRIMARY KEY (site, sweep, chunk),
    FOREIGN KEY (site, sweep) REFERENCES sweeps (site, id)
);

-- Results, where every service over the database finds them. They are compressed
-- already.
CREATE TABLE IF NOT EXISTS sweep_results (
    site  TEXT COLLATE "C" NOT NULL,
    sweep TEXT COLLATE "C" NOT NULL,
    chunk BIGINT NOT NULL,
    body  BYTEA NOT NULL,
    PRIMARY KEY (site, sweep, chunk)
);
ALTER TABLE sweep_results ALTER COLUMN body SET STORAGE EXTERNAL;
