//! Orders out of a table.

use crate::Protocol;
use serrata_words::{BirthDate, Eye, Identity, Order, OrderSource, OrderState, Personal};

/// The columns, in any order; those marked `true` have to be there and filled.
pub const COLUMNS: [(&str, bool); 12] = [
    ("number", true),
    ("patient_id", true),
    ("family", true),
    ("given", false),
    ("born", true),
    ("sex", false),
    ("scheduled", false),
    ("protocol", true),
    ("eyes", false),
    ("transit_eye", false),
    ("options", false),
    ("asked", false),
];

/// A table that was read: the good rows are offered, all bad ones are named.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct OrdersRead {
    /// Good rows with their lines.
    pub orders: Vec<(u64, Order)>,
    /// Bad rows.
    pub bad: Vec<BadRow>,
}

/// A row that is no order.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct BadRow {
    /// Its line, from 1.
    pub line: u64,
    /// Everything that is wrong with it.
    pub reasons: Vec<String>,
}

/// A table that cannot be read at all.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum OrdersError {
    /// Not UTF-8.
    #[error("the table is not in UTF-8 (line {0}); save it as \"CSV UTF-8\"")]
    Encoding(usize),
    /// No rows at all.
    #[error("the table is empty; its first line names the columns")]
    Empty,
    /// Columns are missing, unknown or there twice.
    #[error(
        "{0}; the columns are: number, patient_id, family, given, born, sex, scheduled, protocol, eyes, transit_eye, options, asked"
    )]
    Columns(String),
}

/// Reads orders from a table with commas, semicolons or tabs, with or without a byte-order mark.
///
/// # Errors
/// [`OrdersError`] where no row can be read.
///
/// ```
/// let t = "number;patient_id;family;born;protocol;eyes\nA1;INV-1;Lovage;1961-02-03;first-look;both\n";
/// let read = serrata_visit::read_orders(t.as_bytes(), &serrata_visit::Protocol::shipped()?)?;
/// assert_eq!((read.orders.len(), read.bad.len()), (1, 0));
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn read_orders(bytes: &[u8], protocols: &[Protocol]) -> Result<OrdersRead, OrdersError> {
    let bytes = bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes);
    let text = std::str::from_utf8(bytes).map_err(|e| {
        OrdersError::Encoding(1 + bytes[..e.valid_up_to()].iter().filter(|b| **b == b'\n').count())
    })?;
    let head = text.lines().find(|l| !l.trim().is_empty()).ok_or(OrdersError::Empty)?;
    let delimiter = [b',', b';', b'\t'].into_iter().max_by_key(|d| head.bytes().filter(|b| b == d).count());
    let mut reader = csv::ReaderBuilder::new()
        .delimiter(delimiter.unwrap_or(b','))
        .flexible(true)
        .trim(csv::Trim::All)
        .from_reader(text.as_bytes());
    let names: Vec<String> = reader
        .headers()
        .map_err(|e| OrdersError::Columns(e.to_string()))?
        .iter()
        .map(|h| h.to_lowercase())
        .collect();
    check_columns(&names)?;
    let mut read = OrdersRead { orders: Vec::new(), bad: Vec::new() };
    let mut numbers: Vec<(String, u64)> = Vec::new();
    for record in reader.records() {
        let record = match record {
            Ok(r) => r,
            Err(e) => {
                let line = line_at(text, e.position());
                read.bad.push(BadRow { line, reasons: vec![e.to_string()] });
                continue;
            }
        };
        let line = line_at(text, record.position());
        if record.iter().all(str::is_empty) {
            continue;
        }
        let mut reasons = Vec::new();
        if record.len() != names.len() {
            reasons.push(format!("{} fields where the first line names {}", record.len(), names.len()));
        }
        let get = |name: &str| names.iter().position(|n| n == name).and_then(|i| record.get(i)).unwrap_or("");
        let order = order_of(&get, protocols, &mut reasons);
        if let Some((_, other)) = numbers.iter().find(|(n, _)| *n == order.number && !n.is_empty()) {
            reasons.push(format!("order {} is on line {other} already", order.number));
        }
        numbers.push((order.number.clone(), line));
        if reasons.is_empty() {
            read.orders.push((line, order));
        } else {
            read.bad.push(BadRow { line, reasons });
        }
    }
    Ok(read)
}

/// The line of a row, from 1. The reader stops between the two characters of a Windows line end, and its own line number
/// is one too small there.
fn line_at(text: &str, at: Option<&csv::Position>) -> u64 {
    let start = at.and_then(|p| usize::try_from(p.byte()).ok()).unwrap_or(0).min(text.len());
    let bytes = text.as_bytes();
    let blank = bytes[start..].iter().take_while(|b| matches!(b, b'\r' | b'\n')).count();
    1 + bytes[..start + blank].iter().filter(|b| **b == b'\n').count() as u64
}

fn check_columns(names: &[String]) -> Result<(), OrdersError> {
    let quoted = |list: Vec<&str>| list.iter().map(|n| format!("\"{n}\"")).collect::<Vec<_>>().join(", ");
    let missing: Vec<&str> =
        COLUMNS.iter().filter(|(c, must)| *must && !names.iter().any(|n| n == c)).map(|(c, _)| *c).collect();
    let unknown: Vec<&str> =
        names.iter().map(String::as_str).filter(|n| !COLUMNS.iter().any(|(c, _)| c == n)).collect();
    let twice: Vec<&str> =
        names.iter().enumerate().filter(|(i, n)| names[..*i].contains(n)).map(|(_, n)| n.as_str()).collect();
    let mut said = Vec::new();
    for (list, what) in [(missing, "missing"), (unknown, "not known"), (twice, "there twice")] {
        if !list.is_empty() {
            said.push(format!("columns {what}: {}", quoted(list)));
        }
    }
    if said.is_empty() { Ok(()) } else { Err(OrdersError::Columns(said.join("; "))) }
}

