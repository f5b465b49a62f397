//! Small dense systems.

/// A symmetric positive system A·x = b that sums up, row by row.
#[derive(Debug, Clone)]
pub(crate) struct Normal {
    pub n: usize,
    pub a: Vec<f64>,
    pub b: Vec<f64>,
}

impl Normal {
    pub fn new(n: usize) -> Self {
        Self { n, a: vec![0.0; n * n], b: vec![0.0; n] }
    }

    /// Adds the observation row·x = value with a weight. Only the entries named are not zero.
    pub fn add(&mut self, row: &[(usize, f64)], value: f64, weight: f64) {
        for (i, u) in row {
            self.b[*i] += weight * u * value;
            for (j, v) in row {
                self.a[i * self.n + j] += weight * u * v;
            }
        }
    }

    /// Adds to one diagonal entry: the unknown is pulled towards zero.
    pub fn pull(&mut self, i: usize, weight: f64) {
        self.a[i * self.n + i] += weight;
    }

    /// The lower Cholesky factor; none where the system is singular.
    pub fn factor(&self) -> Option<Vec<f64>> {
        let n = self.n;
        let mut l = self.a.clone();
        for j in 0..n {
            for k in 0..j {
                let v = l[j * n + k];
                if v != 0.0 {
                    for i in j..n {
                        l[i * n + j] -= l[i * n + k] * v;
                    }
                }
            }
            let d = l[j * n + j];
            if d.is_nan() || d <= 1e-300 {
                return None;
            }
            let d = d.sqrt();
            for i in j..n {
                l[i * n + j] /= d;
            }
        }
        Some(l)
    }

    /// xᵀ·A·x.
    pub fn form(&self, x: &[f64]) -> f64 {
        self.a
            .chunks_exact(self.n)
            .zip(x)
            .map(|(row, v)| v * row.iter().zip(x).map(|(a, x)| a * x).sum::<f64>())
            .sum()
    }

    /// The trace of (L·Lᵀ)⁻¹·A: how many numbers a fit spends that is held by what L has beyond A.
    pub fn trace_under(&self, l: &[f64]) -> f64 {
        (0..self.n).map(|j| back(l, self.n, &self.a[j * self.n..][..self.n])[j]).sum()
    }

    /// The solution; none where the system is singular.
    pub fn solve(&self) -> Option<Vec<f64>> {
        Some(back(&self.factor()?, self.n, &self.b))
    }
}

/// Solves L·Lᵀ·x = b.
pub(crate) fn back(l: &[f64], n: usize, b: &[f64]) -> Vec<f64> {
    let mut x = b.to_vec();
    for i in 0..n {
        let sum: f64 = (0..i).map(|k| l[i * n + k] * x[k]).sum();
        x[i] = (x[i] - sum) / l[i * n + i];
    }
    for i in (0..n).rev() {
        let sum: f64 = (i + 1..n).map(|k| l[k * n + i] * x[k]).sum();
        x[i] = (x[i] - sum) / l[i * n + i];
    }
    x
}
