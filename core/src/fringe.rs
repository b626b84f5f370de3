//! **Fringes** of a laser interferometer, beside the bridges: four detectors' codes to a phase whose turns are
//! counted. What a firmware does that reads both; nothing else of this package uses it.
//!
//! ```text
//! codes ──► balanced differences and light ──► ellipse taken off ──► [`arctangent`] ──► turns counted
//! ```
//!
//! No division: the arctangent needs the ratio of two signals only, so offsets are taken off as shares of the light.

use crate::error::{ConfigError, Stage};

/// Bits below a code's step that differences and light keep.
const BELOW: u32 = 3;
/// Fraction bits of gains and offsets.
const FRACTION: u32 = 30;
/// Fraction bits of the ellipse's two numbers.
const SHEAR: u32 = 28;
/// Largest code, in bits with its sign.
pub const MAX_CODE_BITS: u32 = 24;

/// Settings of a beam. The host works them out from the ellipse x = p + V cos phi, y = q + (V/r) sin(phi - alpha) of the
/// two differences over the light.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct FringeConfig {
    /// Bits of a code, 8 to 24.
    pub code_bits: u8,
    /// Gain of each detector over its complement's, Q2.30: above 0, below 4.
    pub balance: [u32; 2],
    /// p and q, Q2.30, within ±1.
    pub offset: [i32; 2],
    /// tan alpha, Q4.28, within ±1.
    pub tangent: i32,
    /// r/cos alpha, Q4.28: above 0, below 4.
    pub ratio: i32,
    /// Amplitude of a sound fringe over the light, times the arctangent's gain of 1.6468, times the fraction below
    /// which it is weak; Q2.30, below 2.
    pub weak: u32,
    /// As [`Self::weak`], below which it is lost.
    pub lost: u32,
    /// Largest step from frame to frame, Q0.32 turns: below a half.
    pub step: u32,
}

/// What is wrong with a frame.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct FringeHealth {
    /// A code at an end of the converter's range.
    pub saturated: bool,
    /// The fringe is weak.
    pub weak: bool,
    /// It is lost: the count may be whole turns off from here on.
    pub lost: bool,
    /// The step is too large to be told from its opposite: the same.
    pub fast: bool,
}

/// Counts the turns of one beam.
#[derive(Clone, Copy, Debug)]
pub struct Fringes {
    config: FringeConfig,
    last: Option<u32>,
    turns: i64,
}

impl Fringes {
    /// Of checked settings.
    ///
    /// # Errors
    /// The first number that is out of its range.
    pub const fn new(config: FringeConfig) -> Result<Self, ConfigError> {
        let FringeConfig { code_bits, balance, offset, tangent, ratio, weak, lost, step } = config;
        let one = 1i64 << FRACTION;
        let bits = code_bits as i64;
        let checks = [
            ("bits of a code", bits, 8, MAX_CODE_BITS as i64),
            ("balance in phase", balance[0] as i64, 1, u32::MAX as i64),
            ("balance in quadrature", balance[1] as i64, 1, u32::MAX as i64),
            ("offset in phase", offset[0] as i64, -one, one),
            ("offset in quadrature", offset[1] as i64, -one, one),
            ("tangent of the lack of a quarter turn", tangent as i64, -1 << SHEAR, 1 << SHEAR),
            ("ratio of amplitudes", ratio as i64, 1, (4 << SHEAR) - 1),
            ("weak fringe", weak as i64, 0, 2 * one - 1),
            ("lost fringe", lost as i64, 0, weak as i64),
            ("largest step", step as i64, 1, (1 << 31) - 1),
        ];
        let mut n = 0;
        while n < checks.len() {
            let (quantity, given, least, most) = checks[n];
            if let Err(error) = ConfigError::check(Stage::Fringe, quantity, given, least, most) {
                return Err(error);
            }
            n += 1;
        }
        Ok(Self { config, last: None, turns: 0 })
    }

