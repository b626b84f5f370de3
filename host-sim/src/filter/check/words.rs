//! **Words**: the worst that each word of the chain can hold, against its width.

use crate::filter::subject::{Subject, stage_name};
use quietgap_core::front_end::{folding, fraction_bits, register_bits, section_length};

/// One word and its worst case.
#[derive(Debug, Clone, PartialEq)]
pub struct WordUse {
    /// Stage.
    pub stage: String,
    /// Word.
    pub word: &'static str,
    /// Bits of the word, sign included.
    pub bits: u32,
    /// Bits that are left at worst; negative where it overflows.
    pub headroom_bits: f64,
    /// Worst value, in units of the word's full scale.
    pub worst: f64,
}

fn of(stage: &str, word: &'static str, bits: u32, worst: f64) -> WordUse {
    WordUse { stage: stage.to_owned(), word, bits, headroom_bits: 0.0 - worst.log2(), worst }
}

/// Largest word between stages, as the core bounds it.
const WORD_LIMIT: f64 = 8.0;

/// Words of a plan in the order of the signal.
#[must_use]
pub fn words(subject: &Subject) -> Vec<WordUse> {
    let (plan, front, code) = (&subject.plan, subject.front_end(), subject.code_bits);
    let folded = folding(subject.carrier, front, code);
    let fraction = fraction_bits(front, code, folded);
    let order = u32::from(plan.order);
    let section = section_length(front, code, folded);
    let largest = 2f64.powi(code as i32 - 1);
    let mut out = Vec::new();
    match folded {
        Some(folding) => {
            let rows = f64::from(section / folding.columns);
            // The second sum counts from the middle row (core/src/fold/bounds.rs).
            let sum = |level: u32| match level {
                1 => rows,
                2 => (rows * rows / 4.0).floor(),
                _ => binomial(rows, level),
            };
            let worst = (1..=order).map(sum).fold(0.0, f64::max) * largest;
            out.push(of("front end", "sums of a column", 32, worst / 2f64.powi(31)));
        }
        None => {
            let worst = binomial(section.into(), order) * largest * 2f64.powi(fraction as i32);
            out.push(of("front end", "sums of a section", 64, worst / 2f64.powi(62)));
        }
    }
    let bits = register_bits(front, code, folded);
    let register = plan.register_bits;
    let worst = 2f64.powi(bits as i32 - register as i32);
    out.push(of("CIC", "register", register, worst));
    // A square wave at the carrier reads 4/pi of a full-scale cosine; with few phases at most 2.
    let mut worst = 2.0;
    out.push(of("CIC", "phasor", 56, worst / WORD_LIMIT));
    for (n, fir) in plan.firs.iter().enumerate() {
        let stage = stage_name(n + 1);
        let total: f64 = fir.taps.iter().map(|t| f64::from(*t).abs()).sum();
        // Upper halves: words below 2^24 by 2^-28 of full scale each; the sum of |taps| decides.
        out.push(of(&stage, "sums of products", 64, total / 2f64.powi(32)));
        worst *= total * 2f64.powi(-i32::from(fir.scale_bits));
        out.push(of(&stage, "phasor", 56, worst / WORD_LIMIT));
    }
    out
}

/// C(n + k - 1, k).
fn binomial(n: f64, k: u32) -> f64 {
    (0..k).map(|d| (n + f64::from(d)) / f64::from(d + 1)).product()
}
