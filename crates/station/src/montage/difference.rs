use super::MontageError;
use std::path::Path;

/// Later minus earlier, each with its broad light taken out; middle grey is no change, uncovered is clear.
///
/// Local contrast (minus the mean, over the standard deviation of a window of a twentieth of the picture's longer side) is
/// compared, so that neither lamp nor haze counts. One standard deviation is 40 grey levels.
///
/// # Errors
/// [`MontageError::File`] where a picture cannot be read back or written.
pub fn difference(before: &Path, after: &Path, to: &Path) -> Result<(), MontageError> {
    let open = |p: &Path| -> Result<image::GrayAlphaImage, MontageError> {
        let picture =
            image::open(p).map_err(|e| MontageError::file(p, format!("cannot be read back ({e})")))?;
        if picture.color().has_color() {
            // Green carries the vessels and most of what changes.
            let rgba = picture.into_rgba8();
            return Ok(image::GrayAlphaImage::from_fn(rgba.width(), rgba.height(), |x, y| {
                let p = rgba.get_pixel(x, y).0;
                image::LumaA([p[1], p[3]])
            }));
        }
        Ok(picture.into_luma_alpha8())
    };
    let (b, a) = (open(before)?, open(after)?);
    let (lb, la) = (levelled(&b), levelled(&a));
    let out = image::GrayAlphaImage::from_fn(b.width(), b.height(), |x, y| {
        let i = y as usize * b.width() as usize + x as usize;
        if b.get_pixel(x, y).0[1] == 0 || a.get_pixel(x, y).0[1] == 0 {
            return image::LumaA([0, 0]);
        }
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // cut to 0..=255
        image::LumaA([(127.5 + 40.0 * (la[i] - lb[i])).clamp(0.0, 255.0) as u8, 255])
    });
    out.save(to).map_err(|e| MontageError::file(to, format!("cannot be written ({e}); check the space")))
}

/// Local contrast: minus the mean round about, over the standard deviation round about.
#[allow(clippy::cast_possible_truncation)] // grey levels
fn levelled(p: &image::GrayAlphaImage) -> Vec<f32> {
    let (w, h) = (p.width() as usize, p.height() as usize);
    let radius = (w.max(h) / 40).max(4);
    // Sums of coverage, value and square over rectangles.
    let mut sums = vec![[0f64; 3]; (w + 1) * (h + 1)];
    for y in 0..h {
        let mut row = [0f64; 3];
        for x in 0..w {
            let [v, c] = p.as_raw()[2 * (y * w + x)..][..2] else { continue };
            if c > 0 {
                let v = f64::from(v);
                row = [row[0] + 1.0, row[1] + v, row[2] + v * v];
            }
            let above = sums[y * (w + 1) + x + 1];
            sums[(y + 1) * (w + 1) + x + 1] = [above[0] + row[0], above[1] + row[1], above[2] + row[2]];
        }
    }
    let mut out = Vec::with_capacity(w * h);
    for y in 0..h {
        for x in 0..w {
            let (x0, x1) = (x.saturating_sub(radius), (x + radius + 1).min(w));
            let (y0, y1) = (y.saturating_sub(radius), (y + radius + 1).min(h));
            let s = |k: usize| {
                let at = |x: usize, y: usize| sums[y * (w + 1) + x][k];
                at(x1, y1) - at(x0, y1) - at(x1, y0) + at(x0, y0)
            };
            let n = s(0).max(1.0);
            let mean = s(1) / n;
            let sd = (s(2) / n - mean * mean).max(0.0).sqrt().max(3.0);
            out.push(((f64::from(p.as_raw()[2 * (y * w + x)]) - mean) / sd) as f32);
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use image::{GrayAlphaImage, LumaA};

    /// Two pictures under unlike light; the later one has a spot that is brighter, and a corner that nobody saw.
    fn pair(dir: &Path, spot: i32) -> GrayAlphaImage {
        let texture = |x: u32, y: u32| ((x * 7919 + y * 104_729) % 23) as i32 - 11;
        let picture = |gain: i32, extra: i32| {
            GrayAlphaImage::from_fn(400, 400, |x, y| {
                let light = 60 + gain * x as i32 / 10;
                let add = if (198..202).contains(&x) && (198..202).contains(&y) { extra } else { 0 };
                let seen = if x < 20 && y < 20 { 0 } else { 255 };
                LumaA([(light + texture(x, y) + add).clamp(0, 255) as u8, seen])
            })
        };
        let path = |n: &str| dir.join(n);
        picture(1, 0).save(path("a.png")).unwrap();
        picture(3, spot).save(path("b.png")).unwrap();
        difference(&path("a.png"), &path("b.png"), &path("d.png")).unwrap();
        image::open(path("d.png")).unwrap().into_luma_alpha8()
    }

    #[test]
    fn what_grew_brighter_is_bright_and_the_light_is_taken_out() {
        let dir = tempfile::tempdir().unwrap();
        let d = pair(dir.path(), 60);
        assert_eq!(d.get_pixel(5, 5).0, [0, 0], "nobody saw that corner");
        assert!(d.get_pixel(200, 200).0[0] > 200, "{:?}", d.get_pixel(200, 200));
        // Elsewhere no change, though one picture is lit from the left and the other thrice as much.
        for (x, y) in [(60, 60), (330, 60), (60, 330), (330, 330), (300, 200)] {
            let v = i32::from(d.get_pixel(x, y).0[0]);
            assert!((v - 127).abs() <= 12, "{x} {y}: {v}");
        }
        assert!(pair(dir.path(), -50).get_pixel(200, 200).0[0] < 60);
    }
}
