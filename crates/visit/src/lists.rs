//! Open and close of the day: what is ticked, with who and when, and what must not be left unsaid.

/// An item to tick.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Item {
    /// Id under which its tick is kept.
    pub id: &'static str,
    /// What to do.
    pub text: String,
}

/// The clinic's own lines for wiping; the tool names no agent of its own.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct ClinicLines {
    /// Between patients, for example as the instrument's maker and the clinic say.
    pub wiping: Option<String>,
    /// For a red eye.
    pub red_eye: Option<String>,
}

fn item(id: &'static str, text: &str) -> Item {
    Item { id, text: text.to_owned() }
}

/// The list at opening (common practice; the clinic's own list comes first).
#[must_use]
pub fn opening(instruments: &[&str], lines: &ClinicLines) -> Vec<Item> {
    let mut list = Vec::new();
    for name in instruments {
        list.push(item(
            "open-check",
            &format!("{name}: started, own check passed, clock compared with the station's."),
        ));
        list.push(item("open-front", &format!("{name}: front surface looked at and clean.")));
    }
    list.push(item("open-surfaces", &wiping_line(lines, false)));
    list.push(item("open-room", "Room dimmed; a light for the arm within reach."));
    list.push(item("open-emergency", "Emergency kit and call checked, as the clinic's own list says."));
    list.push(item("open-printed", "The list of the day printed, for an outage."));
    list
}

/// Between two patients: wiping by the clinic's own line, with another line for a red eye.
#[must_use]
pub fn wiping_line(lines: &ClinicLines, red_eye: bool) -> String {
    let own = if red_eye { &lines.red_eye } else { &lines.wiping };
    match (own.as_deref().map(str::trim).filter(|l| !l.is_empty()), red_eye) {
        (Some(line), _) => format!("Contact surfaces: {line}"),
        (None, false) => "Contact surfaces wiped as the clinic's own line says, and left to dry. (Type that line into the settings.)".to_owned(),
        (None, true) => "Red eye: contact surfaces by the clinic's own line for red eyes, hands between the eyes. (Type that line into the settings.)".to_owned(),
    }
}

/// What is open at the end of the day.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Leftovers {
    /// Frames that were handed over to nobody.
    pub unsent: usize,
    /// Frames without a visit.
    pub unassigned: usize,
    /// "Clinician to look now" without an answer.
    pub unanswered: usize,
    /// Visits still open.
    pub open_visits: usize,
    /// Frames in quarantine.
    pub quarantined: usize,
    /// Orders with a provisional number.
    pub provisional: usize,
}

/// What is said at closing: each thing left over, then the list. Nothing left over is said too.
#[must_use]
pub fn closing(left: Leftovers) -> (Vec<String>, Vec<Item>) {
    let mut said = Vec::new();
    let mut tell = |n: usize, one: &str, many: &str| match n {
        0 => {}
        1 => said.push(format!("1 {one}")),
        n => said.push(format!("{n} {many}")),
    };
    tell(left.unanswered, "call for the clinician is unanswered.", "calls for the clinician are unanswered.");
    tell(left.unsent, "picture is not sent.", "pictures are not sent.");
    tell(left.unassigned, "picture belongs to no visit.", "pictures belong to no visit.");
    tell(left.quarantined, "picture waits for a second person.", "pictures wait for a second person.");
    tell(left.provisional, "order has a provisional number.", "orders have provisional numbers.");
    tell(left.open_visits, "visit is open.", "visits are open.");
    if said.is_empty() {
        said.push("Nothing is unsent, unassigned or unanswered.".to_owned());
    }
    let list = vec![
        item("close-surfaces", "Contact surfaces and front surface cleaned; cover on."),
        item("close-backup", "The copy of the day made, as the clinic does it."),
        item("close-off", "Instruments off or at rest as their makers say."),
    ];
    (said, list)
}

/// A row of the printed list of the day.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PrintedRow {
    /// When, as scheduled.
    pub when: String,
    /// Full name; paper for an outage has to name people.
    pub name: String,
    /// Day of birth with the month in letters.
    pub born: String,
    /// The patient's number.
    pub number: String,
    /// What was ordered.
    pub ordered: String,
    /// Pictures due, in order of rank, each with an empty box to tick.
    pub pictures: Vec<String>,
}

/// Rows of the printed list, by time and number.
#[must_use]
pub fn printed(orders: &[(serrata_words::Order, Vec<serrata_words::View>)]) -> Vec<PrintedRow> {
    let mut rows: Vec<PrintedRow> = orders
        .iter()
        .filter(|(o, _)| o.state == serrata_words::OrderState::Open)
        .map(|(o, views)| PrintedRow {
            when: o.scheduled.as_deref().map(|s| s.replace('T', " ")).unwrap_or_default(),
            name: format!("{}, {}", o.identity.family.reveal(), o.identity.given.reveal()),
            born: o
                .identity
                .born
                .reveal()
                .map_or_else(|| "not known".to_owned(), serrata_words::BirthDate::screen),
            number: o.identity.patient_id.reveal().clone(),
            ordered: if o.asked.is_empty() {
                o.protocol.clone().unwrap_or_default()
            } else {
                o.asked.clone()
            },
            pictures: views.iter().map(crate::named).collect(),
        })
        .collect();
    rows.sort_by(|a, b| (&a.when, &a.number).cmp(&(&b.when, &b.number)));
    rows
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_lists_that_people_read() {
        let lines = ClinicLines { wiping: Some("our cloth, two minutes to dry".into()), red_eye: None };
        let open = opening(&["demo-wide"], &lines).into_iter().map(|i| i.text).collect::<Vec<_>>().join("\n");
        let (said, list) = closing(Leftovers { unsent: 2, unanswered: 1, ..Leftovers::default() });
        let close = said.into_iter().chain(list.into_iter().map(|i| i.text)).collect::<Vec<_>>().join("\n");
        insta::assert_snapshot!(format!("{open}\n{}\n\n{close}", wiping_line(&lines, true)));
    }

    #[test]
    fn no_agent_is_named_unless_the_clinic_names_it() {
        let text = wiping_line(&ClinicLines::default(), false) + &wiping_line(&ClinicLines::default(), true);
        assert!(!text.contains("alcohol") && text.contains("own line"));
    }

    #[test]
    fn nothing_left_over_is_said_and_everything_left_over_too() {
        assert_eq!(closing(Leftovers::default()).0, ["Nothing is unsent, unassigned or unanswered."]);
        let all = Leftovers {
            unsent: 1,
            unassigned: 1,
            unanswered: 1,
            open_visits: 1,
            quarantined: 1,
            provisional: 1,
        };
        assert_eq!(closing(all).0.len(), 6);
    }
}
