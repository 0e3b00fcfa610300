-- Instants are microseconds since 1970 in UTC. JSON is kept as text, so that an
-- answer comes back byte for byte as it was given. Identifiers sort by time of making.

CREATE TABLE organisation (
  id         TEXT    NOT NULL PRIMARY KEY,
  name       TEXT    NOT NULL UNIQUE,
  curates    BOOLEAN NOT NULL, -- its curators may change the shared records
  created_at BIGINT  NOT NULL
);

CREATE TABLE api_key (
  id              TEXT   NOT NULL PRIMARY KEY,
  organisation_id TEXT   NOT NULL REFERENCES organisation (id) ON DELETE CASCADE,
  holder          TEXT   NOT NULL, -- the person who uses it
  role            TEXT   NOT NULL CHECK (role IN ('reader', 'keeper', 'curator', 'admin')),
  secret_hash     TEXT   NOT NULL UNIQUE,
  created_at      BIGINT NOT NULL,
  created_by      TEXT   NOT NULL,
  revoked_at      BIGINT,
  revoked_by      TEXT
);
CREATE INDEX api_key_organisation ON api_key (organisation_id, id);

-- What was done, by whom. A row without organisation concerns the installation.
CREATE TABLE audit (
  seq             INTEGER PRIMARY KEY AUTOINCREMENT,
  organisation_id TEXT   REFERENCES organisation (id) ON DELETE CASCADE,
  at              BIGINT NOT NULL,
  actor           TEXT   NOT NULL, -- key id, or the operator
  holder          TEXT   NOT NULL,
  action          TEXT   NOT NULL,
  subject         TEXT   NOT NULL,
  detail          TEXT   NOT NULL
);
CREATE INDEX audit_organisation ON audit (organisation_id, seq);

CREATE TABLE idempotency (
  organisation_id TEXT   NOT NULL REFERENCES organisation (id) ON DELETE CASCADE,
  token           TEXT   NOT NULL,
  fingerprint     TEXT   NOT NULL, -- of the request
  subject         TEXT   NOT NULL, -- what it made
  created_at      BIGINT NOT NULL,
  PRIMARY KEY (organisation_id, token)
);
CREATE INDEX idempotency_age ON idempotency (created_at);

CREATE TABLE setup (
  id              TEXT    NOT NULL PRIMARY KEY,
  organisation_id TEXT    NOT NULL REFERENCES organisation (id) ON DELETE CASCADE,
  version         BIGINT  NOT NULL,
  deleted         BOOLEAN NOT NULL,
  created_at      BIGINT  NOT NULL,
  created_by      TEXT    NOT NULL
);
CREATE INDEX setup_organisation ON setup (organisation_id, id);

-- Every state of a setup, the current one included.
CREATE TABLE setup_version (
  setup_id TEXT   NOT NULL REFERENCES setup (id) ON DELETE CASCADE,
  version  BIGINT NOT NULL,
  name     TEXT   NOT NULL,
  species  TEXT   NOT NULL, -- one species id, or empty
  payload  TEXT   NOT NULL,
  at       BIGINT NOT NULL,
  by_key   TEXT   NOT NULL,
  PRIMARY KEY (setup_id, version)
);
CREATE INDEX setup_version_species ON setup_version (species);

CREATE TABLE assessment (
  id                 TEXT   NOT NULL PRIMARY KEY,
  organisation_id    TEXT   NOT NULL REFERENCES organisation (id) ON DELETE CASCADE,
  setup_id           TEXT   NOT NULL,
  setup_version      BIGINT NOT NULL,
  at                 BIGINT NOT NULL,
  by_key             TEXT   NOT NULL,
  species            TEXT   NOT NULL,
  verdict            TEXT   NOT NULL,
  worst              DOUBLE PRECISION NOT NULL,
  best               DOUBLE PRECISION NOT NULL,
  catalogue_revision TEXT   NOT NULL,
  engine_version     TEXT   NOT NULL,
  format             BIGINT NOT NULL, -- of payload
  payload            TEXT   NOT NULL,
  FOREIGN KEY (setup_id, setup_version) REFERENCES setup_version (setup_id, version) ON DELETE CASCADE
);
CREATE INDEX assessment_organisation ON assessment (organisation_id, id);
CREATE INDEX assessment_setup ON assessment (setup_id, id);
CREATE INDEX assessment_species ON assessment (organisation_id, species, verdict);

