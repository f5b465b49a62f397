//! A picture for people: the frame with what was seen in it.

mod canvas;

use crate::filter;
use canvas::{Canvas, Colour};
use serrata_frame::{Frame, Pixels, Samples, Working};
use serrata_words::{Eye, Finding, FindingKind, Judgement, Observation, Side, Verdict};

const INK: Colour = [240, 240, 236];
const QUIET: Colour = [170, 172, 178];
const EDGE: Colour = [120, 210, 255];
const FAULT: Colour = [255, 176, 64];

/// Findings below this score are not drawn.
const DRAWN: f64 = 0.25;

/// The frame with its verdict by word and by shape (filled, half, open disc), the outline of the visible retina, the
/// stronger findings by name, disc, fovea and eye. RGB, 8 bit, longest side at most 1600 pixels.
///
/// Dark grey pictures are drawn brighter than they are, and say so. `title` stands in the head line.
#[must_use]
pub fn overlay(frame: &Frame, observation: &Observation, judgement: &Judgement, title: &str) -> Pixels {
    let head = 76;
    let working = frame.working(1600 - 150);
    let (pw, ph) = (working.channels[0].width, working.channels[0].height);
    let notes = notes(judgement, brightened(&working), pw.max(480));
    let height = ph + head + 14 + 22 * notes.len();
    let mut c = Canvas::new(pw.max(480), height, [12, 12, 14]);
    paint(&mut c, &working, head);
    let scale = 1.0 / f64::from(working.factor);
    let top = head as f64;
    for ring in
        observation.visible_retina.place.polygons.iter().chain(&observation.visible_retina.place.holes)
    {
        c.ring(ring, scale, top, 3, EDGE);
    }
    let mut taken = Vec::new();
    for f in observation.findings.iter().filter(|f| f.score >= DRAWN) {
        finding(&mut c, f, scale, top, ph, &mut taken);
    }
    anatomy(&mut c, observation, scale, top);
    heading(&mut c, observation, judgement, title);
    for (k, note) in (0i64..).zip(&notes) {
        c.text(
            12,
            i64::try_from(ph + head + 14).unwrap_or(0) + 22 * k,
            2,
            note,
            if k == 0 { INK } else { QUIET },
        );
    }
    finish(c, frame)
}

/// A canvas has exactly the pixels that it was made with; the frame itself stands in should that ever fail.
fn finish(c: Canvas, frame: &Frame) -> Pixels {
    let (w, h) = (u32::try_from(c.width).unwrap_or(0), u32::try_from(c.height).unwrap_or(0));
    Pixels::new(w, h, 3, Samples::U8(c.data.into())).unwrap_or_else(|_| frame.pixels.clone())
}

/// Exponent that brings a dark grey picture to a readable brightness, where it needs one.
fn brightened(working: &Working) -> Option<f32> {
    let [grey] = working.channels.as_slice() else { return None };
    let mut v = grey.data.clone();
    (filter::percentile(&mut v, 0.75) < 0.25).then_some(0.55)
}

fn paint(c: &mut Canvas, working: &Working, head: usize) {
    let gamma = brightened(working).unwrap_or(1.0);
    let plane = |k: usize| &working.channels[k.min(working.channels.len() - 1)];
    for y in 0..plane(0).height {
        for x in 0..plane(0).width {
            #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // 0 to 255
            let colour = [0, 1, 2].map(|k| (plane(k).at(x, y).powf(gamma) * 255.0).round() as u8);
            let i = 3 * ((y + head) * c.width + x);
            c.data[i..i + 3].copy_from_slice(&colour);
        }
    }
}

fn heading(c: &mut Canvas, o: &Observation, j: &Judgement, title: &str) {
    let (share, word) = match j.verdict {
        Verdict::Usable => (1.0, j.verdict.screen()),
        Verdict::Limited => (0.5, j.verdict.screen()),
        Verdict::NotUsable => (0.0, j.verdict.screen()),
    };
    c.disc(38.0, 36.0, 26.0, share, INK);
    let small = c.width < 900;
    c.text(80, 16, if small { 3 } else { 4 }, &word.to_uppercase(), INK);
    c.text(80, 56, 2, title, QUIET);
    let eye = match o.eye.inferred {
        Some(Eye::R) => Eye::R.screen(),
        Some(Eye::L) => Eye::L.screen(),
        None => "eye: not sure",
    };
    let x = i64::try_from(c.width).unwrap_or(0) - canvas::width(eye, 2) - 14;
    c.text(x, 56, 2, eye, QUIET);
}

