-- The readings of a day, for the page of the day. Days are written in their order, so a summary of
-- blocks finds them and costs the writing of readings next to nothing.
SET LOCAL ROLE hankbook_owner;

CREATE INDEX ON haccp.reading USING brin (day) WITH (autosummarize = on);

RESET ROLE;
