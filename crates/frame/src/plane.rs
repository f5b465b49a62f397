/// A small float working plane, values 0 to 1 unless said otherwise, rows from top to bottom.
#[derive(Debug, Clone, PartialEq)]
pub struct Plane {
    /// Width in pixels.
    pub width: usize,
    /// Height in pixels.
    pub height: usize,
    /// Values, row by row.
    pub data: Vec<f32>,
}

impl Plane {
    /// A plane filled with one value.
    #[must_use]
    pub fn new(width: usize, height: usize, value: f32) -> Self {
        Self { width, height, data: vec![value; width * height] }
    }

    /// A plane from a function of (x, y).
    #[must_use]
    pub fn from_fn(width: usize, height: usize, f: impl Fn(usize, usize) -> f32) -> Self {
        let mut data = Vec::with_capacity(width * height);
        for y in 0..height {
            data.extend((0..width).map(|x| f(x, y)));
        }
        Self { width, height, data }
    }

    /// One value. Panics outside, as slices do.
    #[must_use]
    pub fn at(&self, x: usize, y: usize) -> f32 {
        self.data[y * self.width + x]
    }

    /// One row.
    #[must_use]
    pub fn row(&self, y: usize) -> &[f32] {
        &self.data[y * self.width..(y + 1) * self.width]
    }
}
