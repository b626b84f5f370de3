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
        let [uu, vv, ww] = [u, v, w].map(|x| product(x, x));
        let square = uu + vv + ww;
        let fourth = product(square, square);
        let s = ONE - product(square, ONE / 6) + product(fourth, ONE / 120);
        let c = ONE / 2 - product(square, ONE / 24) + product(fourth, ONE / 720);
        let [su, sv, sw] = [u, v, w].map(|x| product(s, x));
        let [uv, uw, vw] = [[u, v], [u, w], [v, w]].map(|[x, y]| product(c, product(x, y)));
        let [uu, vv, ww] = [uu, vv, ww].map(|own| product(c, own - square));
        let turn = [[uu, uv - sw, uw + sv], [uv + sw, vv, vw - su], [uw - sv, vw + su, ww]];
        Self { translation_am: [x, y, z], turn }
    }
}
