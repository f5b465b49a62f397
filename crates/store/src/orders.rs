//! Orders: taken from the worklist, a table or by hand; joined to visits; provisional ones merged by a person.

mod merge;

use crate::facts;
use crate::matching::births_differ;
use crate::rows::{json, to_json};
use crate::visits::create;
use crate::writer::Tx;
use crate::{By, NewVisit, Person, Store, StoreError, VisitId};
use serrata_words::{Fact, Order, OrderState, Personal, View};
use sqlx::Row;
use sqlx::sqlite::SqliteRow;

/// An order to be taken.
#[derive(Debug, Clone, PartialEq)]
pub struct NewOrder {
    /// The order. A provisional one may have an empty number: it gets one.
    pub order: Order,
    /// What a provisional number begins with, for example `P-20260302-`.
    pub number_from: Option<String>,
    /// Name of what was ordered, for screens.
    pub title: String,
    /// The protocol (views) as JSON.
    pub protocol: serde_json::Value,
    /// Its views.
    pub views: Vec<View>,
}

/// What became of an order.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Taken {
    /// A visit was opened for it.
    Opened(VisitId, String),
    /// It joined the visit of its study.
    Joined(VisitId, String),
    /// It was known and is unchanged.
    Known(VisitId, String),
    /// It was known; what the clinician asked for changed.
    Changed(VisitId, String),
    /// It was known and is cancelled now.
    Cancelled(VisitId, String),
    /// It came cancelled: nothing is due.
    NothingDue(String),
}

/// An order as kept.
#[derive(Debug, Clone, PartialEq)]
pub struct KeptOrder {
    /// The order.
    pub order: Order,
    /// Its visit.
    pub visit_id: VisitId,
    /// The order that it turned out to be, where it was provisional and is merged.
    pub merged_into: Option<String>,
}

impl Store {
    /// Takes an order: opens a visit, joins the one of its study, or brings a known order up to date.
    ///
    /// # Errors
    /// [`StoreError::Refused`] where it contradicts what is known: its number or its study belongs to another
    /// patient, or the patient's number is known with another date of birth.
    pub async fn take_order(&self, new: NewOrder, by: &By) -> Result<Taken, StoreError> {
        let by = by.clone();
        self.write(move |tx| Box::pin(async move { take(tx, new, &by).await })).await
    }

    /// A person who saw both says that a provisional order is this one. The visit of the provisional order stays, with
    /// its frames and facts, and takes over patient, study and number of the other.
    ///
    /// # Errors
    /// [`StoreError::Refused`] where one of the two is not there, is no provisional order, is merged already, or
    /// pictures came for both.
    pub async fn merge_order(&self, provisional: &str, into: &str, by: &By) -> Result<VisitId, StoreError> {
        let (provisional, into, by) = (provisional.to_owned(), into.to_owned(), by.clone());
        self.write(move |tx| Box::pin(async move { merge::merge(tx, &provisional, &into, &by).await })).await
    }

    /// One order, or `None`.
    ///
    /// # Errors
    /// [`StoreError`] where the database fails.
    pub async fn order(&self, number: &str) -> Result<Option<KeptOrder>, StoreError> {
        let mut conn = self.reader().await?;
        let row = sqlx::query("SELECT body, visit_id, merged_into FROM orders WHERE number = ?")
            .bind(number)
            .fetch_optional(&mut *conn)
            .await?;
        row.as_ref().map(kept).transpose()
    }

    /// Orders of open visits and provisional ones that wait to be merged, oldest first, at most `limit`.
    ///
    /// # Errors
    /// [`StoreError`] where the database fails.
    pub async fn open_orders(&self, limit: u32) -> Result<Vec<KeptOrder>, StoreError> {
        let mut conn = self.reader().await?;
        let rows = sqlx::query(
            "SELECT o.body, o.visit_id, o.merged_into FROM orders o JOIN visits v ON v.id = o.visit_id \
             WHERE v.closed = 0 OR (o.provisional = 1 AND o.merged_into IS NULL) ORDER BY o.id LIMIT ?",
        )
        .bind(limit)
        .fetch_all(&mut *conn)
        .await?;
        rows.iter().map(kept).collect()
    }

