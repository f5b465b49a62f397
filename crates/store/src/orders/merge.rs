//! A provisional order and the one that it turned out to be.

use super::kept_order;
use crate::visits::adopt;
use crate::writer::Tx;
use crate::{By, EventKind, Person, StoreError, VisitId, facts};
use serde_json::json;
use serrata_words::{Fact, Personal};
use sqlx::Row;

/// Merges; see [`crate::Store::merge_order`].
pub(super) async fn merge(
    tx: &mut Tx,
    provisional: &str,
    into: &str,
    by: &By,
) -> Result<VisitId, StoreError> {
    let lacks = |number: &str| {
        StoreError::refused(
            format!("There is no order {number}."),
            "List the orders with `serrata order list`.",
        )
    };
    let from = kept_order(tx, provisional).await?.ok_or_else(|| lacks(provisional))?;
    let to = kept_order(tx, into).await?.ok_or_else(|| lacks(into))?;
    if !from.order.provisional || to.order.provisional || from.merged_into.is_some() {
        return Err(StoreError::refused(
            format!("The order {provisional} is no provisional one that waits to be merged into {into}."),
            "Name the provisional number first, then that of the worklist.",
        ));
    }
    let visit = from.visit_id;
    if to.visit_id != visit {
        take_over(tx, visit, to.visit_id).await?;
    }
    sqlx::query("UPDATE orders SET merged_into = ? WHERE number = ?")
        .bind(into)
        .bind(provisional)
        .execute(&mut tx.conn)
        .await?;
    let fact = Fact::OrderMerged { provisional: provisional.to_owned(), into: Box::new(to.order.clone()) };
    facts::add(tx, visit, &fact, None, by).await?;
    let details =
        json!({ "visit_id": visit, "provisional": provisional, "into": into, "from_visit_id": to.visit_id });
    tx.record(by, "order.merged", details, &[(EventKind::Visit, "merged", Some(visit), None)]).await?;
    Ok(visit)
}

/// A visit takes over patient, study, protocol and orders of another one, which ends empty.
async fn take_over(tx: &mut Tx, visit: VisitId, other: VisitId) -> Result<(), StoreError> {
    let frames: i64 = sqlx::query_scalar("SELECT count(*) FROM frames WHERE visit_id = ?")
        .bind(other.0)
        .fetch_one(&mut tx.conn)
        .await?;
    if frames > 0 {
        return Err(StoreError::refused(
            "Pictures came for both orders.",
            "Move the pictures of one to the other first, with a second person.",
        ));
    }
    let study: String = sqlx::query_scalar("SELECT study_uid FROM visits WHERE id = ?")
        .bind(other.0)
        .fetch_one(&mut tx.conn)
        .await?;
    sqlx::query(
        "INSERT INTO visit_studies (study_uid, visit_id) SELECT study_uid, id FROM visits WHERE id = ?",
    )
    .bind(visit.0)
    .execute(&mut tx.conn)
    .await?;
    sqlx::query(
        "UPDATE visits SET study_uid = 'merged.' || id, closed = 1, chair = NULL, merged_into = ? WHERE id = ?",
    )
    .bind(visit.0)
    .bind(other.0)
    .execute(&mut tx.conn)
    .await?;
    // The protocol that the worklist stands for wins, where it stands for one.
    sqlx::query(
        "UPDATE visits SET study_uid = ?1, patient_id = o.patient_id, order_name = o.order_name, \
         scheduled = o.scheduled, protocol = CASE WHEN o.protocol = '{}' THEN visits.protocol ELSE o.protocol END \
         FROM (SELECT patient_id, order_name, scheduled, protocol FROM visits WHERE id = ?2) AS o WHERE visits.id = ?3",
    )
    .bind(&study)
    .bind(other.0)
    .bind(visit.0)
    .execute(&mut tx.conn)
    .await?;
    sqlx::query("UPDATE orders SET visit_id = ? WHERE visit_id = ?")
        .bind(visit.0)
        .bind(other.0)
        .execute(&mut tx.conn)
        .await?;
    let row = sqlx::query(
        "SELECT p.hospital_id, p.birth_date FROM visits v JOIN patients p ON p.id = v.patient_id WHERE v.id = ?",
    )
    .bind(visit.0)
    .fetch_one(&mut tx.conn)
    .await?;
    let person = Person {
        id: Personal::new(row.try_get("hospital_id")?),
        birth_date: row.try_get::<Option<String>, _>("birth_date")?.map(Personal::new),
        ..Person::default()
    };
    adopt(tx, visit, &study, &person).await?;
    Ok(())
}
