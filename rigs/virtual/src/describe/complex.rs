//! As much of complex numbers as a ladder of impedances needs.

use std::ops::{Add, Div, Mul};

/// A complex number.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Complex {
    pub(super) re: f64,
    pub(super) im: f64,
}

impl Complex {
    pub(super) fn new(re: f64, im: f64) -> Self {
        Self { re, im }
    }

    pub(super) fn real(re: f64) -> Self {
        Self::new(re, 0.0)
    }

    pub(super) fn scaled(self, factor: f64) -> Self {
        Self::new(factor * self.re, factor * self.im)
    }
}

impl Add for Complex {
    type Output = Self;
    fn add(self, other: Self) -> Self {
        Self::new(self.re + other.re, self.im + other.im)
    }
}

impl Mul for Complex {
    type Output = Self;
    fn mul(self, other: Self) -> Self {
        Self::new(
            self.re * other.re - self.im * other.im,
            self.re * other.im + self.im * other.re,
        )
    }
}

impl Div for Complex {
    type Output = Self;
    fn div(self, other: Self) -> Self {
        let square = other.re * other.re + other.im * other.im;
        Self::new(
            (self.re * other.re + self.im * other.im) / square,
            (self.im * other.re - self.re * other.im) / square,
        )
    }
}
