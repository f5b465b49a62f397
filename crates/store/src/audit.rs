//! The audit trail: one hash chain per writing process, appended in the same transaction as the fact.
//!
//! An entry's hash is SHA-256 of the hash before it (64 hex digits; zeros for the first) followed by its body, which
//! is canonical JSON with ids in place of names. The first entry of a chain binds the heads of all others: those
//! that no entry has bound since they last grew are named, and through them all that they bound.

use crate::canonical::{canonical_json, sha256_hex};
use crate::{By, Fault, StoreError};
use serde_json::{Map, Value, json};
use sqlx::Row;
use sqlx::sqlite::SqliteConnection;
use std::collections::BTreeMap;

/// What stands before the first entry of a chain.
const NOTHING: &str = "0000000000000000000000000000000000000000000000000000000000000000";

/// Kind of the entry that binds the heads of other chains.
const HEADS: &str = "heads.bound";

/// The chain that this process writes.
#[derive(Debug, Clone)]
pub(crate) struct Chain {
    name: String,
    next: i64,
    head: String,
}

impl Chain {
    /// Starts a chain of its own inside a transaction; its first entry binds the heads of the others.
    pub(crate) async fn start(conn: &mut SqliteConnection, by: &By) -> Result<Self, sqlx::Error> {
        let mut chain = Self::named(uuid::Uuid::new_v4().simple().to_string());
        sqlx::query("INSERT INTO chains (chain, entries, head) VALUES (?, 0, ?)")
            .bind(&chain.name)
            .bind(NOTHING)
            .execute(&mut *conn)
            .await?;
        chain.bind_heads(conn, by).await?;
        Ok(chain)
    }

    /// An empty chain.
    fn named(name: String) -> Self {
        Self { name, next: 0, head: NOTHING.to_owned() }
    }

    /// Appends an entry that binds the heads of all other chains.
    async fn bind_heads(&mut self, conn: &mut SqliteConnection, by: &By) -> Result<(), sqlx::Error> {
        let rows = sqlx::query("SELECT chain, head FROM chains WHERE bound = 0 AND chain <> ?")
            .bind(&self.name)
            .fetch_all(&mut *conn)
            .await?;
        let mut heads = Map::new();
        for row in rows {
            heads.insert(row.try_get("chain")?, Value::String(row.try_get("head")?));
        }
        sqlx::query("UPDATE chains SET bound = 1 WHERE chain <> ?")
            .bind(&self.name)
            .execute(&mut *conn)
            .await?;
        self.append(conn, by, HEADS, json!({ "heads": heads })).await
    }

    /// Appends an entry. `details` is an object of ids, hashes, numbers and words; never a name.
    pub(crate) async fn append(
        &mut self,
        conn: &mut SqliteConnection,
        by: &By,
        kind: &str,
        details: Value,
    ) -> Result<(), sqlx::Error> {
        let entry = self.next_entry(by, kind, &details);
        sqlx::query("INSERT INTO audit (chain, seq, prev, body, hash) VALUES (?, ?, ?, ?, ?)")
            .bind(&entry.chain)
            .bind(entry.seq)
            .bind(&entry.prev)
            .bind(&entry.body)
            .bind(&entry.hash)
            .execute(&mut *conn)
            .await?;
        sqlx::query("UPDATE chains SET entries = ?, head = ?, bound = 0 WHERE chain = ?")
            .bind(self.next)
            .bind(&self.head)
            .bind(&self.name)
            .execute(&mut *conn)
            .await?;
        Ok(())
    }

    /// The next entry of the chain, which then ends with it. Its row has no id yet (0).
    fn next_entry(&mut self, by: &By, kind: &str, details: &Value) -> Entry {
        let body = canonical_json(&json!({
            "at_us": by.at_us, "by": by.who, "chain": self.name, "details": details, "kind": kind, "seq": self.next,
        }));
        let hash = entry_hash(&self.head, &body);
        let prev = std::mem::replace(&mut self.head, hash.clone());
        let entry = Entry { id: 0, chain: self.name.clone(), seq: self.next, prev, body, hash };
        self.next += 1;
        entry
    }
}

fn entry_hash(prev: &str, body: &str) -> String {
    sha256_hex([prev.as_bytes(), body.as_bytes()].concat().as_slice())
}

/// One row of the audit trail.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Entry {
    pub(crate) id: i64,
    pub(crate) chain: String,
    pub(crate) seq: i64,
    pub(crate) prev: String,
    pub(crate) body: String,
    pub(crate) hash: String,
}

