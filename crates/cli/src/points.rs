//! Points on the command line: `x,y x,y …`.

use serrata_words::Point;

/// Points in pixels.
#[derive(Debug, Clone, PartialEq)]
pub struct Points(pub Vec<Point>);

/// Reads `x,y x,y …`; line ends count as spaces.
pub fn parse(text: &str) -> Result<Points, String> {
    let point = |word: &str| -> Option<Point> {
        let (x, y) = word.split_once(',')?;
        let p = [x.parse::<f64>().ok()?, y.parse::<f64>().ok()?];
        p.iter().all(|c| c.is_finite()).then_some(p)
    };
    let points = text
        .split_whitespace()
        .map(|w| {
            point(w).ok_or_else(|| format!("`{w}` is no point; write x,y in pixels, for example 120.5,80"))
        })
        .collect::<Result<Vec<_>, _>>()?;
    if points.is_empty() {
        return Err("there is no point; write x,y x,y … in pixels".to_owned());
    }
    Ok(Points(points))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn points_are_read_and_rubbish_is_named() {
        assert_eq!(parse("1,2  3.5,-4\n5,6"), Ok(Points(vec![[1., 2.], [3.5, -4.], [5., 6.]])));
        for bad in ["", " ", "1", "1,2,3", "a,b", "1,nan", "1,inf", "1;2"] {
            assert!(parse(bad).is_err(), "{bad}");
        }
        assert!(parse("1,2 x,3").unwrap_err().contains("`x,3`"));
    }
}
