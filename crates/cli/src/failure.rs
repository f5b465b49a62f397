//! Failures as sentences.

use std::io::ErrorKind;

/// Whether the reader of our output went away.
pub fn is_broken_pipe(e: &anyhow::Error) -> bool {
    e.chain().any(|c| c.downcast_ref::<std::io::Error>().is_some_and(|e| e.kind() == ErrorKind::BrokenPipe))
}

/// Ends the program quietly where `println!` finds that the reader of our output went away, as `head` does: it has what it
/// wanted. Any other panic is told as ever.
pub fn end_quietly_with_the_reader() {
    let usual = std::panic::take_hook();
    std::panic::set_hook(Box::new(move |info| {
        let said = info.payload_as_str().unwrap_or_default();
        if said.starts_with("failed printing to stdout") && said.contains("Broken pipe") {
            std::process::exit(0);
        }
        usual(info);
    }));
}

/// The whole chain as one line.
pub fn sentence(e: &anyhow::Error) -> String {
    let text = e.chain().map(ToString::to_string).collect::<Vec<_>>().join(": ");
    if text.ends_with('.') { text } else { format!("{text}.") }
}

/// What a person can do about a file that cannot be read or written, with a short word for scripts.
pub fn io_remedy(e: &std::io::Error) -> (&'static str, &'static str) {
    match e.kind() {
        ErrorKind::NotFound => ("not_found", "Check the name and the folder"),
        ErrorKind::IsADirectory => ("unreadable", "Name a file, not a folder"),
        ErrorKind::PermissionDenied => ("unreadable", "Ask for the right to read it"),
        ErrorKind::StorageFull => ("disk_full", "Free some space and try again"),
        _ => ("unreadable", "Check the disk or the network share, then try again"),
    }
}
