//! The page is embedded when this crate is compiled; without this, a page built anew would not be a reason to compile.

fn main() {
    println!("cargo::rerun-if-changed=../../web/dist");
}
