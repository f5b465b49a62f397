//! Montages that stand, as pictures derived from those that they were put together from.

use super::{About, MONTAGES, nth, number_of};
use crate::handover::Derived;
use crate::montage::made;
use serrata_dicom::{Device, Header, Instance, NewObject, WideField, write_photograph};
use serrata_frame::{Frame, Pixels, Samples};
use serrata_store::FrameId;
use serrata_words::{Eye, MosaicLine, Placement, Stamp};
use std::path::{Path, PathBuf};

/// One object an eye and kind. What is put together of pictures that are no DICOM objects has no sources to name and stays a file.
pub(super) fn montages(about: &About<'_>) -> Vec<Derived> {
    let mut out = Vec::new();
    for eye in [Eye::R, Eye::L] {
        let folder = about
            .station
            .background()
            .folder(crate::background::MONTAGES, &format!("{}-{eye}", about.visit.id));
        let Some(made) = made(&folder) else { continue };
        for m in &made.assembly.mosaics {
            let placed = made
                .assembly
                .frames
                .iter()
                .filter(|f| f.status == Placement::Placed && f.modality == m.modality);
            let frames: Vec<FrameId> = placed.filter_map(|f| f.name.parse().ok().map(FrameId)).collect();
            let of = |id: &FrameId| {
                let j = about.stand.judged.iter().find(|j| j.kept.id == *id)?;
                // A frame that was set aside since, or is of the other eye, keeps the whole montage here.
                let stands =
                    j.kept.set_aside.is_none() && j.eye == Some(eye) && j.view.modality == m.modality;
                let sha256 = &j.kept.sha256;
                stands.then_some((about.instance(sha256)?, about.known.get(sha256)?))
            };
            let sources: Option<Vec<(Instance, &Header)>> = frames.iter().map(of).collect();
            let Some(sources) = sources.filter(|s| !s.is_empty()) else { continue };
            out.extend(one(
                about,
                eye,
                m,
                made.assembly.calibrated,
                &made.key,
                &folder,
                &sources,
                frames,
                out.len(),
            ));
        }
    }
    out
}

#[allow(clippy::too_many_arguments)] // one call, and each is another thing
fn one(
    about: &About<'_>,
    eye: Eye,
    m: &MosaicLine,
    calibrated: bool,
    key: &str,
    folder: &Path,
    sources: &[(Instance, &Header)],
    frames: Vec<FrameId>,
    n: usize,
) -> Option<Derived> {
    // Put together of pictures of one eye and kind, it was taken when the first of them was.
    let taken: Option<Stamp> =
        sources.iter().filter_map(|(_, h)| h.facts.acquired.clone()).min_by_key(|s| s.utc_us);
    let instances: Vec<Instance> = sources.iter().map(|s| s.0.clone()).collect();
    let number = number_of(&instances, &format!("montage {eye} {} {key}", m.modality));
    let same = |of: fn(&Header) -> Option<(f64, String)>| {
        let first = of(sources.first()?.1)?;
        sources.iter().all(|s| of(s.1).as_ref() == Some(&first)).then_some(first)
    };
    let axial = same(|h| h.facts.axial_length_mm.clone());
    let (axial_length_mm, axial_length_method) =
        axial.unwrap_or((WideField::POPULATION_MM, "POPULATION".to_owned()));
    let light = sources.first()?.1;
    let object = NewObject {
        patient: about.person(),
        study_uid: about.visit.study_uid.clone(),
        series_uid: about.series(MONTAGES),
        instance_uid: number.clone(),
        accession: about.accession(),
        series_number: MONTAGES,
        instance_number: nth(n),
        study_began: Some(super::stamp(about.visit.opened_us)),
        device: Device {
            manufacturer: "Serrata".to_owned(),
            model: "montage".to_owned(),
            serial: "0".to_owned(),
            software: env!("CARGO_PKG_VERSION").to_owned(),
        },
        excitation_nm: light.excitation_nm,
        barrier_nm: light.barrier_nm,
        wide_field: calibrated.then_some(WideField {
            view_angle_deg: [m.degrees_per_pixel; 2],
            axial_length_mm,
            axial_length_method,
        }),
        lossy_ratio: sources.iter().filter_map(|s| s.1.lossy_ratio).max_by(f64::total_cmp),
        sources: instances,
        ..NewObject::new(eye, m.modality, taken?)
    };
    let file: PathBuf = folder.join(&m.file);
    let make = move || {
        let frame = read(&file)?;
        write_photograph(&frame, &object).map_err(|e| e.to_string())
    };
    Some(Derived::new(&format!("montage-{eye}-{}", m.modality), number, frames, make))
}

/// The picture without its coverage: what no frame showed is black.
fn read(file: &Path) -> Result<Frame, String> {
    let gone = |e: &dyn std::fmt::Display| format!("the montage cannot be read ({e}); make it again");
    let bytes = std::fs::read(file).map_err(|e| gone(&e))?;
    let picture =
        image::load_from_memory_with_format(&bytes, image::ImageFormat::Png).map_err(|e| gone(&e))?;
    drop(bytes);
    let (width, height, color) = (picture.width(), picture.height(), picture.color());
    let deep = color.bytes_per_pixel() / color.channel_count() == 2;
    let (channels, samples) = match (color.has_color(), deep) {
        (true, false) => (3, Samples::U8(picture.into_rgb8().into_raw().into())),
        (true, true) => (3, Samples::U16(picture.into_rgb16().into_raw().into())),
        (false, false) => (1, Samples::U8(picture.into_luma8().into_raw().into())),
        (false, true) => (1, Samples::U16(picture.into_luma16().into_raw().into())),
    };
    Ok(Frame::bare(Pixels::new(width, height, channels, samples).map_err(|e| gone(&e))?))
}
