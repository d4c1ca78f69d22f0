-- Loads and their curves, judgements, challenges, instruments, missed checks, reviews, stations.

SET LOCAL ROLE hankbook_owner;

CREATE TABLE haccp.instrument (
    id uuid NOT NULL,
    version integer NOT NULL CHECK (version > 0),
    record_id uuid NOT NULL UNIQUE,
    name text NOT NULL CHECK (name <> ''),
    kind text NOT NULL,
    -- The greatest error, either way, with which it may be used.
    tolerance numeric NOT NULL CHECK (tolerance >= 0),
    unit text NOT NULL,
    in_use boolean NOT NULL,
    PRIMARY KEY (id, version)
);
CALL house.add_stamp('haccp.instrument');
CALL house.make_record('haccp.instrument', 'hankbook_haccp', 'a thermometer or probe, by version');

CREATE TABLE haccp.instrument_check (
    id uuid PRIMARY KEY,
    instrument uuid NOT NULL,
    instrument_version integer NOT NULL,
    reference numeric NOT NULL,
    shown numeric NOT NULL,
    unit text NOT NULL,
    -- What it shows too much.
    error numeric NOT NULL,
    verdict text NOT NULL CHECK (verdict IN ('PASS', 'FAIL')),
    note text NOT NULL,
    FOREIGN KEY (instrument, instrument_version) REFERENCES haccp.instrument (id, version)
);
CALL house.add_stamp('haccp.instrument_check');
CALL house.add_moments('haccp.instrument_check');
CALL house.make_record('haccp.instrument_check', 'hankbook_haccp',
    'an instrument held against a reference');
CREATE INDEX ON haccp.instrument_check (instrument, observed_at);

-- The instrument of a reading, and what was taken off each value before it was judged.
ALTER TABLE haccp.reading
    ADD COLUMN instrument uuid,
    ADD COLUMN instrument_check uuid REFERENCES haccp.instrument_check (id),
    ADD COLUMN correction numeric,
    -- True: it raised the safety versions of its lots, without a deviation.
    ADD COLUMN is_less_safe boolean NOT NULL DEFAULT false,
    -- Undetermined: its instrument had no good check.
    DROP CONSTRAINT reading_verdict_check,
    ADD CONSTRAINT reading_verdict_check CHECK (verdict IN ('PASS', 'FAIL', 'UNDETERMINED')),
    ADD CONSTRAINT reading_instrument_check CHECK ((instrument_check IS NULL) = (correction IS NULL)
        AND (instrument IS NOT NULL OR instrument_check IS NULL));
CREATE INDEX ON haccp.reading (instrument, observed_at) WHERE instrument IS NOT NULL;

CREATE TABLE haccp.load (
    id uuid PRIMARY KEY,
    house uuid NOT NULL,
    house_name text NOT NULL,
    note text NOT NULL
);
CALL house.add_stamp('haccp.load');
CALL house.add_moments('haccp.load');
CALL house.make_record('haccp.load', 'hankbook_haccp', 'racks that went into a house together');
CREATE INDEX ON haccp.load (house, observed_at);

CREATE TABLE haccp.load_rack (
    load uuid NOT NULL REFERENCES haccp.load (id),
    lot uuid NOT NULL REFERENCES genealogy.lot (id),
    lot_code text NOT NULL CHECK (lot_code <> ''),
    PRIMARY KEY (lot, load)
);
CALL house.make_link('haccp.load_rack', 'hankbook_haccp', 'the racks of a load');
CREATE INDEX ON haccp.load_rack (load);

CREATE TABLE haccp.load_probe (
    load uuid NOT NULL REFERENCES haccp.load (id),
    probe text NOT NULL CHECK (probe <> ''),
    -- rack: in the core of a link on the lot's rack; air: beside the product.
    seat text NOT NULL CHECK (seat IN ('rack', 'air')),
    lot uuid REFERENCES genealogy.lot (id),
    PRIMARY KEY (load, probe),
    CHECK ((seat = 'rack') = (lot IS NOT NULL))
);
CALL house.make_link('haccp.load_probe', 'hankbook_haccp', 'the probes of a load and their seats');

