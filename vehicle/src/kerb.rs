//! Kerbs: teeth of one shape at one spacing.

/// Shape of a tooth over its length.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Shape {
    /// Half a sine.
    Round,
    /// Up over a fifth of its length, level, down over a fifth.
    Flat,
    /// Up in a straight line to its end, down over its last tenth.
    Saw,
}

/// A row of teeth that the right-hand wheels meet.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Kerb {
    /// Shape of a tooth.
    pub shape: Shape,
    /// Height of a tooth, m.
    pub height_m: f64,
    /// Length of a tooth, m.
    pub length_m: f64,
    /// From the start of a tooth to the start of the next one, m; at least the length.
    pub spacing_m: f64,
    /// Number of teeth.
    pub teeth: u32,
}

impl Kerb {
    /// Length of the row, m.
    pub fn row_m(&self) -> f64 {
        self.spacing_m * f64::from(self.teeth.saturating_sub(1)) + self.length_m
    }

    /// Height and slope at a way behind the start of the first tooth.
    pub fn at(&self, way_m: f64) -> [f64; 2] {
        if way_m < 0.0 || way_m >= self.row_m() {
            return [0.0; 2];
        }
        let into = way_m - self.spacing_m * libm::floor(way_m / self.spacing_m);
        let part = into / self.length_m;
        if part >= 1.0 {
            return [0.0; 2];
        }
        let [height, slope] = self.shape.at(part);
        [self.height_m * height, self.height_m * slope / self.length_m]
    }
}

impl Shape {
    /// Height and slope over a length of 1 and a height of 1.
    fn at(self, part: f64) -> [f64; 2] {
        match self {
            Self::Round => {
                let (sin, cos) = libm::sincos(core::f64::consts::PI * part);
                [sin, core::f64::consts::PI * cos]
            }
            Self::Flat => ramps(part, 0.2, 0.2),
            Self::Saw => ramps(part, 0.9, 0.1),
        }
    }
}

/// Up over `up`, level, down over `down`.
fn ramps(part: f64, up: f64, down: f64) -> [f64; 2] {
    if part < up {
        [part / up, 1.0 / up]
    } else if part > 1.0 - down {
        [(1.0 - part) / down, -1.0 / down]
    } else {
        [1.0, 0.0]
    }
}
