use crate::{
    anatomy::{Anatomy, Vessels, anatomy},
    contour,
    faults::{Seen, Sweep, capture, faults, shade, sharpness},
    mask::Mask,
    reach::reach,
    retina::no_retina,
    scene::Scene,
    visible,
};
use serrata_frame::Frame;
use serrata_words::{
    EyeInference, Finding, Instrument, Method, Modality, Observation, Sharpness, VisibleRetina,
};

/// The method of [`observe`] with its revision.
pub const METHOD: Method = Method::new("observe", 10);

/// Looks at one frame: what of the retina can be seen, what is wrong, where disc and fovea are, which eye it is.
///
/// Pure and on one thread: the same frame gives the same observation, however many run beside it. Lengths in it are
/// full-frame pixels; times are given only with an instrument. The label in the frame's facts is not looked at.
///
/// ```
/// use serrata_frame::{Frame, Pixels, Samples};
/// use serrata_words::{FindingKind, Modality};
/// let grey = Frame::bare(Pixels::new(64, 48, 1, Samples::U8(vec![118; 64 * 48].into()))?);
/// let seen = serrata_appraise::observe(&grey, Modality::Fa, None);
/// assert_eq!(seen.findings[0].kind, FindingKind::NoRetina);
/// # Ok::<(), serrata_frame::PixelsError>(())
/// ```
#[must_use]
pub fn observe(frame: &Frame, modality: Modality, instrument: Option<&Instrument>) -> Observation {
    observe_steps(frame, modality, instrument, &mut |_| ())
}

/// The same, and calls `done` with the name of each step when it has ended: for showing where the time goes.
#[must_use]
pub fn observe_steps(
    frame: &Frame,
    modality: Modality,
    instrument: Option<&Instrument>,
    done: &mut dyn FnMut(&'static str),
) -> Observation {
    let mut scene = Scene::new(frame, modality);
    done("working planes");
    let sweep = Sweep::new(&scene, instrument);
    scene.bridge(&sweep.covered, sweep.across);
    let scene = scene;
    done("blinks");
    let visible::Visible { retina: whole, lit, behind_margins } = visible::visible(&scene);
    let retina = whole.and_not(&sweep.covered);
    done("visible retina");
    let mut findings = sweep.findings(&scene, &whole);
    done("jumps");
    let vessels = Vessels::find(&scene, &retina);
    done("vessels");
    let anatomy = anatomy(&scene, &retina, &vessels);
    done("disc, fovea, side");
    let sharp = sharpness(&scene, &vessels);
    done("sharpness");
    let seen = Seen {
        scene: &scene,
        retina: &retina,
        behind_margins: &behind_margins,
        vessels: &vessels,
        anatomy: &anatomy,
        sharp: &sharp,
    };
    if let Some(finding) = no_retina(&seen, sweep.covered.count() > 0) {
        // Capture faults may be why: they are told beside it.
        findings.extend(capture(&seen));
        findings.sort_by(|a, b| b.score.total_cmp(&a.score).then(a.kind.cmp(&b.kind)));
        findings.insert(0, finding);
        return nothing(&scene, findings);
    }
    findings.extend(faults(&seen));
    done("other faults");
    findings.sort_by(|a, b| b.score.total_cmp(&a.score).then(a.kind.cmp(&b.kind)));
    let reach = reach(&scene, &retina, &anatomy);
    let value = sharp.edge.map_or(0.0, |e| 0.001 / e);
    let mut open = lit.and_not(&sweep.covered);
    // What lies in the iris's shadow is not seen.
    if let Some(shade) = shade(&seen, &findings) {
        open = open.and_not(&shade);
    }
    let observation = finish(&scene, &open, findings, anatomy, reach, value);
    done("outlines");
    observation
}

/// The observation of a picture without retina.
fn nothing(scene: &Scene<'_>, findings: Vec<Finding>) -> Observation {
    let none = Mask::new(scene.width(), scene.height(), false);
    let blank = Anatomy {
        disc: None,
        fovea: None,
        eye: EyeInference { inferred: None, probability: 0.5 },
        convergence: 0.0,
    };
    finish(scene, &none, findings, blank, None, 0.0)
}

fn finish(
    scene: &Scene<'_>,
    retina: &Mask,
    findings: Vec<Finding>,
    anatomy: Anatomy,
    reach: Option<serrata_words::Reach>,
    sharpness: f64,
) -> Observation {
    let pixels = &scene.frame.pixels;
    let full = f64::from(pixels.width()) * f64::from(pixels.height());
    let place = contour::region(retina, scene.factor);
    let all = (scene.width() * scene.height()) as f64;
    Observation {
        method: METHOD,
        width: pixels.width(),
        height: pixels.height(),
        aperture_fraction: scene.aperture.count() as f64 / all,
        visible_retina: VisibleRetina {
            fraction: retina.share_of(&scene.aperture),
            fraction_of_picture: (place.flat_area() / full).clamp(0.0, 1.0),
            place,
        },
        findings,
        eye: anatomy.eye,
        disc: anatomy.disc,
        fovea: anatomy.fovea,
        reach,
        sharpness: Sharpness {
            value: sharpness,
            unit: "a thousandth of the longer side / width of vessel edges".to_owned(),
        },
    }
}