-- Samples as they came, never changed: one record and one leaf a block.
CREATE TABLE haccp.sample_block (
    id uuid PRIMARY KEY,
    load uuid NOT NULL REFERENCES haccp.load (id),
    probe text NOT NULL CHECK (probe <> ''),
    -- probe: of the house; logger: read out of a logger; hand: taken by a person.
    source text NOT NULL CHECK (source IN ('probe', 'logger', 'hand')),
    lot uuid REFERENCES genealogy.lot (id),
    instrument_check uuid REFERENCES haccp.instrument_check (id),
    correction numeric,
    unit text NOT NULL,
    -- The instant of time 0 of the samples.
    begun_at timestamptz NOT NULL,
    times_s numeric[] NOT NULL,
    readings numeric[] NOT NULL,
    CHECK (cardinality(times_s) = cardinality(readings) AND cardinality(times_s) >= 1)
);
CALL house.add_stamp('haccp.sample_block');
CALL house.add_moments('haccp.sample_block');
CALL house.make_record('haccp.sample_block', 'hankbook_haccp', 'a block of samples of one probe');
CREATE INDEX ON haccp.sample_block (load, probe);

CREATE TABLE haccp.probe_left_out (
    id uuid PRIMARY KEY,
    load uuid NOT NULL REFERENCES haccp.load (id),
    probe text NOT NULL,
    left_out_from timestamptz NOT NULL,
    reason text NOT NULL CHECK (reason <> ''),
    ticket uuid NOT NULL UNIQUE
);
CALL house.add_stamp('haccp.probe_left_out');
CALL house.make_record('haccp.probe_left_out', 'hankbook_haccp',
    'a probe left out of the judgement from an instant on, signed');
CREATE INDEX ON haccp.probe_left_out (load);

CREATE TABLE haccp.pull (
    id uuid PRIMARY KEY,
    load uuid NOT NULL REFERENCES haccp.load (id),
    -- True: somebody pulled below the limit, which opened a deviation.
    is_overruled boolean NOT NULL,
    reason text NOT NULL
);
CALL house.add_stamp('haccp.pull');
CALL house.add_moments('haccp.pull');
CALL house.make_record('haccp.pull', 'hankbook_haccp', 'racks that left a house');
CREATE INDEX ON haccp.pull (load);

CREATE TABLE haccp.pull_rack (
    pull uuid NOT NULL REFERENCES haccp.pull (id),
    load uuid NOT NULL REFERENCES haccp.load (id),
    lot uuid NOT NULL REFERENCES genealogy.lot (id),
    PRIMARY KEY (lot, pull),
    UNIQUE (load, lot)
);
CALL house.make_link('haccp.pull_rack', 'hankbook_haccp', 'the racks of a pull');
CREATE INDEX ON haccp.pull_rack (pull);

-- What a curve was found to prove, each time that it changed; the last of a lot and check stands.
CREATE TABLE haccp.judgement (
    id uuid PRIMARY KEY,
    load uuid NOT NULL REFERENCES haccp.load (id),
    plan uuid NOT NULL,
    plan_version integer NOT NULL,
    check_code text NOT NULL,
    verdict text NOT NULL CHECK (verdict IN ('PASS', 'FAIL', 'UNDETERMINED')),
    -- The pull that ended the cook; of a chill the last reading that was looked at.
    observed_at timestamptz NOT NULL,
    what text NOT NULL,
    FOREIGN KEY (plan, plan_version) REFERENCES haccp.plan (id, version)
);
CALL house.add_stamp('haccp.judgement');
CALL house.make_record('haccp.judgement', 'hankbook_haccp', 'what the curves of a load prove');
CREATE INDEX ON haccp.judgement (load);

CREATE TABLE haccp.judgement_lot (
    judgement uuid NOT NULL REFERENCES haccp.judgement (id),
    lot uuid NOT NULL REFERENCES genealogy.lot (id),
    PRIMARY KEY (lot, judgement)
);
CALL house.make_link('haccp.judgement_lot', 'hankbook_haccp', 'the racks that a judgement concerns');
CREATE INDEX ON haccp.judgement_lot (judgement);

