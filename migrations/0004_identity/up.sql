-- People, stations, sessions and the plant's settings: who may do what, and who did.

SET LOCAL ROLE hankbook_owner;

CALL house.make_plumbing('identity', 'hankbook_identity');

CREATE TABLE identity.person (
    id uuid NOT NULL,
    version integer NOT NULL CHECK (version > 0),
    record_id uuid NOT NULL UNIQUE,
    sign_in_name text NOT NULL CHECK (sign_in_name <> ''),
    name text NOT NULL CHECK (name <> ''),
    roles text[] NOT NULL,
    language text NOT NULL CHECK (language IN ('en', 'es')),
    in_use boolean NOT NULL,
    entered_by text NOT NULL,
    entered_by_name text NOT NULL,
    recorded_at timestamptz NOT NULL,
    fingerprint bytea NOT NULL,
    PRIMARY KEY (id, version)
);
CALL house.make_record('identity.person', 'hankbook_identity', 'a person, by version');

-- The version in force, and since which version the rights are what they are.
CREATE TABLE identity.person_in_force (
    person uuid PRIMARY KEY,
    version integer NOT NULL,
    sign_in_name text NOT NULL UNIQUE,
    rights_version integer NOT NULL CHECK (rights_version <= version),
    is_administrator boolean NOT NULL,
    FOREIGN KEY (person, version) REFERENCES identity.person (id, version)
);
CALL house.make_state('identity.person_in_force', 'hankbook_identity',
    'the last version of each person and the last that changed rights');

CREATE TABLE identity.station (
    id uuid NOT NULL,
    version integer NOT NULL CHECK (version > 0),
    record_id uuid NOT NULL UNIQUE,
    name text NOT NULL CHECK (name <> ''),
    place text NOT NULL,
    in_use boolean NOT NULL,
    entered_by text NOT NULL,
    entered_by_name text NOT NULL,
    recorded_at timestamptz NOT NULL,
    fingerprint bytea NOT NULL,
    PRIMARY KEY (id, version)
);
CALL house.make_record('identity.station', 'hankbook_identity', 'a station, by version');

CREATE TABLE identity.plant_settings (
    id uuid NOT NULL,
    version integer NOT NULL CHECK (version > 0),
    record_id uuid NOT NULL UNIQUE,
    establishment_name text NOT NULL,
    establishment_number text NOT NULL,
    zone text NOT NULL,
    day_start text NOT NULL,
    temperature_unit text NOT NULL,
    mass_unit text NOT NULL,
    lot_code_pattern text NOT NULL,
    entered_by text NOT NULL,
    entered_by_name text NOT NULL,
    recorded_at timestamptz NOT NULL,
    fingerprint bytea NOT NULL,
    PRIMARY KEY (id, version)
);
CALL house.make_record('identity.plant_settings', 'hankbook_identity', 'the settings of the plant, by version');

-- Sign-ins, ends of sessions and changes of passwords; the id of a session is that of its begin.
CREATE TABLE identity.session_begin (
    id uuid PRIMARY KEY,
    person uuid NOT NULL,
    person_version integer NOT NULL,
    station text NOT NULL,
    recorded_at timestamptz NOT NULL,
    FOREIGN KEY (person, person_version) REFERENCES identity.person (id, version)
);
CALL house.make_record('identity.session_begin', 'hankbook_identity', 'a sign-in');

CREATE TABLE identity.session_end (
    id uuid PRIMARY KEY,
    session uuid NOT NULL UNIQUE REFERENCES identity.session_begin (id),
    reason text NOT NULL,
    entered_by text NOT NULL,
    entered_by_name text NOT NULL,
    recorded_at timestamptz NOT NULL
);
CALL house.make_record('identity.session_end', 'hankbook_identity', 'the end of a session and why');

CREATE TABLE identity.credential_change (
    id uuid PRIMARY KEY,
    person uuid NOT NULL,
    must_change boolean NOT NULL,
    entered_by text NOT NULL,
    entered_by_name text NOT NULL,
    recorded_at timestamptz NOT NULL
);
CALL house.make_record('identity.credential_change', 'hankbook_identity', 'who changed whose password, never the password');

-- A verifier is replaced, not kept: no record holds it.
CREATE TABLE identity.credential (
    person uuid PRIMARY KEY,
    verifier text NOT NULL,
    must_change boolean NOT NULL
);
CALL house.make_transient('identity.credential', 'hankbook_identity', 'password verifiers (Argon2id)');

CREATE TABLE identity.session (
    id uuid PRIMARY KEY REFERENCES identity.session_begin (id),
    person uuid NOT NULL,
    station text NOT NULL,
    begun_at timestamptz NOT NULL,
    refresh_until timestamptz NOT NULL,
    tokens_until timestamptz NOT NULL,
    ended_at timestamptz
);
CREATE INDEX ON identity.session (person) WHERE ended_at IS NULL;
CREATE INDEX ON identity.session (tokens_until) WHERE ended_at IS NOT NULL;
CALL house.make_transient('identity.session', 'hankbook_identity', 'sessions with a living token');

CREATE TABLE identity.refresh_token (
    hash bytea PRIMARY KEY CHECK (octet_length(hash) = 32),
    session uuid NOT NULL REFERENCES identity.session (id) ON DELETE CASCADE,
    is_used boolean NOT NULL
);
CREATE INDEX ON identity.refresh_token (session);
CALL house.make_transient('identity.refresh_token', 'hankbook_identity', 'refresh tokens by hash, good once');

-- Counted by the database's own clock: a simulated one neither locks nor frees anybody.
CREATE TABLE identity.refused_sign_in (
    id uuid PRIMARY KEY,
    sign_in_name text NOT NULL,
    tried_at timestamptz NOT NULL DEFAULT clock_timestamp()
);
CREATE INDEX ON identity.refused_sign_in (sign_in_name, tried_at);
CREATE INDEX ON identity.refused_sign_in (tried_at);
CALL house.make_transient('identity.refused_sign_in', 'hankbook_identity', 'tries of a password that were not right');

RESET ROLE;
