//! Facts of a visit: added with author, time and reason, never changed. What reading needs often (chair, eye state,
//! ends of views) is written beside them in the same transaction.

use crate::canonical::{canonical_json, sha256_hex};
use crate::rows::{json, to_json};
use crate::writer::Tx;
use crate::{By, EventKind, Store, StoreError, VisitId};
use serde_json::json as object;
use serrata_words::{Event, Eye, EyeState, Fact, undone};
use sqlx::{Row, SqliteConnection};

impl Store {
    /// Adds a fact to a visit, with what follows from it, in one transaction; gives its number.
    ///
    /// # Errors
    /// [`StoreError::NoVisit`]; [`StoreError::Refused`] for a chair that another open visit holds, and for an
    /// injection whose strength is missing where millilitres would be needed.
    pub async fn add_fact(
        &self,
        id: VisitId,
        fact: Fact,
        reason: Option<String>,
        by: &By,
    ) -> Result<u64, StoreError> {
        let by = by.clone();
        self.write(move |tx| Box::pin(async move { add(tx, id, &fact, reason.as_deref(), &by).await })).await
    }

    /// All facts of a visit in the order in which they were kept.
    ///
    /// # Errors
    /// [`StoreError`] where the database fails.
    pub async fn facts(&self, id: VisitId) -> Result<Vec<Event>, StoreError> {
        let mut conn = self.reader().await?;
        facts_of(&mut conn, id).await
    }
}

/// All facts of a visit in the order in which they were kept.
pub(crate) async fn facts_of(conn: &mut SqliteConnection, id: VisitId) -> Result<Vec<Event>, StoreError> {
    let rows = sqlx::query("SELECT id, at_us, who, reason, body FROM facts WHERE visit_id = ? ORDER BY id")
        .bind(id.0)
        .fetch_all(conn)
        .await?;
    rows.iter()
        .map(|row| {
            Ok(Event {
                seq: row.try_get::<i64, _>("id")?.unsigned_abs(),
                at_us: row.try_get("at_us")?,
                who: row.try_get("who")?,
                reason: row.try_get("reason")?,
                fact: json(row.try_get("body")?)?,
            })
        })
        .collect()
}

/// Adds a fact and what follows from it.
pub(crate) async fn add(
    tx: &mut Tx,
    id: VisitId,
    fact: &Fact,
    reason: Option<&str>,
    by: &By,
) -> Result<u64, StoreError> {
    let there: Option<i64> = sqlx::query_scalar("SELECT id FROM visits WHERE id = ?")
        .bind(id.0)
        .fetch_optional(&mut tx.conn)
        .await?;
    if there.is_none() {
        return Err(StoreError::NoVisit(id));
    }
    let what = follow(tx, id, fact).await?;
    let body = to_json(fact)?;
    let kind = kind_of(&body)?;
    let done =
        sqlx::query("INSERT INTO facts (visit_id, at_us, who, reason, kind, body) VALUES (?, ?, ?, ?, ?, ?)")
            .bind(id.0)
            .bind(by.at_us)
            .bind(by.who.as_ref())
            .bind(reason)
            .bind(&kind)
            .bind(&body)
            .execute(&mut tx.conn)
            .await?;
    let seq = done.last_insert_rowid();
    // Orders and notes hold names and words of people: the trail binds them by their hash.
    let value: serde_json::Value = json(&body)?;
    let details = object!({
        "visit_id": id, "fact_id": seq, "kind": kind,
        "fact_sha256": sha256_hex(canonical_json(&value).as_bytes()),
        "reason_sha256": reason.map(|r| sha256_hex(r.as_bytes())),
    });
    tx.record(by, "visit.fact", details, &[(EventKind::Visit, what, Some(id), None)]).await?;
    Ok(seq.unsigned_abs())
}

fn kind_of(body: &str) -> Result<String, StoreError> {
    let value: serde_json::Value = json(body)?;
    Ok(value["kind"].as_str().unwrap_or_default().to_owned())
}