    /// Orders of a visit, oldest first.
    ///
    /// # Errors
    /// [`StoreError`] where the database fails.
    pub async fn orders_of(&self, visit: VisitId) -> Result<Vec<KeptOrder>, StoreError> {
        let mut conn = self.reader().await?;
        let rows =
            sqlx::query("SELECT body, visit_id, merged_into FROM orders WHERE visit_id = ? ORDER BY id")
                .bind(visit.0)
                .fetch_all(&mut *conn)
                .await?;
        rows.iter().map(kept).collect()
    }
}

fn kept(row: &SqliteRow) -> Result<KeptOrder, StoreError> {
    Ok(KeptOrder {
        order: json(row.try_get("body")?)?,
        visit_id: VisitId(row.try_get("visit_id")?),
        merged_into: row.try_get("merged_into")?,
    })
}

async fn kept_order(tx: &mut Tx, number: &str) -> Result<Option<KeptOrder>, StoreError> {
    let row = sqlx::query("SELECT body, visit_id, merged_into FROM orders WHERE number = ?")
        .bind(number)
        .fetch_optional(&mut tx.conn)
        .await?;
    row.as_ref().map(kept).transpose()
}

async fn take(tx: &mut Tx, mut new: NewOrder, by: &By) -> Result<Taken, StoreError> {
    number(tx, &mut new).await?;
    if let Some(known) = kept_order(tx, &new.order.number).await? {
        return again(tx, known, new, by).await;
    }
    if new.order.state == OrderState::Cancelled {
        return Ok(Taken::NothingDue(new.order.number));
    }
    if let Some(visit) = visit_of_study(tx, &new).await? {
        add_views(tx, visit, &new.protocol).await?;
        insert(tx, visit, &new, by).await?;
        return Ok(Taken::Joined(visit, new.order.number));
    }
    let visit = create(
        tx,
        &NewVisit {
            study_uid: new.order.study_uid.clone(),
            person: person_of(&new.order),
            order: new.title.clone(),
            protocol: new.protocol.clone(),
            chair: None,
            opened_us: by.at_us,
        },
        by,
    )
    .await?;
    sqlx::query("UPDATE visits SET scheduled = ? WHERE id = ?")
        .bind(&new.order.scheduled)
        .bind(visit.0)
        .execute(&mut tx.conn)
        .await?;
    insert(tx, visit, &new, by).await?;
    Ok(Taken::Opened(visit, new.order.number))
}

/// Gives a provisional order its number: the next one of its day.
async fn number(tx: &mut Tx, new: &mut NewOrder) -> Result<(), StoreError> {
    if !new.order.number.trim().is_empty() {
        return Ok(());
    }
    let Some(from) = new.number_from.as_deref().filter(|_| new.order.provisional) else {
        return Err(StoreError::refused("The order has no number.", "Give its accession number."));
    };
    let taken: i64 = sqlx::query_scalar("SELECT count(*) FROM orders WHERE substr(number, 1, ?) = ?")
        .bind(i64::try_from(from.chars().count()).unwrap_or(0))
        .bind(from)
        .fetch_one(&mut tx.conn)
        .await?;
    new.order.number = format!("{from}{:03}", taken + 1);
    Ok(())
}