impl Entry {
    /// Entries after an id, in the order in which they were written.
    pub(crate) async fn after(
        conn: &mut SqliteConnection,
        id: i64,
        limit: i64,
    ) -> Result<Vec<Self>, sqlx::Error> {
        sqlx::query("SELECT id, chain, seq, prev, body, hash FROM audit WHERE id > ? ORDER BY id LIMIT ?")
            .bind(id)
            .bind(limit)
            .fetch_all(conn)
            .await?
            .iter()
            .map(|row| {
                Ok(Self {
                    id: row.try_get("id")?,
                    chain: row.try_get("chain")?,
                    seq: row.try_get("seq")?,
                    prev: row.try_get("prev")?,
                    body: row.try_get("body")?,
                    hash: row.try_get("hash")?,
                })
            })
            .collect()
    }
}

/// What the table of chains says of a chain: number of entries and head.
pub(crate) type Heads = BTreeMap<String, (i64, String)>;

/// Reads the table of chains.
pub(crate) async fn heads(conn: &mut SqliteConnection) -> Result<Heads, sqlx::Error> {
    let rows = sqlx::query("SELECT chain, entries, head FROM chains ORDER BY rowid").fetch_all(conn).await?;
    rows.iter().map(|r| Ok((r.try_get("chain")?, (r.try_get("entries")?, r.try_get("head")?)))).collect()
}

/// Checks an audit trail entry by entry, in the order of writing; holds one head per chain and no entry.
#[derive(Debug, Default)]
pub(crate) struct Checker {
    seen: Heads,
    faults: Vec<Fault>,
}

impl Checker {
    /// Checks the next entry; gives its kind and details where its body can be read.
    pub(crate) fn push(&mut self, e: &Entry) -> Option<(String, Value)> {
        let (next, head) = self.seen.get(&e.chain).cloned().unwrap_or((0, NOTHING.to_owned()));
        if e.seq != next {
            self.fault(e, format!("expected entry {next} here: entries are missing or out of order"));
        } else if e.prev != head {
            self.fault(e, "does not follow the entry before it".to_owned());
        }
        if entry_hash(&e.prev, &e.body) != e.hash {
            self.fault(e, "its text does not match its hash".to_owned());
        }
        self.seen.insert(e.chain.clone(), (e.seq + 1, e.hash.clone()));
        let Ok(body) = serde_json::from_str::<Value>(&e.body) else {
            self.fault(e, "its text cannot be read".to_owned());
            return None;
        };
        if body["chain"] != e.chain.as_str() || body["seq"] != e.seq {
            self.fault(e, "its text belongs to another place in the trail".to_owned());
        }
        let kind = body["kind"].as_str().unwrap_or_default().to_owned();
        if kind == HEADS {
            self.check_bound(e, &body["details"]["heads"]);
        } else if e.seq == 0 {
            self.fault(e, "a chain's first entry has to bind the heads of the others".to_owned());
        }
        Some((kind, body["details"].clone()))
    }

    /// The heads that an entry binds must be those that stand before it.
    fn check_bound(&mut self, e: &Entry, bound: &Value) {
        for (chain, head) in bound.as_object().into_iter().flatten() {
            if self.seen.get(chain).map(|(_, h)| h.as_str()) != head.as_str() {
                self.fault(e, format!("binds a head of chain {chain} that is not there: its end is missing"));
            }
        }
    }

    fn fault(&mut self, e: &Entry, what: String) {
        self.faults.push(Fault::Audit { chain: e.chain.clone(), seq: e.seq, what });
    }

    /// Ends the check against the table of chains.
    pub(crate) fn finish(mut self, table: &Heads) -> Vec<Fault> {
        for (chain, (entries, head)) in table {
            let (seen, last) = self.seen.get(chain).cloned().unwrap_or((0, NOTHING.to_owned()));
            if seen != *entries || last != *head {
                let what = format!("the trail ends after {seen} entries, its table says {entries}");
                self.faults.push(Fault::Audit { chain: chain.clone(), seq: seen, what });
            }
        }
        for (chain, (seen, _)) in &self.seen {
            if !table.contains_key(chain) {
                let what = "the table of chains does not know this chain".to_owned();
                self.faults.push(Fault::Audit { chain: chain.clone(), seq: *seen, what });
            }
        }
        self.faults
    }
}

