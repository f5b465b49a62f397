CREATE TABLE orders (
  id INTEGER PRIMARY KEY,
  number TEXT NOT NULL UNIQUE,
  visit_id INTEGER NOT NULL REFERENCES visits(id),
  provisional INTEGER NOT NULL CHECK (provisional IN (0, 1)),
  state TEXT NOT NULL CHECK (state IN ('open', 'cancelled')),
  merged_into TEXT,
  made_us INTEGER NOT NULL,
  body TEXT NOT NULL
) STRICT;
CREATE INDEX orders_visit ON orders(visit_id);

-- Further studies of a visit: that of a provisional order, once it is merged.
CREATE TABLE visit_studies (
  study_uid TEXT PRIMARY KEY,
  visit_id INTEGER NOT NULL REFERENCES visits(id)
) STRICT;

CREATE TABLE facts (
  id INTEGER PRIMARY KEY AUTOINCREMENT,
  visit_id INTEGER NOT NULL REFERENCES visits(id),
  at_us INTEGER NOT NULL,
  who TEXT NOT NULL,
  reason TEXT,
  kind TEXT NOT NULL,
  body TEXT NOT NULL
) STRICT;
CREATE INDEX facts_visit ON facts(visit_id, id);
CREATE TRIGGER facts_stay BEFORE UPDATE ON facts BEGIN SELECT RAISE(ABORT, 'facts never change'); END;
CREATE TRIGGER facts_keep BEFORE DELETE ON facts BEGIN SELECT RAISE(ABORT, 'facts never go'); END;

CREATE TABLE moves (
  id INTEGER PRIMARY KEY,
  frame_id INTEGER NOT NULL REFERENCES frames(id),
  from_visit INTEGER NOT NULL REFERENCES visits(id),
  to_visit INTEGER NOT NULL REFERENCES visits(id),
  asked_by TEXT NOT NULL,
  asked_us INTEGER NOT NULL,
  reason TEXT NOT NULL,
  state TEXT NOT NULL CHECK (state IN ('asked', 'confirmed', 'refused')),
  decided_by TEXT,
  decided_us INTEGER
) STRICT;
CREATE UNIQUE INDEX moves_asked ON moves(frame_id) WHERE state = 'asked';

CREATE TABLE sent (
  id INTEGER PRIMARY KEY,
  frame_id INTEGER NOT NULL REFERENCES frames(id),
  recipient TEXT NOT NULL,
  at_us INTEGER NOT NULL
) STRICT;
CREATE INDEX sent_frame ON sent(frame_id);

CREATE TABLE chairs (
  name TEXT PRIMARY KEY,
  instrument TEXT UNIQUE
) STRICT;

CREATE TABLE day_ticks (
  id INTEGER PRIMARY KEY AUTOINCREMENT,
  day TEXT NOT NULL,
  item TEXT NOT NULL,
  chair TEXT,
  who TEXT NOT NULL,
  at_us INTEGER NOT NULL
) STRICT;
CREATE INDEX day_ticks_day ON day_ticks(day, id);

ALTER TABLE frames ADD COLUMN query TEXT;
ALTER TABLE frames ADD COLUMN quarantined INTEGER NOT NULL DEFAULT 0 CHECK (quarantined IN (0, 1));
ALTER TABLE visits ADD COLUMN merged_into INTEGER REFERENCES visits(id);
ALTER TABLE visits ADD COLUMN scheduled TEXT;
