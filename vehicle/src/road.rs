//! Roads by the roughness classes of ISO 8608: `G_d(n) = G_d(n0) (n/n0)^-2`, n0 = 0.1 cycles/m.

use alloc::vec::Vec;
use core::f64::consts::TAU;
use rand_chacha::{
    ChaCha8Rng,
    rand_core::{Rng as _, SeedableRng as _},
};

/// Reference spatial frequency, cycles/m.
pub const REFERENCE_PER_M: f64 = 0.1;
/// Spatial frequencies that a profile holds, cycles/m: those of the standard's octave bands.
pub const RANGE_PER_M: [f64; 2] = [0.011, 2.83];
/// Distance of points between which a profile is interpolated, m.
const GRID_M: f64 = 0.02;
/// Spatial frequency below which both tracks go up and down together, cycles/m: `1/(1 + (n/n_c)²)` is their coherence. Of the
/// order of one over the track (a choice of this model; the standard does not say).
pub const TOGETHER_BELOW_PER_M: f64 = 0.3;

/// Roughness class.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Class {
    /// Very good.
    A,
    /// Good.
    B,
    /// Average.
    C,
    /// Poor.
    D,
    /// Very poor.
    E,
    /// Worse still.
    F,
    /// Worse still.
    G,
    /// The worst.
    H,
}

impl Class {
    /// Every class, smoothest first.
    pub const ALL: [Self; 8] = [
        Self::A,
        Self::B,
        Self::C,
        Self::D,
        Self::E,
        Self::F,
        Self::G,
        Self::H,
    ];

    /// Its letter.
    pub fn letter(self) -> char {
        (b'A' + self as u8) as char
    }

    /// Displacement spectral density at the reference, m³: the geometric mean of the class, 16e-6 for A and four times as much
    /// for each class after it.
    pub fn roughness_m3(self) -> f64 {
        libm::ldexp(16e-6, 2 * self as i32)
    }

    /// Displacement spectral density, m³ (m² per cycle/m).
    pub fn density_m3(self, per_m: f64) -> f64 {
        let ratio = per_m / REFERENCE_PER_M;
        self.roughness_m3() / (ratio * ratio)
    }
}

/// A profile over the way, interpolated between points.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Profile {
    /// Height, m, and slope.
    points: Vec<[f64; 2]>,
}

impl Profile {
    /// The profiles of the left and of the right track over `length_m`: sums of sines one over the length apart, each with the
    /// amplitude that the class asks for and a phase by the seed (Shinozuka and Deodatis, Appl. Mech. Rev. 44, 1991). They repeat
    /// after the length.
    ///
    /// A contact of `2 half_contact_m` rolls over what is shorter: heights are means over it.
    pub fn tracks(class: Class, length_m: f64, half_contact_m: f64, seed: u64) -> [Self; 2] {
        let points = (libm::ceil(length_m / GRID_M) as usize).max(1);
        let length_m = points as f64 * GRID_M;
        let mut tracks = [Sum::new(points), Sum::new(points)];
        let mut random = ChaCha8Rng::seed_from_u64(seed);
        let mut phase = || TAU * (random.next_u64() >> 11) as f64 / (1_u64 << 53) as f64;
        let [low, high] = RANGE_PER_M.map(|per_m| libm::ceil(per_m * length_m) as usize);
        for k in low.max(1)..high {
            let per_m = k as f64 / length_m;
            let x = TAU * per_m * half_contact_m;
            let over_contact = if x > 0.0 { libm::sin(x) / x } else { 1.0 };
            let amplitude = libm::sqrt(2.0 * class.density_m3(per_m) / length_m) * over_contact;
            let coherence = 1.0 / (1.0 + libm::pow(per_m / TOGETHER_BELOW_PER_M, 2.0));
            // Powers of both parts add up to the class's, and their cross-spectrum is that of the common one alone.
            let common = libm::sqrt(coherence);
            let own = libm::sqrt(1.0 - common);
            let common = libm::sqrt(common);
            let shared = phase();
            for track in &mut tracks {
                // One sine a track for each line: the sum of the common one and its own.
                let alone = phase();
                let re = common * libm::cos(shared) + own * libm::cos(alone);
                let im = common * libm::sin(shared) + own * libm::sin(alone);
                track.add(k, TAU * per_m, amplitude, [re, im]);
            }
        }
        tracks.map(|sum| Self { points: sum.points })
    }

    /// Height, m, and slope at a way, by Hermite's cubic; it repeats at its end. Zero for an empty one.
    pub fn at(&self, way_m: f64) -> [f64; 2] {
        let count = self.points.len();
        if count == 0 {
            return [0.0; 2];
        }
        let place = way_m / GRID_M;
        let floor = libm::floor(place);
        let t = place - floor;
        let index = (floor as i64).rem_euclid(count as i64) as usize;
        let pair = [self.points.get(index), self.points.get((index + 1) % count)];
        let [Some([a, da]), Some([b, db])] = pair else {
            return [0.0; 2];
        };
        let (da, db) = (da * GRID_M, db * GRID_M);
        let (c2, c3) = (3.0 * (b - a) - 2.0 * da - db, 2.0 * (a - b) + da + db);
        let height = a + t * (da + t * (c2 + t * c3));
        [height, (da + t * (2.0 * c2 + 3.0 * t * c3)) / GRID_M]
    }

    /// Heights at even distances, m.
    pub fn heights_m(&self) -> impl Iterator<Item = f64> + '_ {
        self.points.iter().map(|[height, _]| *height)
    }

    /// Distance of those, m.
    pub fn spacing_m(&self) -> f64 {
        GRID_M
    }
}

/// A sum of sines on the points of a profile.
struct Sum {
    points: Vec<[f64; 2]>,
}

impl Sum {
    fn new(points: usize) -> Self {
        Self {
            points: alloc::vec![[0.0; 2]; points],
        }
    }

    /// Adds `amplitude · Re(turned · e^(i k 2π point/points))` and its slope.
    fn add(&mut self, k: usize, rad_per_m: f64, amplitude: f64, [re, im]: [f64; 2]) {
        let count = self.points.len();
        let (step_sin, step_cos) = libm::sincos(TAU * k as f64 / count as f64);
        let (mut re, mut im) = (amplitude * re, amplitude * im);
        for [height, slope] in &mut self.points {
            *height += re;
            *slope -= rad_per_m * im;
            (re, im) = (re * step_cos - im * step_sin, re * step_sin + im * step_cos);
        }
    }
}