/// What follows from a fact beside itself; gives the word of its event.
async fn follow(tx: &mut Tx, id: VisitId, fact: &Fact) -> Result<&'static str, StoreError> {
    match fact {
        Fact::Seated { chair } => {
            seat(tx, id, chair).await?;
            Ok("seated")
        }
        Fact::Paused { .. } => {
            sqlx::query("UPDATE visits SET chair = NULL WHERE id = ?")
                .bind(id.0)
                .execute(&mut tx.conn)
                .await?;
            Ok("paused")
        }
        Fact::EyeNoted { eye, state } => {
            write_eye(tx, id, *eye, state).await?;
            Ok("eye_state")
        }
        Fact::ViewReopened { view } => {
            sqlx::query("DELETE FROM closed_views WHERE visit_id = ? AND view = ?")
                .bind(id.0)
                .bind(view)
                .execute(&mut tx.conn)
                .await?;
            Ok("view_reopened")
        }
        Fact::Undone { seq } => undo(tx, id, *seq).await,
        Fact::Injected { injection } => {
            if injection.mg.is_some() && injection.strength.is_none() {
                return Err(StoreError::refused(
                    "The record of an injection has a dose but no strength.",
                    "Read the strength from the vial in hand.",
                ));
            }
            Ok("noted")
        }
        _ => Ok("noted"),
    }
}

/// What follows from undoing a fact: an eye's state is again what it was.
async fn undo(tx: &mut Tx, id: VisitId, seq: u64) -> Result<&'static str, StoreError> {
    let facts = facts_of(&mut tx.conn, id).await?;
    let before = undone(&facts);
    let Some(fact) = facts.iter().find(|e| e.seq == seq).filter(|e| e.fact.can_be_undone()) else {
        return Err(StoreError::refused(
            "There is nothing of that number that can be undone.",
            "Look at what happened in this visit, and undo a line of it that offers it.",
        ));
    };
    if before.contains(&seq) {
        return Err(StoreError::refused("It was undone before.", "Load the visit again."));
    }
    // What holds once this one is undone: an undoing brings back the fact that it undid.
    let mut after = facts.clone();
    let next = facts.last().map_or(1, |e| e.seq + 1);
    after.push(Event { seq: next, fact: Fact::Undone { seq }, ..fact.clone() });
    let gone = undone(&after);
    for eye in [Eye::R, Eye::L] {
        let noted = |gone: &std::collections::BTreeSet<u64>| {
            facts.iter().rev().filter(|e| !gone.contains(&e.seq)).find_map(|e| match &e.fact {
                Fact::EyeNoted { eye: of, state } if *of == eye => Some((e.seq, (**state).clone())),
                _ => None,
            })
        };
        let (was, is) = (noted(&before), noted(&gone));
        if was.as_ref().map(|w| w.0) == is.as_ref().map(|i| i.0) {
            continue;
        }
        let state = match is {
            Some((_, state)) => state,
            None => crate::visits::carried_to(tx, id, eye).await?,
        };
        write_eye(tx, id, eye, &state).await?;
        return Ok("eye_state");
    }
    Ok("noted")
}

async fn write_eye(tx: &mut Tx, id: VisitId, eye: Eye, state: &EyeState) -> Result<(), StoreError> {
    let sql = match eye {
        Eye::R => "UPDATE visits SET right_eye = ? WHERE id = ?",
        Eye::L => "UPDATE visits SET left_eye = ? WHERE id = ?",
    };
    sqlx::query(sql).bind(to_json(state)?).bind(id.0).execute(&mut tx.conn).await?;
    Ok(())
}

/// A chair holds one open visit.
async fn seat(tx: &mut Tx, id: VisitId, chair: &str) -> Result<(), StoreError> {
    let chair = chair.trim();
    if chair.is_empty() {
        return Err(StoreError::refused("No chair was named.", "Name the chair."));
    }
    let taken: Option<i64> =
        sqlx::query_scalar("SELECT id FROM visits WHERE chair = ? AND closed = 0 AND id <> ?")
            .bind(chair)
            .bind(id.0)
            .fetch_optional(&mut tx.conn)
            .await?;
    if taken.is_some() {
        return Err(StoreError::refused(
            "Another patient sits in this chair.",
            "Pause or close that visit first, or take another chair.",
        ));
    }
    sqlx::query("UPDATE visits SET chair = ? WHERE id = ?")
        .bind(chair)
        .bind(id.0)
        .execute(&mut tx.conn)
        .await?;
    Ok(())
}
