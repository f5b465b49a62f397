//! Numbers for the day's board.

/// Numbers for the day's board.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Counts {
    /// Open visits.
    pub visits_open: u64,
    /// Frames without a visit, those set aside left out.
    pub unassigned: u64,
    /// Frames that wait for their check.
    pub waiting: u64,
    /// Frames whose check failed.
    pub failed: u64,
    /// Work items given up.
    pub dead: u64,
}

impl crate::Store {
    /// Numbers for the day's board; quick however much is stored, as closed and checked things are not counted.
    ///
    /// # Errors
    /// [`crate::StoreError`] where the database fails.
    pub async fn counts(&self) -> Result<Counts, crate::StoreError> {
        use sqlx::Row;
        let mut conn = self.reader().await?;
        let row = sqlx::query(
            "SELECT (SELECT count(*) FROM visits WHERE closed = 0) AS visits_open, \
             (SELECT count(*) FROM frames WHERE visit_id IS NULL AND set_aside IS NULL) AS unassigned, \
             (SELECT count(*) FROM frames WHERE state <> 'checked' AND state = 'waiting') AS waiting, \
             (SELECT count(*) FROM frames WHERE state <> 'checked' AND state = 'failed') AS failed, \
             (SELECT count(*) FROM work WHERE state = 'dead') AS dead",
        )
        .fetch_one(&mut *conn)
        .await?;
        let n = |column| row.try_get::<i64, _>(column).map(i64::unsigned_abs);
        Ok(Counts {
            visits_open: n("visits_open")?,
            unassigned: n("unassigned")?,
            waiting: n("waiting")?,
            failed: n("failed")?,
            dead: n("dead")?,
        })
    }
}
