//! Chairs, and the ticks of a day.

use crate::visits::given;
use crate::{By, Store, StoreError};
use serde_json::json;
use sqlx::Row;

/// An instrument's place.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Chair {
    /// Its name.
    pub name: String,
    /// Profile name of the instrument that stands there, where said.
    pub instrument: Option<String>,
}

/// Something ticked at the opening or the close of a day.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DayTick {
    /// Id of the item.
    pub item: String,
    /// The chair that it is about, where it is about one.
    pub chair: Option<String>,
    /// Who ticked it.
    pub who: String,
    /// When, in microseconds since 1970.
    pub at_us: i64,
}

impl Store {
    /// Names a chair, or says which instrument stands there.
    ///
    /// # Errors
    /// [`StoreError::Refused`] without a name, or where the instrument stands at another chair.
    pub async fn set_chair(&self, chair: Chair, by: &By) -> Result<(), StoreError> {
        let name = given(&chair.name, "A chair needs a name.")?;
        let by = by.clone();
        self.write(move |tx| {
            Box::pin(async move {
                let elsewhere: Option<String> =
                    sqlx::query_scalar("SELECT name FROM chairs WHERE instrument = ? AND name <> ?")
                        .bind(&chair.instrument)
                        .bind(&name)
                        .fetch_optional(&mut tx.conn)
                        .await?;
                if elsewhere.is_some() {
                    return Err(StoreError::refused(
                        "This instrument stands at another chair.",
                        "Take it from there first.",
                    ));
                }
                sqlx::query(
                    "INSERT INTO chairs (name, instrument) VALUES (?, ?) \
                     ON CONFLICT (name) DO UPDATE SET instrument = excluded.instrument",
                )
                .bind(&name)
                .bind(&chair.instrument)
                .execute(&mut tx.conn)
                .await?;
                let details = json!({ "chair": name, "instrument": chair.instrument });
                tx.record(&by, "chair.set", details, &[]).await
            })
        })
        .await
    }

    /// All chairs by name.
    ///
    /// # Errors
    /// [`StoreError`] where the database fails.
    pub async fn chairs(&self) -> Result<Vec<Chair>, StoreError> {
        let mut conn = self.reader().await?;
        let rows =
            sqlx::query("SELECT name, instrument FROM chairs ORDER BY name").fetch_all(&mut *conn).await?;
        rows.iter()
            .map(|r| Ok(Chair { name: r.try_get("name")?, instrument: r.try_get("instrument")? }))
            .collect()
    }

    /// Ticks an item of a day's lists (`day` as `YYYY-MM-DD`).
    ///
    /// # Errors
    /// [`StoreError`] where the database fails.
    pub async fn tick_day(
        &self,
        day: &str,
        item: &str,
        chair: Option<String>,
        by: &By,
    ) -> Result<(), StoreError> {
        let (day, item, by) = (day.to_owned(), item.to_owned(), by.clone());
        self.write(move |tx| {
            Box::pin(async move {
                sqlx::query("INSERT INTO day_ticks (day, item, chair, who, at_us) VALUES (?, ?, ?, ?, ?)")
                    .bind(&day)
                    .bind(&item)
                    .bind(&chair)
                    .bind(by.who.as_ref())
                    .bind(by.at_us)
                    .execute(&mut tx.conn)
                    .await?;
                tx.record(&by, "day.ticked", json!({ "day": day, "item": item, "chair": chair }), &[]).await
            })
        })
        .await
    }

    /// What was ticked on a day, oldest first.
    ///
    /// # Errors
    /// [`StoreError`] where the database fails.
    pub async fn day_ticks(&self, day: &str) -> Result<Vec<DayTick>, StoreError> {
        let mut conn = self.reader().await?;
        let rows = sqlx::query("SELECT item, chair, who, at_us FROM day_ticks WHERE day = ? ORDER BY id")
            .bind(day)
            .fetch_all(&mut *conn)
            .await?;
        rows.iter()
            .map(|r| {
                Ok(DayTick {
                    item: r.try_get("item")?,
                    chair: r.try_get("chair")?,
                    who: r.try_get("who")?,
                    at_us: r.try_get("at_us")?,
                })
            })
            .collect()
    }
}