impl crate::Store {
    /// Head of each audit chain: (chain, hash of its last entry, hex), for the hand-over's paper.
    ///
    /// # Errors
    /// [`StoreError::Database`] where it cannot be read.
    pub async fn audit_heads(&self) -> Result<Vec<(String, String)>, StoreError> {
        let mut conn = self.reader().await?;
        Ok(heads(&mut conn).await?.into_iter().map(|(chain, (_, head))| (chain, head)).collect())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// Chains as processes one after the other write them: each binds the head of the one before.
    fn trail(lengths: &[usize]) -> (Vec<Entry>, Heads) {
        let by = By::station().at(1);
        let (mut entries, mut table) = (Vec::new(), Heads::new());
        for (n, length) in lengths.iter().enumerate() {
            let mut chain = Chain::named(format!("chain-{n}"));
            let before: Map<_, _> = table
                .iter()
                .filter(|(c, _)| n > 0 && **c == format!("chain-{}", n - 1))
                .map(|(c, h)| (c.clone(), json!(h.1)))
                .collect();
            entries.push(chain.next_entry(&by, HEADS, &json!({ "heads": before })));
            for fact in 0..*length {
                entries.push(chain.next_entry(
                    &by,
                    "frame.assigned",
                    &json!({ "frame_id": fact, "visit_id": n }),
                ));
            }
            table.insert(chain.name.clone(), (chain.next, chain.head.clone()));
        }
        for (id, entry) in entries.iter_mut().enumerate() {
            entry.id = id as i64 + 1;
        }
        (entries, table)
    }

    fn faults(entries: &[Entry], table: &Heads) -> Vec<Fault> {
        let mut checker = Checker::default();
        for entry in entries {
            checker.push(entry);
        }
        checker.finish(table)
    }

    /// A table of chains that an intruder made to match what is left of a chain.
    fn matching(entries: &[Entry], table: &Heads, chain: &str) -> Heads {
        let mut table = table.clone();
        match entries.iter().rfind(|e| e.chain == chain) {
            Some(last) => table.insert(chain.to_owned(), (last.seq + 1, last.hash.clone())),
            None => table.remove(chain),
        };
        table
    }

    proptest! {
        #[test]
        fn an_untouched_trail_is_clean(lengths in prop::collection::vec(0..6usize, 1..5)) {
            let (entries, table) = trail(&lengths);
            prop_assert_eq!(faults(&entries, &table), vec![]);
        }

        #[test]
        fn any_edited_entry_is_found(lengths in prop::collection::vec(0..6usize, 1..5), pick: prop::sample::Index,
                                     at: prop::sample::Index, rehash: bool) {
            let (mut entries, table) = trail(&lengths);
            let n = pick.index(entries.len());
            let entry = &mut entries[n];
            let place = at.index(entry.body.len());
            let old = entry.body.as_bytes()[place];
            entry.body.replace_range(place..=place, if old == b'7' { "8" } else { "7" });
            if rehash {
                entry.hash = entry_hash(&entry.prev, &entry.body);
            }
            prop_assert!(!faults(&entries, &table).is_empty());
        }

        #[test]
        fn any_dropped_entry_is_found(lengths in prop::collection::vec(0..6usize, 1..5), pick: prop::sample::Index) {
            let (mut entries, table) = trail(&lengths);
            entries.remove(pick.index(entries.len()));
            prop_assert!(!faults(&entries, &table).is_empty());
        }

        #[test]
        fn an_end_cut_off_an_earlier_chain_is_found_even_with_a_matching_table(
            lengths in prop::collection::vec(0..6usize, 2..5), pick: prop::sample::Index, keep: prop::sample::Index,
        ) {
            let (mut entries, table) = trail(&lengths);
            let chain = format!("chain-{}", pick.index(lengths.len() - 1));
            let length = entries.iter().filter(|e| e.chain == chain).count();
            let keep = keep.index(length) as i64;
            entries.retain(|e| e.chain != chain || e.seq < keep);
            let table = matching(&entries, &table, &chain);
            prop_assert!(!faults(&entries, &table).is_empty());
        }

        #[test]
        fn any_two_swapped_entries_are_found(lengths in prop::collection::vec(1..6usize, 1..5),
                                             a: prop::sample::Index, b: prop::sample::Index) {
            let (mut entries, table) = trail(&lengths);
            let (a, b) = (a.index(entries.len()), b.index(entries.len()));
            prop_assume!(a != b);
            entries.swap(a, b);
            prop_assert!(!faults(&entries, &table).is_empty());
        }
    }
}
