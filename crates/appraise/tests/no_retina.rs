//! Pictures that hold no retina, and pictures too small to hold one: `no_retina`, and never a panic.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)] // helpers of tests

use proptest::prelude::*;
use serrata_appraise::{likely_modality, observe, overlay};
use serrata_frame::{Frame, Pixels, Samples};
use serrata_words::{FindingKind, Judgement, Modality, Next, Observation, Verdict};

const SIZE: (u32, u32) = (900, 700);

fn picture(channels: u8, f: impl Fn(u32, u32, u8) -> u8) -> Frame {
    let (w, h) = SIZE;
    let mut v = Vec::new();
    for y in 0..h {
        for x in 0..w {
            v.extend((0..channels).map(|c| f(x, y, c)));
        }
    }
    Frame::bare(Pixels::new(w, h, channels, Samples::U8(v.into())).unwrap())
}

fn noise(x: u32, y: u32, c: u8) -> u8 {
    let mut k =
        x.wrapping_mul(0x9E37_79B1) ^ y.wrapping_mul(0x85EB_CA77) ^ u32::from(c).wrapping_mul(0xC2B2_AE3D);
    k ^= k >> 15;
    k = k.wrapping_mul(0x2C1B_3C6D);
    (k >> 24) as u8
}

fn disc(x: u32, y: u32) -> bool {
    (f64::from(x) - 450.0).hypot(f64::from(y) - 350.0) < 300.0
}

fn refused(o: &Observation) -> bool {
    o.findings.first().is_some_and(|f| f.kind == FindingKind::NoRetina && f.score > 0.5)
        && o.visible_retina.place.is_empty()
        && o.eye.inferred.is_none()
}

#[test]
fn cards_noise_discs_and_black_hold_no_retina() {
    let pictures: Vec<(&str, Frame)> = vec![
        ("grey card", picture(3, |_, _, _| 118)),
        ("black", picture(1, |_, _, _| 0)),
        ("white", picture(1, |_, _, _| 255)),
        ("noise", picture(3, noise)),
        ("noisy card", picture(1, |x, y, c| 112 + noise(x, y, c) / 20)),
        ("plain disc", picture(1, |x, y, _| if disc(x, y) { 150 } else { 0 })),
        ("orange disc", picture(3, |x, y, c| if disc(x, y) { [170, 110, 20][c as usize] } else { 0 })),
        ("stripes", picture(1, |x, _, _| if x / 20 % 2 == 0 { 40 } else { 200 })),
        ("squares", picture(3, |x, y, _| if (x / 40 + y / 40) % 2 == 0 { 60 } else { 190 })),
    ];
    for (name, frame) in &pictures {
        for m in [Modality::Colour, Modality::Fa, Modality::Faf, likely_modality(frame)] {
            let o = observe(frame, m, None);
            assert!(refused(&o), "{name} as {m}: {:?}", o.findings);
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(200))]
    #[test]
    fn tiny_pictures_hold_no_retina(w in 1u32..9, h in 1u32..9, colour in any::<bool>(), deep in any::<bool>(), seed in any::<u8>(), k in 0..Modality::ALL.len()) {
        let c = if colour { 3u8 } else { 1 };
        let n = w * h * u32::from(c);
        let v: Vec<u8> = (0..n).map(|i| noise(i, u32::from(seed), 0)).collect();
        let samples = if deep {
            Samples::U16(v.iter().map(|b| u16::from(*b) * 257).collect::<Vec<_>>().into())
        } else {
            Samples::U8(v.into())
        };
        let frame = Frame::bare(Pixels::new(w, h, c, samples).unwrap());
        let o = observe(&frame, Modality::ALL[k], None);
        prop_assert!(refused(&o));
        let j = Judgement { verdict: Verdict::NotUsable, next: Next::TryAgain, reasons: vec![], advice: vec![] };
        let drawn = overlay(&frame, &o, &j, "tiny");
        prop_assert!(drawn.channels() == 3 && drawn.width().max(drawn.height()) <= 1600);
        let _ = likely_modality(&frame);
    }

    #[test]
    fn thin_pictures_do_not_panic(long in 1u32..400, thin in 1u32..4, upright in any::<bool>(), seed in any::<u8>()) {
        let (w, h) = if upright { (thin, long) } else { (long, thin) };
        let v: Vec<u8> = (0..w * h * 3).map(|i| noise(i, u32::from(seed), 1)).collect();
        let frame = Frame::bare(Pixels::new(w, h, 3, Samples::U8(v.into())).unwrap());
        for m in [Modality::Colour, Modality::Fa] {
            prop_assert!(refused(&observe(&frame, m, None)));
        }
    }
}
