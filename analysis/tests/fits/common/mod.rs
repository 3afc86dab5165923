//! Seeded noise and the independent rise curves for the tests.
#![allow(dead_code, unreachable_pub, missing_docs, clippy::unwrap_used)]

pub mod rises;
pub mod sweep;

/// A list of numbers.
pub fn list(v: &serde_json::Value) -> Vec<f64> {
    v.as_array()
        .unwrap()
        .iter()
        .map(|v| v.as_f64().unwrap())
        .collect()
}

/// SplitMix64 with Box–Muller: small, seeded, the same on every machine.
pub struct Random(u64);

impl Random {
    pub fn new(seed: u64) -> Self {
        Self(seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) ^ 0xD1B5_4A32_D192_ED03)
    }

    /// Uniform in 0 to 1, open at 0.
    pub fn uniform(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        (((z ^ (z >> 31)) >> 11) as f64 + 1.0) / (1_u64 << 53) as f64
    }

    pub fn normal(&mut self) -> f64 {
        (-2.0 * self.uniform().ln()).sqrt() * (std::f64::consts::TAU * self.uniform()).cos()
    }
}

/// Named columns of a CSV file under tests/data.
pub struct Columns {
    pub names: Vec<String>,
    pub columns: Vec<Vec<f64>>,
}

impl Columns {
    pub fn read(path: &str) -> Self {
        let path = format!("{}/tests/data/{path}", env!("CARGO_MANIFEST_DIR"));
        let text = std::fs::read_to_string(path).unwrap();
        let mut lines = text.lines().filter(|l| !l.starts_with('#'));
        let names: Vec<String> = lines.next().unwrap().split(',').map(String::from).collect();
        let mut columns = vec![Vec::new(); names.len()];
        for line in lines {
            for (column, value) in columns.iter_mut().zip(line.split(',')) {
                column.push(value.parse().unwrap());
            }
        }
        Self { names, columns }
    }

    pub fn column(&self, name: &str) -> &[f64] {
        &self.columns[self.names.iter().position(|n| n == name).unwrap()]
    }
}

/// Four-point (Lagrange) interpolation on an even grid from 0; zero before it.
pub fn interpolate(grid_s: f64, y: &[f64], t: f64) -> f64 {
    if t <= 0.0 {
        return 0.0;
    }
    let i = ((t / grid_s) as usize).clamp(1, y.len() - 3);
    let s = t / grid_s - i as f64;
    let w = [
        -s * (s - 1.0) * (s - 2.0) / 6.0,
        (s + 1.0) * (s - 1.0) * (s - 2.0) / 2.0,
        -(s + 1.0) * s * (s - 2.0) / 2.0,
        (s + 1.0) * s * (s - 1.0) / 6.0,
    ];
    (0..4).map(|k| w[k] * y[i + k - 1]).sum()
}