/// A known order comes again.
async fn again(tx: &mut Tx, known: KeptOrder, new: NewOrder, by: &By) -> Result<Taken, StoreError> {
    let (was, is) = (&known.order, &new.order);
    let born = |o: &Order| o.identity.born.reveal().map(|d| d.iso());
    if was.identity.patient_id != is.identity.patient_id
        || births_differ(born(was).as_deref(), born(is).as_deref())
    {
        return Err(StoreError::refused(
            format!("The order {} is known for another patient.", is.number),
            "Compare both with the clinician before either is used.",
        ));
    }
    let (visit, number) = (known.visit_id, is.number.clone());
    if was == is {
        return Ok(Taken::Known(visit, number));
    }
    sqlx::query("UPDATE orders SET body = ?, state = ? WHERE number = ?")
        .bind(to_json(is)?)
        .bind(is.state.word())
        .bind(&number)
        .execute(&mut tx.conn)
        .await?;
    if is.state == OrderState::Cancelled {
        facts::add(tx, visit, &Fact::OrderCancelled { number: number.clone() }, None, by).await?;
        return Ok(Taken::Cancelled(visit, number));
    }
    add_views(tx, visit, &new.protocol).await?;
    let fact = Fact::Ordered { order: Box::new(new.order), views: new.views };
    facts::add(tx, visit, &fact, Some("the order changed"), by).await?;
    Ok(Taken::Changed(visit, number))
}

/// The visit of the order's study, where there is one.
async fn visit_of_study(tx: &mut Tx, new: &NewOrder) -> Result<Option<VisitId>, StoreError> {
    let Some(study) = new.order.study_uid.as_deref().map(str::trim).filter(|s| !s.is_empty()) else {
        return Ok(None);
    };
    let row = sqlx::query(
        "SELECT v.id, p.hospital_id FROM visits v JOIN patients p ON p.id = v.patient_id WHERE v.study_uid = ?",
    )
    .bind(study)
    .fetch_optional(&mut tx.conn)
    .await?;
    let Some(row) = row else { return Ok(None) };
    if row.try_get::<&str, _>("hospital_id")? != new.order.identity.patient_id.reveal().trim() {
        return Err(StoreError::refused(
            format!("The study of order {} belongs to another patient's visit.", new.order.number),
            "Compare both with the clinician before either is used.",
        ));
    }
    Ok(Some(VisitId(row.try_get("id")?)))
}

async fn insert(tx: &mut Tx, visit: VisitId, new: &NewOrder, by: &By) -> Result<(), StoreError> {
    let order = &new.order;
    sqlx::query(
        "INSERT INTO orders (number, visit_id, provisional, state, made_us, body) VALUES (?, ?, ?, ?, ?, ?)",
    )
    .bind(&order.number)
    .bind(visit.0)
    .bind(order.provisional)
    .bind(order.state.word())
    .bind(by.at_us)
    .bind(to_json(order)?)
    .execute(&mut tx.conn)
    .await?;
    let fact = Fact::Ordered { order: Box::new(order.clone()), views: new.views.clone() };
    facts::add(tx, visit, &fact, None, by).await?;
    Ok(())
}

/// Adds the views of a further protocol to a visit; those with a known name stay as they are.
async fn add_views(tx: &mut Tx, visit: VisitId, more: &serde_json::Value) -> Result<(), StoreError> {
    let text: String = sqlx::query_scalar("SELECT protocol FROM visits WHERE id = ?")
        .bind(visit.0)
        .fetch_one(&mut tx.conn)
        .await?;
    let mut have: serde_json::Value = json(&text)?;
    if have.as_object().is_none_or(serde_json::Map::is_empty) {
        have = more.clone();
    } else if let (Some(have), Some(more)) =
        (have.get_mut("view").and_then(|v| v.as_array_mut()), more.get("view").and_then(|v| v.as_array()))
    {
        for view in more {
            if !have.iter().any(|v| v["name"] == view["name"]) {
                have.push(view.clone());
            }
        }
    }
    sqlx::query("UPDATE visits SET protocol = ? WHERE id = ?")
        .bind(to_json(&have)?)
        .bind(visit.0)
        .execute(&mut tx.conn)
        .await?;
    Ok(())
}

/// The person of an order, as visits know persons.
fn person_of(order: &Order) -> Person {
    let who = &order.identity;
    let name = [who.family.reveal().trim(), who.given.reveal().trim()].join("^");
    Person {
        id: Personal::new(who.patient_id.reveal().trim().to_owned()),
        name: Personal::new(name.trim_end_matches('^').to_owned()),
        birth_date: who.born.reveal().map(|d| Personal::new(d.iso())),
        sex: who.sex.clone().map(Personal::new),
    }
}