fn order_of<'a>(get: &dyn Fn(&str) -> &'a str, protocols: &[Protocol], reasons: &mut Vec<String>) -> Order {
    for (name, must) in COLUMNS {
        if must && get(name).is_empty() {
            reasons.push(format!("{name} is empty"));
        }
    }
    let born = BirthDate::parse(get("born"));
    if born.is_none() && !get("born").is_empty() {
        reasons
            .push(format!("born is \"{}\"; write YYYY-MM-DD, since day and month get swapped", get("born")));
    }
    let protocol = protocols.iter().find(|p| p.name == get("protocol"));
    if protocol.is_none() && !get("protocol").is_empty() {
        reasons.push(format!("there is no protocol \"{}\"", get("protocol")));
    }
    let options: Vec<String> = get("options").split_whitespace().map(str::to_owned).collect();
    if let Some(p) = protocol {
        for o in options.iter().filter(|o| !p.options.contains_key(*o)) {
            reasons.push(format!("\"{o}\" is no option of the protocol {}", p.name));
        }
    }
    let eyes = match get("eyes") {
        "" | "both" => vec![Eye::R, Eye::L],
        one => one.parse().map_or_else(
            |_| {
                reasons.push(format!("eyes is \"{one}\"; write R, L or both"));
                Vec::new()
            },
            |e| vec![e],
        ),
    };
    let transit = match get("transit_eye") {
        "" => None,
        one => one
            .parse()
            .map_err(|_| reasons.push(format!("transit_eye is \"{one}\"; write R or L, or leave it empty")))
            .ok(),
    };
    let scheduled = get("scheduled");
    if !scheduled.is_empty() && !is_moment(scheduled) {
        reasons.push(format!("scheduled is \"{scheduled}\"; write YYYY-MM-DDTHH:MM"));
    }
    let some = |t: &str| (!t.is_empty()).then(|| t.to_owned());
    let personal = |t: &str| Personal::new(t.to_owned());
    Order {
        number: get("number").to_owned(),
        provisional: false,
        source: OrderSource::Csv,
        state: OrderState::Open,
        identity: Identity {
            patient_id: personal(get("patient_id")),
            issuer: None,
            family: personal(get("family")),
            given: personal(get("given")),
            born: Personal::new(born),
            sex: some(get("sex")),
        },
        study_uid: None,
        scheduled: some(scheduled),
        asked: get("asked").to_owned(),
        protocol: protocol.map(|p| p.name.clone()),
        eyes,
        transit,
        options,
    }
}

/// `YYYY-MM-DDTHH:MM`, also with a space.
fn is_moment(text: &str) -> bool {
    let Some((day, time)) = text.split_once(['T', ' ']) else { return false };
    let hm = time.split_once(':').and_then(|(h, m)| Some((h.parse::<u8>().ok()?, m.parse::<u8>().ok()?)));
    BirthDate::parse(day).is_some()
        && day.len() == 10
        && time.len() == 5
        && hm.is_some_and(|(h, m)| h < 24 && m < 60)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn read(text: &[u8]) -> Result<OrdersRead, OrdersError> {
        read_orders(text, &Protocol::shipped().unwrap())
    }

    #[test]
    fn a_byte_order_mark_semicolons_and_bad_rows_all_at_once() {
        let t = "\u{feff}number;patient_id;family;born;protocol;eyes;options\r\n\
                 A1;INV-1;Lovage;1961-02-03;first-look;both;\r\n\
                 A2;;Lovage;03/02/1961;secret;X;\r\n\
                 A1;INV-2;Mint;1970-01-01;five-gazes;L;full\r\n\
                 A4;INV-3;\"Sage; Ada\";1970-01-01;five-gazes;L;fast\r\n\
                 A5;INV-4;Thyme;1970-01-01;five-gazes;R;full\r\n";
        let r = read(t.as_bytes()).unwrap();
        assert_eq!(
            r.orders.iter().map(|(l, o)| (*l, o.number.as_str())).collect::<Vec<_>>(),
            [(2, "A1"), (6, "A5")]
        );
        assert_eq!(
            r.bad.iter().map(|b| (b.line, b.reasons.len())).collect::<Vec<_>>(),
            [(3, 4), (4, 1), (5, 1)],
            "{:?}",
            r.bad
        );
    }

    #[test]
    fn columns_are_told_at_once() {
        let e = read(b"number,patient,family,family\n").unwrap_err().to_string();
        for part in ["missing", "\"born\"", "not known: \"patient\"", "twice"] {
            assert!(e.contains(part), "{part}: {e}");
        }
        assert_eq!(read(b"\xef\xbb\xbf"), Err(OrdersError::Empty));
        assert_eq!(read(b"number\nM\xfcller"), Err(OrdersError::Encoding(2)));
    }

    proptest! {
        #[test]
        fn any_bytes_are_answered(b in prop::collection::vec(any::<u8>(), 0..200), t in "[A-Z0-9;,\"\n-]{0,200}") {
            let _ = read(&b);
            let _ = read(format!("number,patient_id,family,born,protocol\n{t}").as_bytes());
        }
    }
}
