//! The JSON of orders.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// An order as a line.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct OrderLine {
    /// Its number.
    pub number: String,
    /// Whether the number was made here.
    pub provisional: bool,
    /// "worklist", "csv" or "typed".
    pub source: String,
    /// "open" or "cancelled".
    pub state: String,
    /// The patient's number.
    pub patient_id: String,
    /// The patient's name.
    pub patient_name: String,
    /// Date of birth with the month in letters.
    pub birth_date: Option<String>,
    /// When, local time as given.
    pub scheduled: Option<String>,
    /// What was asked.
    pub asked: String,
    /// The protocol, where known.
    pub protocol: Option<String>,
    /// Its visit, where it is taken.
    pub visit_id: Option<i64>,
    /// The order that it turned out to be.
    pub merged_into: Option<String>,
    /// What has to be asked before its views are known.
    pub question: Option<String>,
}

/// Orders that stand.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct Orders {
    /// Always `serrata.orders/1`.
    pub schema: &'static str,
    /// The orders, oldest first.
    pub orders: Vec<OrderLine>,
}

/// Something of a list that is not taken, with the reason.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct NotTaken {
    /// Line of the table, or number of the order.
    pub what: String,
    /// Why, one sentence each.
    pub reasons: Vec<String>,
}

/// What a list of orders holds, and what became of it.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct Offered {
    /// Always `serrata.offered/1`.
    pub schema: &'static str,
    /// Orders that can be taken, or were.
    pub good: Vec<OrderLine>,
    /// What became of each number: "offered", "opened", "joined", "known", "changed", "cancelled", "nothing_due".
    pub became: Vec<String>,
    /// What is not taken.
    pub bad: Vec<NotTaken>,
    /// Why the list may be short.
    pub cut_short: Option<String>,
}

/// An order that is typed in.
#[derive(Debug, Clone, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct TypedOrder {
    /// Who types.
    pub who: String,
    /// The patient's number.
    pub patient_id: String,
    /// Family name.
    pub family: String,
    /// Given names.
    #[serde(default)]
    pub given: String,
    /// Date of birth as YYYY-MM-DD.
    pub birth_date: String,
    /// What was asked, in the clinician's words.
    #[serde(default)]
    pub asked: String,
    /// Name of a protocol.
    pub protocol: String,
    /// "R", "L"; both where none is named.
    #[serde(default)]
    pub eyes: Vec<String>,
    /// The transit eye, as the clinician named it.
    #[serde(default)]
    pub transit: Option<String>,
    /// Options of the protocol.
    #[serde(default)]
    pub options: Vec<String>,
}

/// What is taken of the worklist.
#[derive(Debug, Clone, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct TakeFromWorklist {
    /// Who takes.
    pub who: String,
    /// Day as YYYY-MM-DD; none: today.
    #[serde(default)]
    pub day: Option<String>,
    /// Numbers; none: all.
    #[serde(default)]
    pub numbers: Option<Vec<String>>,
}

/// A person who saw both says that they are one.
#[derive(Debug, Clone, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct MergeOrder {
    /// Who merges.
    pub who: String,
    /// The order that the provisional one is.
    pub into: String,
    /// Says that both were seen side by side.
    pub seen_both: bool,
}

/// A field of two orders, or of a file and a visit, side by side.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct FieldPair {
    /// The field in words.
    pub field: String,
    /// On this side.
    pub here: String,
    /// On the other side.
    pub there: String,
}

/// Two orders side by side.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct Beside {
    /// Always `serrata.beside/1`.
    pub schema: &'static str,
    /// The one.
    pub here: OrderLine,
    /// The other.
    pub there: OrderLine,
    /// Fields in which they differ.
    pub differences: Vec<FieldPair>,
}
