//! Where the mass is.

use crate::word::{Fraction, times};

/// Where the mass is: translation in attometres, and what its rotation changes of a direction, R - 1.
#[derive(Clone, Copy, Debug)]
pub struct Place {
    pub(super) translation_am: [i64; 3],
    /// Q2.62, row by row.
    pub(super) turn: [[i64; 3]; 3],
}

impl Place {
    /// From x, y, z in attometres, theta, eta, phi in attoradians, taken as within a fifth of a radian.
    ///
    /// R - 1 = s K + c K^2, K the cross product with the rotation vector, t its square,
    /// s = 1 - t/6 + t^2/120, c = 1/2 - t/24 + t^2/720: what is left is of the seventh order, 3e-9 of what
    /// turns at a fifth of a radian, 4e-14 at 0.04.
    #[must_use]
    pub fn new(axes: [i64; 6]) -> Self {
        let [x, y, z, rotation @ ..] = axes;
        // arad x 2^62/10^18, that factor in Q4.60: below 2^60.
        const PER_ARAD: i64 = ((1i128 << 122) / 1_000_000_000_000_000_000) as i64;
        const MOST: i64 = 200_000_000_000_000_000;
        const ONE: i64 = Fraction::ONE.to_bits();
        let [u, v, w] = rotation.map(|angle| times(angle.clamp(-MOST, MOST), PER_ARAD, 60));
        let product = |x, y| times(x, y, 62);
        let square = product(u, u) + product(v, v) + product(w, w);
        let fourth = product(square, square);
        let s = ONE - product(square, ONE / 6) + product(fourth, ONE / 120);
        let c = ONE / 2 - product(square, ONE / 24) + product(fourth, ONE / 720);
        let row = |i: i64, cross: [i64; 3], own: [i64; 3]| {
            let mut row = [u, v, w];
            for ((entry, cross), own) in row.iter_mut().zip(cross).zip(own) {
                *entry = product(s, cross) + product(c, product(i, *entry) - own);
            }
            row
        };
        let turn = [
            row(u, [0, -w, v], [square, 0, 0]),
            row(v, [w, 0, -u], [0, square, 0]),
            row(w, [-v, u, 0], [0, 0, square]),
        ];
        Self { translation_am: [x, y, z], turn }
    }
}