-- One proposed text of one catalogue file. The text never changes; the state moves on.
CREATE TABLE record_revision (
  id           TEXT   NOT NULL PRIMARY KEY,
  path         TEXT   NOT NULL,
  number       BIGINT NOT NULL, -- 1, 2, 3 … for each path
  state        TEXT   NOT NULL CHECK (state IN ('draft', 'reviewed', 'published', 'withdrawn')),
  origin       TEXT   NOT NULL CHECK (origin IN ('curator', 'import', 'program')),
  parent       TEXT   NOT NULL, -- revision in force when it was drafted; empty for the embedded record
  base_hash    TEXT   NOT NULL, -- of the embedded record it started from; empty where there was none
  hash         TEXT   NOT NULL,
  body         TEXT   NOT NULL,
  published_in BIGINT, -- catalogue numbers, from and up to (not including)
  withdrawn_in BIGINT,
  created_at   BIGINT NOT NULL,
  UNIQUE (path, number)
);
CREATE UNIQUE INDEX record_in_force ON record_revision (path) WHERE state = 'published';
CREATE INDEX record_state ON record_revision (state, id);
CREATE INDEX record_published ON record_revision (published_in);

-- Each step of a revision: who, when, why.
CREATE TABLE record_step (
  revision_id TEXT   NOT NULL REFERENCES record_revision (id),
  step        BIGINT NOT NULL,
  state       TEXT   NOT NULL,
  at          BIGINT NOT NULL,
  by_key      TEXT   NOT NULL,
  holder      TEXT   NOT NULL,
  why         TEXT   NOT NULL,
  PRIMARY KEY (revision_id, step)
);

-- Each change of the records in force gets the next number; 0 is the embedded catalogue alone.
CREATE TABLE catalogue_change (
  number BIGINT NOT NULL PRIMARY KEY,
  at     BIGINT NOT NULL,
  by_key TEXT   NOT NULL,
  holder TEXT   NOT NULL,
  why    TEXT   NOT NULL
);

-- The embedded records of every program that was run, so that an old answer can be worked again.
CREATE TABLE embedded_text (
  hash TEXT NOT NULL PRIMARY KEY,
  body TEXT NOT NULL
);
CREATE TABLE embedded_file (
  set_hash  TEXT NOT NULL,
  path      TEXT NOT NULL,
  text_hash TEXT NOT NULL REFERENCES embedded_text (hash),
  PRIMARY KEY (set_hash, path)
);

-- Every catalogue that was ever in use: the name in an assessment, and what it was made of.
CREATE TABLE catalogue (
  name       TEXT   NOT NULL PRIMARY KEY,
  number     BIGINT NOT NULL,
  set_hash   TEXT   NOT NULL,
  first_seen BIGINT NOT NULL
);

-- What is written once stays as written, whoever holds the connection.
CREATE TRIGGER assessment_fixed BEFORE UPDATE ON assessment BEGIN SELECT RAISE(ABORT, 'assessment is append-only'); END;
CREATE TRIGGER setup_version_fixed BEFORE UPDATE ON setup_version BEGIN SELECT RAISE(ABORT, 'setup_version is append-only'); END;
CREATE TRIGGER audit_fixed BEFORE UPDATE ON audit BEGIN SELECT RAISE(ABORT, 'audit is append-only'); END;
CREATE TRIGGER record_step_fixed BEFORE UPDATE ON record_step BEGIN SELECT RAISE(ABORT, 'record_step is append-only'); END;
CREATE TRIGGER record_step_kept BEFORE DELETE ON record_step BEGIN SELECT RAISE(ABORT, 'record_step is append-only'); END;
CREATE TRIGGER record_revision_text_fixed BEFORE UPDATE OF id, path, number, origin, parent, base_hash, hash, body, created_at ON record_revision
BEGIN SELECT RAISE(ABORT, 'record_revision is append-only'); END;
CREATE TRIGGER record_revision_kept BEFORE DELETE ON record_revision BEGIN SELECT RAISE(ABORT, 'record_revision is append-only'); END;
CREATE TRIGGER catalogue_change_fixed BEFORE UPDATE ON catalogue_change BEGIN SELECT RAISE(ABORT, 'catalogue_change is append-only'); END;
CREATE TRIGGER catalogue_change_kept BEFORE DELETE ON catalogue_change BEGIN SELECT RAISE(ABORT, 'catalogue_change is append-only'); END;
