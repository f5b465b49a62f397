//! A visit as a photographer wants to read it: who, what is next, what comes first, what is due, what is there.

use serde_json::Value;
use std::fmt::Write as _;

/// A visit out of the API's answer (`serrata.visit/1`) as text.
pub fn visit(v: &Value) -> String {
    let mut out = String::new();
    let t = &v["today"];
    let born = v["birth_date"].as_str().map(|b| format!(", born {b}")).unwrap_or_default();
    line(&mut out, &format!("{}{born}, number {}", text(&v["patient_name"]), text(&v["patient_id"])));
    let chair = v["chair"].as_str().map_or("not seated".to_owned(), |c| format!("sits: {c}"));
    let when = t["scheduled"].as_str().map(|s| format!(", scheduled {s}")).unwrap_or_default();
    line(
        &mut out,
        &format!(
            "{} ({}{when}), {chair}, visit {} {}",
            text(&v["order"]),
            numbers(t),
            v["id"],
            text(&v["state"])
        ),
    );
    line(&mut out, &format!("Identifiers: {}", t["identity"].as_str().unwrap_or("not ticked yet")));
    out.push('\n');
    line(&mut out, &text(&v["complete"]["sentence"]));
    if let Some(next) = v["next_step"].as_str() {
        line(&mut out, &format!("Next: {next}"));
    }
    for chart in v["charts"].as_array().into_iter().flatten() {
        if let Some(look) = chart["look"]["sentence"].as_str() {
            line(&mut out, &format!("Look next: {look}"));
        }
    }
    block(&mut out, "First", "! ", t["first"].as_array());
    block(&mut out, "At the chair", "- ", t["notes"].as_array());
    views(&mut out, v);
    frames(&mut out, v);
    answers(&mut out, t);
    block(&mut out, "Needle", "- ", t["needle"].as_array());
    block(&mut out, "Light", "- ", t["light"].as_array());
    out
}

fn numbers(t: &Value) -> String {
    let orders = t["orders"].as_array().map(Vec::as_slice).unwrap_or_default();
    if orders.is_empty() {
        return "no order number".to_owned();
    }
    let one = |o: &Value| {
        let mut said = text(&o["number"]);
        if o["provisional"] == true && o["merged_into"].is_null() {
            said.push_str(", provisional");
        }
        if o["state"] == "cancelled" {
            said.push_str(", cancelled");
        }
        said
    };
    orders.iter().filter(|o| o["merged_into"].is_null()).map(one).collect::<Vec<_>>().join("; ")
}

fn views(out: &mut String, v: &Value) {
    head(out, "Pictures");
    for view in v["views"].as_array().into_iter().flatten() {
        let state = text(&view["state"]);
        let shape = match state.as_str() {
            "met" => '●',
            "met_with_reservations" => '◐',
            "not_obtainable" | "not_done" | "not_wanted" => '–',
            _ => '○',
        };
        let rank = if view["rank"] == "must" || state == "not_wanted" { "" } else { " (wanted)" };
        let by: Vec<String> =
            view["frames"].as_array().into_iter().flatten().map(|f| format!("#{f}")).collect();
        let by = if by.is_empty() { String::new() } else { format!("  {}", by.join(" ")) };
        line(out, &format!("{shape} {:<30} {}{rank}{by}", text(&view["name"]), state.replace('_', " ")));
        for why in view["why"].as_array().into_iter().flatten() {
            line(out, &format!("    {}", text(why)));
        }
    }
}

fn frames(out: &mut String, v: &Value) {
    let all = v["frames"].as_array().map(Vec::as_slice).unwrap_or_default();
    if all.is_empty() {
        return;
    }
    head(out, "Frames, newest first");
    for f in all {
        let mut said = match f["verdict"].as_str() {
            Some("usable") => "● usable".to_owned(),
            Some("limited") => "◐ usable with reservations".to_owned(),
            Some(_) => "○ not usable".to_owned(),
            None => format!("  {}", text(&f["state"])),
        };
        for (key, word) in [("leading", ""), ("set_aside", "set aside: ")] {
            if let Some(t) = f[key].as_str() {
                let _ = write!(said, "; {word}{t}"); // writing to a string cannot fail
            }
        }
        if f["quarantined"] == true {
            said.push_str("; waits for a second person");
        }
        let eye = f["eye"].as_str().unwrap_or("eye?");
        line(
            out,
            &format!("#{:<4} {eye:<4} {:<10} {:<10} {said}", f["id"], text(&f["modality"]), text(&f["gaze"])),
        );
    }
}

fn answers(out: &mut String, t: &Value) {
    let all = t["answers"].as_array().map(Vec::as_slice).unwrap_or_default();
    if all.is_empty() {
        return;
    }
    head(out, "Questions; the answers are staff's");
    for a in all {
        let answer = match a["answer"].as_str() {
            Some(said) => format!("{said} ({})", text(&a["who"])),
            None => "not answered".to_owned(),
        };
        line(out, &format!("[{}] {} - {answer}", text(&a["id"]), text(&a["question"])));
    }
}

fn block(out: &mut String, title: &str, mark: &str, lines: Option<&Vec<Value>>) {
    let lines = lines.map(Vec::as_slice).unwrap_or_default();
    if lines.is_empty() {
        return;
    }
    head(out, title);
    for l in lines {
        line(out, &format!("{mark}{}", text(l)));
    }
}

fn head(out: &mut String, title: &str) {
    out.push('\n');
    line(out, title);
}

fn line(out: &mut String, text: &str) {
    out.push_str(text.trim_end());
    out.push('\n');
}

fn text(v: &Value) -> String {
    v.as_str().unwrap_or_default().to_owned()
}

#[cfg(test)]
mod tests {
    use serde_json::json;

    #[test]
    fn a_visit_reads_as_a_photographer_wants_it() {
        let v = json!({
            "id": 4, "patient_name": "Lovage Arbor", "patient_id": "INV-7", "birth_date": "03 Feb 1961",
            "order": "First look", "chair": "By the door", "state": "open",
            "complete": {"state": "not_yet", "sentence": "Not yet: Left eye (OS), colour, straight ahead."},
            "next_step": "Left eye (OS), colour, straight ahead, a second try",
            "views": [
                {"name": "colour ahead R", "rank": "must", "state": "met_with_reservations", "frames": [11], "why": ["taken after dye, and wanted before"]},
                {"name": "colour ahead L", "rank": "must", "state": "due", "frames": [12]},
                {"name": "faf ahead R", "rank": "should", "state": "not_obtainable", "frames": []},
            ],
            "frames": [
                {"id": 12, "eye": "L", "modality": "colour", "gaze": "primary", "state": "checked", "verdict": "not_usable",
                 "leading": "A blink hides the macula."},
                {"id": 11, "eye": "R", "modality": "colour", "gaze": "primary", "state": "checked", "verdict": "usable"},
            ],
            "charts": [{"eye": "R", "look": null},
                {"eye": "L", "look": {"sentence": "Left eye (OS): patient looks up, about 20°; adds about 9 % of the wanted retina, at 11, 12, 1 o'clock"}}],
            "today": {
                "scheduled": "2026-03-02T09:15", "identity": "name, date of birth (RK)",
                "orders": [{"number": "A-100", "provisional": false, "state": "open", "merged_into": null}],
                "first": ["Clinician to look now: nobody was reached yet."], "notes": ["Wheelchair: make room at the chin rest first."],
                "answers": [{"id": "light", "question": "Light-sensitive?", "answer": "no", "who": "RK"}],
                "needle": [], "light": [], "facts": []
            }
        });
        insta::assert_snapshot!(super::visit(&v));
    }
}
