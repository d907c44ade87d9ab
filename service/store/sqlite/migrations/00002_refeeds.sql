-- The refeeds of a target: one day in so many, 0 for none. Decisions from before
-- prescribed none.

-- +goose Up
ALTER TABLE decision ADD COLUMN refeed_every_days INTEGER NOT NULL DEFAULT 0;
ALTER TABLE decision ADD COLUMN refeed_intake_kcal REAL NOT NULL DEFAULT 0;
