//! Appraisals as a table for people.

use serrata_words::{AppraisalLine, Eye, Next, Verdict};

/// Width of the file column; longer names lose their beginning.
const FILE: usize = 34;

/// The head of the table.
pub fn head() -> String {
    format!("{:<FILE$}  {:<26}  {:<10}  {:<5}  {:>6}  {}", "file", "result", "next", "eye", "retina", "why")
}

/// One frame as a row.
pub fn row(line: &AppraisalLine) -> String {
    let name = if line.frame == 0 { line.path.clone() } else { format!("{} [{}]", line.path, line.frame) };
    let result = format!("{} {}", shape(line.verdict), line.verdict.screen());
    let next = match line.next {
        Next::Keep => "keep",
        Next::TryAgain => "try again",
        Next::Stop => "stop",
    };
    let eye = match (line.eye.inferred, line.eye.labelled) {
        (Some(a), Some(b)) if a != b => format!("{a}≠{b}"),
        (Some(Eye::R), _) => "OD".to_owned(),
        (Some(Eye::L), _) => "OS".to_owned(),
        (None, Some(b)) => format!("({b})"),
        (None, None) => "?".to_owned(),
    };
    let why = line.reasons.first().map_or("", |r| r.text.as_str());
    format!(
        "{:<FILE$}  {:<26}  {:<10}  {:<5}  {:>5.0}%  {}",
        tail(&name),
        result,
        next,
        eye,
        line.visible_retina.fraction * 100.0,
        why
    )
}

/// Filled, half and open disc.
pub const fn shape(verdict: Verdict) -> char {
    match verdict {
        Verdict::Usable => '●',
        Verdict::Limited => '◐',
        Verdict::NotUsable => '○',
    }
}

fn tail(name: &str) -> String {
    let n = name.chars().count();
    if n <= FILE {
        return name.to_owned();
    }
    std::iter::once('…').chain(name.chars().skip(n - FILE + 1)).collect()
}

#[cfg(test)]
mod tests {
    #[test]
    fn long_names_keep_their_end() {
        let t = super::tail(&format!("{}/picture.jpg", "folder".repeat(20)));
        assert_eq!(t.chars().count(), super::FILE);
        assert!(t.starts_with('…') && t.ends_with("picture.jpg"));
    }
}