/// What a finding covers, and its name beside it.
fn finding(c: &mut Canvas, f: &Finding, scale: f64, top: f64, picture: usize, taken: &mut Vec<(i64, i64)>) {
    // Lids end where the outline of the retina is drawn already.
    if f.kind != FindingKind::Lid {
        for ring in f.place.polygons.iter().chain(&f.place.holes) {
            c.ring(ring, scale, top, 2, FAULT);
        }
    }
    #[allow(clippy::cast_possible_truncation, clippy::cast_precision_loss)] // within a canvas
    let (w, h, t) = (c.width as i64, picture as i64, top as i64);
    let name = f.kind.screen();
    let wide = canvas::width(name, 2);
    let centre = f.place.polygons.first().map(|r| {
        let n = r.len().max(1) as f64;
        [r.iter().map(|p| p[0]).sum::<f64>() / n * scale, r.iter().map(|p| p[1]).sum::<f64>() / n * scale]
    });
    #[allow(clippy::cast_possible_truncation)] // within a canvas
    let (x, y) = match (f.rows, f.side, centre) {
        (Some([a, b]), ..) => {
            for row in [a, b] {
                let y = f64::from(row) * scale + top;
                c.line([0.0, y], [w as f64, y], 2, FAULT);
            }
            (w / 2 - wide / 2, (f64::from(a + b) / 2.0 * scale) as i64 - 8)
        }
        (_, _, Some([x, y])) => (x as i64 - wide / 2, y as i64 - 8),
        (_, Some(Side::Left), _) => (14, h / 2),
        (_, Some(Side::Right), _) => (w - wide - 14, h / 2),
        (_, Some(Side::Top), _) => (w / 2, 14),
        (_, Some(Side::Bottom), _) => (w / 2, h - 34),
        (None, None, None) => (w / 2 - wide / 2, h / 3),
    };
    let x = x.clamp(4, (w - wide - 4).max(4));
    let mut y = y.clamp(4, (h - 24).max(4)) + t;
    while taken.iter().any(|(_, other)| (other - y).abs() < 22)
        && taken.iter().any(|(ox, oy)| (ox - x).abs() < wide + 40 && (oy - y).abs() < 22)
    {
        y += 22;
    }
    taken.push((x, y));
    c.text(x, y, 2, name, FAULT);
}

fn anatomy(c: &mut Canvas, o: &Observation, scale: f64, top: f64) {
    #[allow(clippy::cast_possible_truncation)] // within a canvas
    let px = |v: f64| v as i64;
    if let Some(d) = o.disc.filter(|d| d.probability > 0.5) {
        let (x, y, r) = (d.x * scale, d.y * scale + top, (d.radius * scale).max(6.0));
        c.circle(x, y, r + 3.0, 2, INK);
        c.text(px(x - 16.0), px(y + r + 8.0), 1, "disc", INK);
    }
    if let Some(f) = o.fovea {
        let (x, y) = (f.x * scale, f.y * scale + top);
        c.line([x - 10.0, y], [x + 10.0, y], 2, INK);
        c.line([x, y - 10.0], [x, y + 10.0], 2, INK);
        c.text(px(x - 20.0), px(y + 16.0), 1, "fovea", INK);
    }
}

/// The lines below the picture: reasons first, then what to do.
fn notes(j: &Judgement, brightened: Option<f32>, width: usize) -> Vec<String> {
    let most = (width.saturating_sub(24) / 16).max(20);
    let mut out = Vec::new();
    let reasons: Vec<&str> = j.reasons.iter().take(3).map(|r| r.text.as_str()).collect();
    out.push(if reasons.is_empty() { "Nothing against it.".to_owned() } else { reasons.join("; ") });
    out.extend(j.advice.iter().take(2).cloned());
    if brightened.is_some() {
        out.push("Drawn brighter than it is.".to_owned());
    }
    out.iter().flat_map(|line| wrap(line, most)).collect()
}

/// Breaks a line between words.
fn wrap(line: &str, most: usize) -> Vec<String> {
    let mut out: Vec<String> = Vec::new();
    for word in line.split_whitespace() {
        match out.last_mut() {
            Some(last) if last.chars().count() + 1 + word.chars().count() <= most => {
                last.push(' ');
                last.push_str(word);
            }
            _ => out.push(word.to_owned()),
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::wrap;

    #[test]
    fn lines_break_between_words() {
        assert_eq!(wrap("move back a little", 9), ["move back", "a little"]);
        assert!(wrap("", 9).is_empty());
    }
}
