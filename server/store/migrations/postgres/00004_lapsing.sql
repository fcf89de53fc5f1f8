-- +goose Up

-- What has run out is found without reading what has not.
CREATE INDEX reservations_by_until ON reservations (site, until) WHERE close_seq IS NULL;
