//! Prints the figures of `docs/assembly.md` that need the engine only: no binary, no peer.
//!
//! ```text
//! cargo run --release -p serrata-assemble --example figures -- real rings others=60 phantom=20 aliens=60 sets=2 warps=8 copies=16
//! ```
//!
//! A number after a part's name is how many cases are tried; without it all of the bench. Vessels of a frame are looked
//! for once, however many pairs it is in. The points of `../shared/data/annotations` are read here, never by the engine.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)] // a measuring program: it stops where data is missing

mod real;
mod simulated;
mod spoil;

use rand::{RngExt, SeedableRng};
use rand_pcg::Pcg64Mcg;

/// A figure with its 95 % bootstrap interval (2000 draws, seeded).
fn interval(values: &[f64], of: impl Fn(&mut Vec<f64>) -> f64) -> String {
    let mut rng = Pcg64Mcg::seed_from_u64(1);
    let mut draws: Vec<f64> = (0..2000)
        .map(|_| of(&mut values.iter().map(|_| values[rng.random_range(0..values.len())]).collect()))
        .collect();
    draws.sort_by(f64::total_cmp);
    format!("{:.3} ({:.3} to {:.3})", of(&mut values.to_vec()), draws[50], draws[1949])
}

/// The value below which that share of the values lies.
fn quantile(values: &mut [f64], share: f64) -> f64 {
    values.sort_by(f64::total_cmp);
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, clippy::cast_precision_loss)]
    // an index
    let k = (share * (values.len() - 1) as f64).round() as usize;
    values[k]
}

fn mean(values: &[f64]) -> f64 {
    #[allow(clippy::cast_precision_loss)] // a count
    let n = values.len() as f64;
    values.iter().sum::<f64>() / n
}

/// One line of the table.
fn say(what: &str, figure: &str, n: usize, held: bool) {
    println!("{what:66} {figure:34} n = {n:4}  {}", if held { "held" } else { "NOT HELD" });
}

fn main() {
    for word in std::env::args().skip(1) {
        let (part, n) = word.split_once('=').unwrap_or((&word, ""));
        let n: usize = if n.is_empty() { usize::MAX } else { n.parse().expect("a number of cases") };
        println!("== {word}");
        match part {
            "real" => real::points(),
            "rings" => real::rings(),
            "others" => real::others(n),
            "warps" => spoil::warps(n),
            "copies" => spoil::copies(n),
            "phantom" => simulated::pairs(n.min(100)),
            "aliens" => simulated::aliens(n.min(500)),
            "sets" => simulated::sets(n.min(20)),
            "five" => simulated::five(),
            other => panic!("{other}: no such part"),
        }
    }
}
