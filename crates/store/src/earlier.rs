//! What is kept of a patient's earlier visits.

use crate::rows::{self, visit_columns};
use crate::{Store, StoreError, Visit, VisitId};
use serrata_words::{Fact, PersonState};
use sqlx::Row;

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

    /// The state of the person as it was noted last at an earlier visit, or `None`.
    ///
    /// # Errors
    /// [`StoreError`] where the database fails.
    pub async fn earlier_person(&self, id: VisitId) -> Result<Option<PersonState>, StoreError> {
        let mut conn = self.reader().await?;
        let body: Option<String> = sqlx::query(
            "SELECT f.body FROM facts f JOIN visits v ON v.id = f.visit_id \
             JOIN visits n ON n.patient_id = v.patient_id \
             WHERE n.id = ? AND v.id <> n.id AND f.kind = 'person_noted' \
             AND (v.opened_us, v.id) < (n.opened_us, n.id) ORDER BY f.id DESC LIMIT 1",
        )
        .bind(id.0)
        .fetch_optional(&mut *conn)
        .await?
        .map(|row| row.try_get("body"))
        .transpose()?;
        let fact: Option<Fact> = body.as_deref().map(rows::json).transpose()?;
        Ok(match fact {
            Some(Fact::PersonNoted { state }) => Some(*state),
            _ => None,
        })
    }
}
