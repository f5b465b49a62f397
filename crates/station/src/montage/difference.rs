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
///
/// Sums over the window's rows are kept column by column and moved down row by row, so that a picture of any height needs
/// the memory of a few rows beside the result.
#[allow(clippy::cast_possible_truncation)] // grey levels
fn levelled(p: &image::GrayAlphaImage) -> Vec<f32> {
    let (w, h) = (p.width() as usize, p.height() as usize);
    let radius = (w.max(h) / 40).max(4);
    // Coverage, value and square of what is covered; whole numbers, so that what is taken away leaves nothing behind.
    let mut columns = vec![[0i64; 3]; w];
    let shift = |columns: &mut [[i64; 3]], y: usize, sign: i64| {
        for (sum, pixel) in columns.iter_mut().zip(p.as_raw()[2 * y * w..2 * (y + 1) * w].chunks_exact(2)) {
            if pixel[1] > 0 {
                let v = i64::from(pixel[0]);
                *sum = [sum[0] + sign, sum[1] + sign * v, sum[2] + sign * v * v];
            }
        }
    };
    (0..radius.min(h)).for_each(|y| shift(&mut columns, y, 1));
    let mut before = vec![[0i64; 3]; w + 1];
    let mut out = Vec::with_capacity(w * h);
    for y in 0..h {
        if y + radius < h {
            shift(&mut columns, y + radius, 1);
        }
        if y > radius {
            shift(&mut columns, y - radius - 1, -1);
        }
        for x in 0..w {
            before[x + 1] = std::array::from_fn(|k| before[x][k] + columns[x][k]);
        }
        for x in 0..w {
            let (from, to) = (before[x.saturating_sub(radius)], before[(x + radius + 1).min(w)]);
            #[allow(clippy::cast_precision_loss)] // sums over some ten thousand pixels
            let [n, sum, square] = std::array::from_fn(|k| (to[k] - from[k]) as f64);
            let n = n.max(1.0);
            let mean = sum / n;
            let sd = (square / n - mean * mean).max(0.0).sqrt().max(3.0);
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

    /// Each window summed anew.
    fn plain(p: &GrayAlphaImage) -> Vec<f32> {
        let (w, h) = p.dimensions();
        let radius = (w.max(h) / 40).max(4);
        let at = |x: u32, y: u32| {
            let (x0, x1) = (x.saturating_sub(radius), (x + radius + 1).min(w));
            let (y0, y1) = (y.saturating_sub(radius), (y + radius + 1).min(h));
            let window = (y0..y1).flat_map(|y| (x0..x1).map(move |x| p.get_pixel(x, y).0));
            let seen: Vec<f64> = window.filter(|q| q[1] > 0).map(|q| f64::from(q[0])).collect();
            let n = seen.len().max(1) as f64;
            let mean = seen.iter().sum::<f64>() / n;
            let sd = (seen.iter().map(|v| v * v).sum::<f64>() / n - mean * mean).max(0.0).sqrt().max(3.0);
            ((f64::from(p.get_pixel(x, y).0[0]) - mean) / sd) as f32
        };
        (0..w * h).map(|i| at(i % w, i / w)).collect()
    }

    #[test]
    fn moved_sums_say_what_sums_made_anew_say() {
        for (w, h) in [(37, 21), (9, 60), (3, 2), (200, 190)] {
            let p = GrayAlphaImage::from_fn(w, h, |x, y| {
                LumaA([((x * 53 + y * 31) % 251) as u8, if (x + 2 * y) % 7 == 0 { 0 } else { 255 }])
            });
            for (a, b) in levelled(&p).into_iter().zip(plain(&p)) {
                assert!((a - b).abs() < 1e-4, "{w} × {h}: {a} {b}");
            }
        }
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
