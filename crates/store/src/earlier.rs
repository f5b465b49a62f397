//! What is kept of a patient's earlier visits.

use crate::facts::facts_of;
use crate::rows::{self, visit_columns};
use crate::{Store, StoreError, Visit, VisitId};
use serrata_words::{Fact, PersonState, undone};

impl Store {
    /// The last visit of the same patient before this one, or `None`.
    ///
    /// # Errors
    /// [`StoreError`] where the database fails.
    pub async fn earlier_visit(&self, id: VisitId) -> Result<Option<Visit>, StoreError> {
        let mut conn = self.reader().await?;
        let row = sqlx::query(concat!(
            "SELECT ",
            visit_columns!(),
            " FROM visits v JOIN patients p ON p.id = v.patient_id JOIN visits n ON n.patient_id = v.patient_id \
             WHERE n.id = ? AND v.merged_into IS NULL AND (v.opened_us, v.id) < (n.opened_us, n.id) \
             ORDER BY v.opened_us DESC, v.id DESC LIMIT 1"
        ))
        .bind(id.0)
        .fetch_optional(&mut *conn)
        .await?;
        row.as_ref().map(rows::visit).transpose()
    }

    /// The state of the person as it was noted last at an earlier visit, and not undone, or `None`.
    ///
    /// # Errors
    /// [`StoreError`] where the database fails.
    pub async fn earlier_person(&self, id: VisitId) -> Result<Option<PersonState>, StoreError> {
        let mut conn = self.reader().await?;
        let visits: Vec<i64> = sqlx::query_scalar(
            "SELECT v.id FROM visits v JOIN visits n ON n.patient_id = v.patient_id \
             WHERE n.id = ? AND v.id <> n.id AND (v.opened_us, v.id) < (n.opened_us, n.id) \
             AND EXISTS (SELECT 1 FROM facts f WHERE f.visit_id = v.id AND f.kind = 'person_noted') \
             ORDER BY v.opened_us DESC, v.id DESC",
        )
        .bind(id.0)
        .fetch_all(&mut *conn)
        .await?;
        for visit in visits {
            let facts = facts_of(&mut conn, VisitId(visit)).await?;
            let gone = undone(&facts);
            let noted =
                facts.into_iter().rev().filter(|e| !gone.contains(&e.seq)).find_map(|e| match e.fact {
                    Fact::PersonNoted { state } => Some(*state),
                    _ => None,
                });
            if noted.is_some() {
                return Ok(noted);
            }
        }
        Ok(None)
    }
}
