-- The run of a batch: the batches of one product made one after another.

SET LOCAL ROLE hankbook_owner;

-- As people call it; NULL where nobody named one. It is a name and no more: no verdict, no hold and
-- no deviation is ever of a run.
ALTER TABLE genealogy.lot ADD COLUMN run text,
    ADD CONSTRAINT lot_run_check CHECK (run <> '' AND (run IS NULL OR kind = 'batch'));
CREATE INDEX lot_run ON genealogy.lot (lower(run), id) WHERE run IS NOT NULL;

RESET ROLE;
