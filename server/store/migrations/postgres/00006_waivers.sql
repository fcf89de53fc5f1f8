-- +goose Up

-- Waivers of a plan's cautions, as JSON, in the order of the log. An earlier program
-- would write a plan without them, so that it must not open a store that has them.
ALTER TABLE plans ADD COLUMN waivers TEXT COLLATE "C" NOT NULL DEFAULT '[]';
