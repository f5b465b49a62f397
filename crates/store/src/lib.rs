//! Serrata: database, originals, audit trail and work items.
