-- What is to reach another place: one row for each file and destination.
CREATE TABLE deliveries (
  id INTEGER PRIMARY KEY,
  destination TEXT NOT NULL,
  visit_id INTEGER NOT NULL REFERENCES visits(id),
  sha256 TEXT NOT NULL,
  name TEXT NOT NULL,
  instance_uid TEXT NOT NULL,
  frames TEXT NOT NULL,
  state TEXT NOT NULL CHECK (state IN ('waiting', 'stored', 'asked', 'done', 'failed', 'withdrawn')),
  tries INTEGER NOT NULL DEFAULT 0,
  next_us INTEGER NOT NULL,
  why TEXT,
  transaction_uid TEXT,
  sent_as TEXT,
  who TEXT NOT NULL,
  queued_us INTEGER NOT NULL,
  done_us INTEGER,
  UNIQUE (destination, sha256)
) STRICT;
CREATE INDEX deliveries_due ON deliveries(destination, state, tries, id) WHERE state IN ('waiting', 'stored', 'asked');
CREATE INDEX deliveries_visit ON deliveries(visit_id, id);
CREATE INDEX deliveries_open ON deliveries(id) WHERE state NOT IN ('done', 'withdrawn');
CREATE INDEX deliveries_asked ON deliveries(transaction_uid) WHERE state = 'asked';
