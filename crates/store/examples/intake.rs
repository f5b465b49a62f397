//! How many objects of 2 MB a second are kept, synced and indexed, by 1 and by 4 senders.
//!
//! `cargo run --release -p serrata-store --example intake [FOLDER]`: the folder says which disk; it must be new.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)] // helpers of tests may fail loudly

use serrata_store::{By, Incoming, NewFrame, Source, Store};
use std::time::Instant;

const SIZE: usize = 2_000_000;
const COUNT: usize = 120;

fn object(n: usize) -> Incoming {
    let mut bytes = vec![0u8; SIZE];
    bytes[..8].copy_from_slice(&n.to_le_bytes());
    for (i, b) in bytes.iter_mut().enumerate().skip(8) {
        *b = (i.wrapping_mul(2_654_435_761) >> 7) as u8;
    }
    Incoming::new(format!("{n}.dcm"), Source::Upload, 0, bytes)
        .with_frames(vec![NewFrame::new(0, 3600, 3600)])
}

#[tokio::main]
async fn main() {
    let root = std::env::args().nth(1).map_or_else(std::env::temp_dir, Into::into);
    let dir = tempfile::tempdir_in(root).unwrap();
    let store = Store::open(dir.path()).await.unwrap();
    let mut next = 0;
    for senders in [1, 4, 16] {
        let start = Instant::now();
        let mut tasks = Vec::new();
        for _ in 0..senders {
            let (store, first) = (store.clone(), next);
            next += COUNT / senders;
            tasks.push(tokio::spawn(async move {
                for n in first..first + COUNT / senders {
                    assert!(!store.accept(object(n), &By::station()).await.unwrap().duplicate);
                }
            }));
        }
        for task in tasks {
            task.await.unwrap();
        }
        let rate = COUNT as f64 / start.elapsed().as_secs_f64();
        println!("{senders:2} senders: {rate:6.1} objects of 2 MB a second");
    }
    store.close().await;
}
