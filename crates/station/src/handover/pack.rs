use super::{Contents, MANIFEST};
use bytes::Bytes;
use serrata_words::{PackageFile, PackageManifest};
use sha2::{Digest, Sha256};
use std::io::{self, Seek, Write};
use zip::write::SimpleFileOptions;
use zip::{CompressionMethod, ZipWriter};

/// Writes a package as a zip: originals first, one at a time, the manifest last. `original` gives a file's bytes by its SHA-256.
///
/// Pictures are compressed already, so that nothing is compressed again. The same contents give the same bytes.
///
/// # Errors
/// Where an original cannot be read, its bytes are not those that were kept, or the zip cannot be written.
pub fn pack(
    contents: &Contents,
    original: impl Fn(&str) -> Result<Bytes, String>,
    out: impl Write + Seek,
) -> io::Result<PackageManifest> {
    // Entries beyond 4 GiB are rare, and readers know the larger form only where it is needed.
    let options = SimpleFileOptions::default().compression_method(CompressionMethod::Stored);
    let mut zip = ZipWriter::new(out);
    let mut files = Vec::new();
    let mut put = |path: &str, bytes: &[u8], frames: Vec<i64>| -> io::Result<()> {
        zip.start_file(path, options.large_file(bytes.len() > 0xffff_0000)).map_err(io::Error::other)?;
        zip.write_all(bytes)?;
        files.push(PackageFile {
            path: path.to_owned(),
            bytes: bytes.len() as u64,
            sha256: hex::encode(Sha256::digest(bytes)),
            frames,
        });
        Ok(())
    };
    put("README.txt", contents.readme().as_bytes(), Vec::new())?;
    for ((sha256, name, frames), path) in contents.originals.iter().zip(contents.original_paths()) {
        let bytes = original(sha256).map_err(|e| io::Error::other(format!("{name}: {e}")))?;
        if hex::encode(Sha256::digest(&bytes)) != *sha256 {
            return Err(io::Error::other(format!(
                "{name}: the kept original has changed; run `serrata verify` on the data folder"
            )));
        }
        put(&path, &bytes, frames.clone())?;
    }
    for e in &contents.entries {
        put(&e.path, &e.bytes, Vec::new())?;
    }
    // One at a time; one that cannot be made keeps no picture back.
    for object in &contents.objects {
        match object.make() {
            Ok(bytes) => put(&format!("dicom/{}.dcm", object.name), &bytes, Vec::new())?,
            Err(why) => {
                put(
                    &format!("dicom/{}-missing.txt", object.name),
                    format!("{why}\n").as_bytes(),
                    Vec::new(),
                )?;
            }
        }
    }
    files.sort_by(|a, b| a.path.cmp(&b.path));
    let manifest = PackageManifest {
        schema: PackageManifest::SCHEMA.to_owned(),
        made_by: concat!("serrata ", env!("CARGO_PKG_VERSION")).to_owned(),
        who: contents.who.clone(),
        made_utc_us: contents.made_utc_us,
        visit_id: contents.visit_id,
        deidentified: contents.deidentified,
        complete: contents.complete.clone(),
        files,
        left_out: contents.left_out.clone(),
    };
    zip.start_file(MANIFEST, options).map_err(io::Error::other)?;
    zip.write_all(&serde_json::to_vec_pretty(&manifest)?)?;
    zip.finish().map_err(io::Error::other)?;
    Ok(manifest)
}
