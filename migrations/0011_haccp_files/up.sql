-- Files beside records: photographs, documents and tables of loggers, each about one thing.

SET LOCAL ROLE hankbook_owner;

CREATE TABLE haccp.file (
    id uuid PRIMARY KEY,
    about text NOT NULL,
    deviation uuid REFERENCES haccp.deviation (id),
    load uuid REFERENCES haccp.load (id),
    reading uuid REFERENCES haccp.reading (id),
    foreign_material uuid REFERENCES haccp.foreign_material (id),
    lot uuid REFERENCES genealogy.lot (id),
    name text NOT NULL CHECK (name <> ''),
    media_type text NOT NULL
        CHECK (media_type IN ('image/jpeg', 'image/png', 'application/pdf', 'text/csv')),
    bytes integer NOT NULL CHECK (bytes BETWEEN 1 AND 10485760),
    sha256 bytea NOT NULL CHECK (octet_length(sha256) = 32),
    CHECK (num_nonnulls(deviation, load, reading, foreign_material, lot) = 1),
    CHECK (about = coalesce('deviation:' || deviation, 'load:' || load, 'reading:' || reading,
        'foreign_material:' || foreign_material, 'lot:' || lot))
);
CALL house.add_stamp('haccp.file');
CALL house.make_record('haccp.file', 'hankbook_haccp', 'a file about a thing, by its hash');
CREATE INDEX ON haccp.file (about, id);

-- The bytes stand apart, so that no list ever reads them.
CREATE TABLE haccp.file_content (
    file uuid PRIMARY KEY REFERENCES haccp.file (id),
    content bytea NOT NULL
);
CALL house.make_link('haccp.file_content', 'hankbook_haccp', 'the bytes of a file');

RESET ROLE;
