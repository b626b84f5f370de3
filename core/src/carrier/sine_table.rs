//! Quarter wave of the carrier, worked out by the compiler.

/// sin(pi/2 k/256) for k = 0 to 256, Q2.62, error below 2^-59.
pub(super) const QUARTER: [i64; 257] = {
    let mut table = [0; 257];
    let mut k = 0;
    while k <= 256 {
        table[k] = sine_of_quarter_turn(k as i128);
        k += 1;
    }
    table[256] = 1 << 62;
    table
};

/// Taylor series of sin(pi/2 k/256): 14 terms, the next is below 2^-80.
///
/// The square is Q.62 (at most 2.5 x 2^124 before its cut), terms are Q.94; a term is split
/// at 48 bits, so that its products with the square stay below 2^112.
const fn sine_of_quarter_turn(k: i128) -> i64 {
    /// pi/2 in Q2.62.
    const HALF_PI_Q62: i128 = 7_244_019_458_077_122_842;
    let x = HALF_PI_Q62 * k; // Q.70
    let x_q62 = (x + 128) >> 8;
    let x2 = (x_q62 * x_q62) >> 62;
    let mut term = x_q62 << 32; // Q.94
    let mut sum = term;
    let mut n = 1;
    while n < 28 {
        // term x x2: Q.94 x Q.62 would need 157 bits; split the term at 2^48.
        let high = term >> 48;
        let low = term & ((1 << 48) - 1);
        let product = ((high * x2) >> 14) + ((low * x2) >> 62);
        term = -product / ((n + 1) * (n + 2));
        sum += term;
        n += 2;
    }
    ((sum + (1 << 31)) >> 32) as i64
}