CREATE TABLE haccp.challenge (
    id uuid PRIMARY KEY,
    plan uuid NOT NULL,
    plan_version integer NOT NULL,
    check_code text NOT NULL,
    -- What was challenged: metal_detector, x_ray, film.
    device text NOT NULL,
    place uuid NOT NULL,
    place_name text NOT NULL,
    -- [{"name", "found"}]
    pieces jsonb NOT NULL,
    is_good boolean NOT NULL,
    note text NOT NULL,
    FOREIGN KEY (plan, plan_version) REFERENCES haccp.plan (id, version)
);
CALL house.add_stamp('haccp.challenge');
CALL house.add_moments('haccp.challenge');
CALL house.make_record('haccp.challenge', 'hankbook_haccp',
    'a challenge that proves what passed since the last good one');
CREATE INDEX ON haccp.challenge (place, device, observed_at);

-- A deviation comes of a reading, of a judgement, of a challenge, or of a person who saw it.
ALTER TABLE haccp.deviation
    ALTER COLUMN reading DROP NOT NULL,
    ADD COLUMN judgement uuid UNIQUE REFERENCES haccp.judgement (id),
    ADD COLUMN challenge uuid UNIQUE REFERENCES haccp.challenge (id),
    -- The span of passing time that a failed challenge concerns: after from, up to to.
    ADD COLUMN place uuid,
    ADD COLUMN span_from timestamptz,
    ADD COLUMN span_to timestamptz,
    ADD COLUMN entered_by text NOT NULL DEFAULT 'system/haccp',
    ADD COLUMN entered_by_name text NOT NULL DEFAULT 'system/haccp',
    ADD COLUMN fingerprint bytea,
    ADD CONSTRAINT deviation_cause_check CHECK (num_nonnulls(reading, judgement, challenge,
        fingerprint) = 1),
    ADD CONSTRAINT deviation_span_check CHECK ((challenge IS NULL) = (place IS NULL)
        AND (place IS NULL) = (span_to IS NULL));

-- Beside the four parts: what shows that a record was wrong, where that is the disposition.
ALTER TABLE haccp.deviation_end ADD COLUMN evidence text;

CREATE TABLE haccp.missed_check (
    id uuid PRIMARY KEY,
    plan uuid NOT NULL,
    plan_version integer NOT NULL,
    check_code text NOT NULL,
    missed_from timestamptz NOT NULL,
    missed_to timestamptz NOT NULL CHECK (missed_to > missed_from),
    -- The load whose continuous curve covers the time.
    evidence uuid NOT NULL REFERENCES haccp.load (id),
    cause text NOT NULL CHECK (cause <> ''),
    prevention text NOT NULL CHECK (prevention <> ''),
    ticket uuid NOT NULL UNIQUE,
    FOREIGN KEY (plan, plan_version) REFERENCES haccp.plan (id, version)
);
CALL house.add_stamp('haccp.missed_check');
CALL house.make_record('haccp.missed_check', 'hankbook_haccp',
    'a missed check that other evidence covers, signed; it stays missed');
CREATE TABLE haccp.missed_check_lot (
    missed_check uuid NOT NULL REFERENCES haccp.missed_check (id),
    lot uuid NOT NULL REFERENCES genealogy.lot (id),
    PRIMARY KEY (lot, missed_check)
);
CALL house.make_link('haccp.missed_check_lot', 'hankbook_haccp', 'the lots of a missed check');
CREATE INDEX ON haccp.missed_check_lot (missed_check);

CREATE TABLE haccp.foreign_material (
    id uuid PRIMARY KEY,
    lot uuid NOT NULL REFERENCES genealogy.lot (id),
    serial text NOT NULL,
    what text NOT NULL CHECK (what <> ''),
    size_mm numeric,
    found_at_place text NOT NULL,
    knives_and_plates text NOT NULL
);
CALL house.add_stamp('haccp.foreign_material');
CALL house.add_moments('haccp.foreign_material');
CALL house.make_record('haccp.foreign_material', 'hankbook_haccp', 'foreign material found');
CREATE INDEX ON haccp.foreign_material (lot);
CREATE TABLE haccp.foreign_material_answer (
    id uuid PRIMARY KEY,
    foreign_material uuid NOT NULL UNIQUE REFERENCES haccp.foreign_material (id),
    is_earlier_touched boolean NOT NULL,
    why text NOT NULL CHECK (why <> ''),
    ticket uuid NOT NULL UNIQUE
);
CALL house.add_stamp('haccp.foreign_material_answer');
CALL house.make_record('haccp.foreign_material_answer', 'hankbook_haccp',
    'whether earlier product is touched, and why, signed');