    /// Takes a frame's codes: in-phase, its complement, quadrature, its complement. Hands on the phase since the
    /// first frame, Q32.32 turns, and what is wrong.
    ///
    /// In: codes of up to 24 bits. A complement times its balance, Q2.30: below 2^55; differences and light below 2^57,
    /// rounded half up to three bits under a step: below 2^30. Offsets' shares Q2.30 of the light: below 2^60;
    /// signals below 2^31. Sine: below 2^59 + 2^61, rounded to below 2^34. Wraps after 2^31 turns.
    pub fn push(&mut self, codes: [i32; 4]) -> (i64, FringeHealth) {
        let FringeConfig { balance, offset, tangent, ratio, .. } = self.config;
        let end = 1i32 << (self.config.code_bits - 1);
        let saturated = codes.iter().any(|code| *code <= -end || *code >= end - 1);
        let [a, b, c, d] = codes.map(i64::from);
        let [g, h] = balance.map(i64::from);
        let (a, b, c, d) = (a << FRACTION, g * b, c << FRACTION, h * d);
        let light = rounded(a + b + c + d, FRACTION - BELOW + 1);
        let off = |n: usize| rounded(i64::from(offset[n]) * light, FRACTION);
        let cosine = rounded(a - b, FRACTION - BELOW) - off(0);
        let quadrature = rounded(c - d, FRACTION - BELOW) - off(1);
        let sheared = i64::from(tangent) * cosine + i64::from(ratio) * quadrature;
        let (phase, length) = arctangent(rounded(sheared, SHEAR), cosine);
        let over = |part: u32| length < rounded(i64::from(part) * light, FRACTION);
        let step = phase.wrapping_sub(self.last.unwrap_or(phase)).cast_signed();
        self.last = Some(phase);
        self.turns = self.turns.wrapping_add(i64::from(step));
        let health = FringeHealth {
            saturated,
            weak: over(self.config.weak),
            lost: over(self.config.lost),
            fast: step.unsigned_abs() > self.config.step,
        };
        (self.turns, health)
    }
}

/// Divides by 2^`shift`, half up: the arctangent's own error is larger than its mean.
const fn rounded(x: i64, shift: u32) -> i64 {
    (x + (1 << (shift - 1))) >> shift
}

/// arctan(2^-n) in turns, Q0.48, by mpmath (`tests/vectors/gen/interferometer.py`).
const TURNS: [i64; 34] = [
    35_184_372_088_832,
    20_770_547_670_515,
    10_974_586_953_444,
    5_570_871_696_862,
    2_796_246_208_089,
    1_399_486_241_028,
    699_913_886_760,
    349_978_300_884,
    174_991_820_497,
    87_496_244_017,
    43_748_163_730,
    21_874_087_080,
    10_937_044_192,
    5_468_522_177,
    2_734_261_099,
    1_367_130_551,
    683_565_276,
    341_782_638,
    170_891_319,
    85_445_659,
    42_722_830,
    21_361_415,
    10_680_707,
    5_340_354,
    2_670_177,
    1_335_088,
    667_544,
    333_772,
    166_886,
    83_443,
    41_722,
    20_861,
    10_430,
    5_215,
];

/// Angle of (`cosine`, `sine`) in turns, Q0.32 (a whole turn is 2^32), and their length times 1.6467602.
///
/// In: any; out the length saturates. By rotations through arctan(2^-n) (J. E. Volder, IRE Trans.
/// Electron. Comput. 8 (1959) 330, recalled): shifts and sums, the same on every machine. In working the pair is below
/// 2^60 x 1.65 x 1.42 < 2^62: no overflow. What is left of the angle is below 2^-35 of a turn, and the table's roundings below 2^-43: the
/// result is nearest but for that. Of (0, 0): no angle, 0.
#[must_use]
pub fn arctangent(sine: i64, cosine: i64) -> (u32, i64) {
    let size = sine.unsigned_abs() | cosine.unsigned_abs();
    if size == 0 {
        return (0, 0);
    }
    // As large as there is room for: what a shift drops is far below the last place.
    let free = size.leading_zeros();
    let (room, down) = (free.saturating_sub(4), 4u32.saturating_sub(free));
    let (mut x, mut y) = (cosine << room >> down, sine << room >> down);
    let mut turns: i64 = 0;
    if x < 0 {
        (x, y) = (-x, -y);
        turns = 1 << 47;
    }
    for (n, part) in TURNS.iter().enumerate() {
        let (dx, dy) = (y >> n, x >> n);
        if y > 0 {
            (x, y) = (x + dx, y - dy);
            turns += part;
        } else {
            (x, y) = (x - dx, y + dy);
            turns -= part;
        }
    }
    // Q0.48 to Q0.32; whole turns go.
    (rounded(turns, 16) as u32, (x >> room).saturating_mul(1 << down))
}
