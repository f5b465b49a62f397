CREATE TABLE patients (
  id INTEGER PRIMARY KEY,
  hospital_id TEXT NOT NULL UNIQUE,
  name TEXT NOT NULL,
  birth_date TEXT,
  sex TEXT
) STRICT;

CREATE TABLE visits (
  id INTEGER PRIMARY KEY,
  study_uid TEXT NOT NULL UNIQUE,
  patient_id INTEGER NOT NULL REFERENCES patients(id),
  order_name TEXT NOT NULL,
  protocol TEXT NOT NULL,
  chair TEXT,
  opened_us INTEGER NOT NULL,
  closed INTEGER NOT NULL DEFAULT 0 CHECK (closed IN (0, 1)),
  right_eye TEXT NOT NULL,
  left_eye TEXT NOT NULL
) STRICT;
CREATE INDEX visits_board ON visits(closed, opened_us, id);
CREATE INDEX visits_patient ON visits(patient_id);

CREATE TABLE closed_views (
  visit_id INTEGER NOT NULL REFERENCES visits(id),
  view TEXT NOT NULL,
  ending TEXT NOT NULL CHECK (ending IN ('not_obtainable', 'not_done')),
  reason TEXT NOT NULL,
  closed_us INTEGER NOT NULL,
  PRIMARY KEY (visit_id, view)
) STRICT;

CREATE TABLE files (
  id INTEGER PRIMARY KEY,
  sha256 TEXT NOT NULL UNIQUE,
  size INTEGER NOT NULL,
  name TEXT NOT NULL,
  source TEXT NOT NULL,
  received_us INTEGER NOT NULL,
  class_uid TEXT,
  instance_uid TEXT,
  study_uid TEXT,
  hospital_id TEXT,
  person_name TEXT,
  birth_date TEXT,
  sex TEXT,
  conflict INTEGER NOT NULL DEFAULT 0 CHECK (conflict IN (0, 1))
) STRICT;
CREATE INDEX files_instance ON files(instance_uid) WHERE instance_uid IS NOT NULL;
CREATE INDEX files_study ON files(study_uid) WHERE study_uid IS NOT NULL;

CREATE TABLE observations (
  id INTEGER PRIMARY KEY,
  frame_id INTEGER NOT NULL REFERENCES frames(id),
  key TEXT NOT NULL UNIQUE,
  kind TEXT NOT NULL,
  method TEXT NOT NULL,
  revision INTEGER NOT NULL,
  parameters TEXT NOT NULL,
  made_us INTEGER NOT NULL,
  body TEXT NOT NULL
) STRICT;
CREATE INDEX observations_frame ON observations(frame_id);
CREATE TRIGGER observations_stay BEFORE UPDATE ON observations
  BEGIN SELECT RAISE(ABORT, 'observations never change'); END;
CREATE TRIGGER observations_keep BEFORE DELETE ON observations
  BEGIN SELECT RAISE(ABORT, 'observations never go'); END;

CREATE TABLE frames (
  id INTEGER PRIMARY KEY,
  file_id INTEGER NOT NULL REFERENCES files(id),
  idx INTEGER NOT NULL,
  visit_id INTEGER REFERENCES visits(id),
  unassigned TEXT,
  width INTEGER NOT NULL,
  height INTEGER NOT NULL,
  facts TEXT NOT NULL,
  acquired_us INTEGER,
  corrections TEXT NOT NULL DEFAULT '{}',
  state TEXT NOT NULL CHECK (state IN ('waiting', 'checked', 'failed')),
  failure TEXT,
  set_aside TEXT,
  wanted_key TEXT,
  observation_id INTEGER REFERENCES observations(id),
  UNIQUE (file_id, idx),
  CHECK ((visit_id IS NULL) <> (unassigned IS NULL))
) STRICT;
CREATE INDEX frames_visit ON frames(visit_id, state, set_aside) WHERE visit_id IS NOT NULL;
CREATE INDEX frames_unassigned ON frames(id) WHERE visit_id IS NULL;
CREATE INDEX frames_unchecked ON frames(state) WHERE state <> 'checked';

CREATE TABLE work (
  id INTEGER PRIMARY KEY,
  key TEXT NOT NULL UNIQUE,
  kind TEXT NOT NULL,
  method TEXT NOT NULL,
  revision INTEGER NOT NULL,
  parameters TEXT NOT NULL,
  frame_id INTEGER NOT NULL REFERENCES frames(id),
  state TEXT NOT NULL CHECK (state IN ('ready', 'leased', 'done', 'dead')),
  attempts INTEGER NOT NULL DEFAULT 0,
  lease_until_us INTEGER,
  failure TEXT
) STRICT;
CREATE INDEX work_ready ON work(attempts, id) WHERE state = 'ready';
CREATE INDEX work_leased ON work(lease_until_us) WHERE state = 'leased';
CREATE INDEX work_dead ON work(id) WHERE state = 'dead';

CREATE TABLE events (
  id INTEGER PRIMARY KEY AUTOINCREMENT,
  at_us INTEGER NOT NULL,
  kind TEXT NOT NULL,
  what TEXT NOT NULL,
  visit_id INTEGER,
  frame_id INTEGER
) STRICT;

CREATE TABLE chains (
  chain TEXT PRIMARY KEY,
  entries INTEGER NOT NULL,
  head TEXT NOT NULL,
  bound INTEGER NOT NULL DEFAULT 0 CHECK (bound IN (0, 1))
) STRICT;

CREATE TABLE audit (
  id INTEGER PRIMARY KEY AUTOINCREMENT,
  chain TEXT NOT NULL REFERENCES chains(chain),
  seq INTEGER NOT NULL,
  prev TEXT NOT NULL,
  body TEXT NOT NULL,
  hash TEXT NOT NULL UNIQUE,
  UNIQUE (chain, seq)
) STRICT;
CREATE TRIGGER audit_stays BEFORE UPDATE ON audit BEGIN SELECT RAISE(ABORT, 'the audit trail never changes'); END;
CREATE TRIGGER audit_keeps BEFORE DELETE ON audit BEGIN SELECT RAISE(ABORT, 'the audit trail never shrinks'); END;