CREATE TABLE haccp.review (
    id uuid PRIMARY KEY,
    note text NOT NULL,
    ticket uuid NOT NULL UNIQUE
);
CALL house.add_stamp('haccp.review');
CALL house.make_record('haccp.review', 'hankbook_haccp', 'a signed review before shipment');
CREATE TABLE haccp.review_lot (
    review uuid NOT NULL REFERENCES haccp.review (id),
    lot uuid NOT NULL REFERENCES genealogy.lot (id),
    -- SHA-256 over the closure with its versions, as the reviewer saw it.
    closure bytea NOT NULL CHECK (octet_length(closure) = 32),
    -- Cases that were not clear at the review: it does not cover them.
    excepted text[] NOT NULL,
    -- What was not met when it was signed: what comes to be known later was not reviewed.
    seen text[] NOT NULL,
    -- True when the reviewer had recorded some of what was reviewed.
    reviewer_recorded boolean NOT NULL,
    PRIMARY KEY (lot, review)
);
CALL house.make_link('haccp.review_lot', 'hankbook_haccp', 'the lots that a review names');
CREATE INDEX ON haccp.review_lot (review);

CREATE TABLE haccp.station_place (
    id uuid PRIMARY KEY,
    station_id uuid NOT NULL,
    station_name text NOT NULL,
    place uuid NOT NULL,
    place_name text NOT NULL,
    -- False: from now on the station watches the place no more.
    is_bound boolean NOT NULL
);
CALL house.add_stamp('haccp.station_place');
CALL house.make_record('haccp.station_place', 'hankbook_haccp', 'which station watches which place');
CREATE INDEX ON haccp.station_place (place);
CREATE TABLE haccp.station_heard (
    id uuid PRIMARY KEY,
    station_id uuid NOT NULL,
    heard_at timestamptz NOT NULL,
    -- Entries that it had not yet sent.
    queued integer NOT NULL CHECK (queued >= 0)
);
CALL house.add_stamp('haccp.station_heard');
CALL house.make_record('haccp.station_heard', 'hankbook_haccp',
    'a station was heard, with what it still had to send');
CREATE INDEX ON haccp.station_heard (station_id, heard_at) WHERE queued = 0;
CREATE TABLE haccp.station_look (
    id uuid PRIMARY KEY,
    station_id uuid NOT NULL,
    look_from timestamptz NOT NULL,
    look_to timestamptz NOT NULL CHECK (look_to > look_from),
    note text NOT NULL CHECK (note <> ''),
    ticket uuid NOT NULL UNIQUE
);
CALL house.add_stamp('haccp.station_look');
CALL house.make_record('haccp.station_look', 'hankbook_haccp',
    'a silent station was looked at for a span, signed');
CREATE INDEX ON haccp.station_look (station_id);

-- The day on which haccp was told of a lot: where a day's lots are looked for. It is no fact of the
-- lot, so no replay gives it.
ALTER TABLE haccp.lot_bound ADD COLUMN bound_on date;
CREATE INDEX ON haccp.lot_bound (bound_on);

-- A message that could not be carried out is never dropped: it stands here and is counted.
CREATE TABLE haccp.refused_message (
    id uuid PRIMARY KEY,
    method text NOT NULL,
    reason text NOT NULL
);
CALL house.add_stamp('haccp.refused_message');
CALL house.make_record('haccp.refused_message', 'hankbook_haccp',
    'a message of another service that was refused');
CREATE TABLE haccp.refused_message_lot (
    refused_message uuid NOT NULL REFERENCES haccp.refused_message (id),
    -- A lot that haccp may not know.
    lot uuid NOT NULL,
    PRIMARY KEY (lot, refused_message)
);
CALL house.make_link('haccp.refused_message_lot', 'hankbook_haccp', 'the lots of a refused message');
CREATE INDEX ON haccp.refused_message_lot (refused_message);

RESET ROLE;
