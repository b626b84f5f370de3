//! **Rest**: that the integers come to rest: no limit cycle, no dead band. Shown by running them.

use crate::filter::integers::Integers;
use crate::filter::subject::Subject;
use quietgap_core::ConfigError;
use quietgap_core::carrier::{Carrier, cos_sin};
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{Rng, SeedableRng};

/// What the integers did.
#[derive(Debug, Clone, PartialEq)]
pub struct Rest {
    /// Largest output word, in steps, behind the impulse response's length of zero codes after as
    /// long a run of random full-scale ones: a limit cycle where it is not zero.
    pub left_steps: i64,
    /// Steps of the output word that a square wave of one code at the carrier makes: a dead band where
    /// it is zero.
    pub one_code_steps: f64,
    /// A word saturated.
    pub saturated: bool,
}

impl Rest {
    /// Runs a plan's integers, one channel.
    ///
    /// # Errors
    /// What the core refuses.
    pub fn new(subject: &Subject) -> Result<Self, ConfigError> {
        let mut chain = Integers::new(subject, 1)?;
        let (interval, span) = (subject.interval(), subject.span());
        let mut random = ChaCha8Rng::seed_from_u64(1);
        let shift = 32 - subject.code_bits;
        let (mut left, mut saturated) = (0, false);
        let mut run = |count: u64, code: &mut dyn FnMut() -> i32, out: &mut dyn FnMut([i64; 2])| {
            let mut block = Vec::with_capacity(1 << 16);
            let mut to_go = count;
            while to_go > 0 {
                block.clear();
                block.extend((0..to_go.min(1 << 16)).map(|_| code()));
                to_go -= block.len() as u64;
                chain.push(&block, |p, s| {
                    saturated |= s;
                    out([p[0].i, p[0].q].map(|w| w.to_bits()));
                });
            }
        };
        run(
            span.next_multiple_of(interval),
            &mut || random.next_u32() as i32 >> shift,
            &mut |_| {},
        );
        // Zeros until nothing of the noise is left, then two outputs more.
        run(span.next_multiple_of(interval), &mut || 0, &mut |_| {});
        run(2 * interval, &mut || 0, &mut |[i, q]| {
            left = left.max(i.abs()).max(q.abs());
        });
        let mut carrier = Carrier::new(subject.carrier);
        let mut sign = || {
            let (cosine, _) = cos_sin(carrier.phase());
            carrier.advance(1);
            cosine.signum() as i32
        };
        // A coherent carrier repeats.
        let period: Vec<i32> = (0..subject.carrier.period().unwrap_or(0)).map(|_| sign()).collect();
        let mut again = period.iter().cycle();
        let mut one = || again.next().copied().unwrap_or_else(&mut sign);
        let mut steps = 0.0;
        run((span + interval).next_multiple_of(interval), &mut one, &mut |[i, q]| {
            steps = (i as f64).hypot(q as f64);
        });
        Ok(Self { left_steps: left, one_code_steps: steps, saturated })
    }
}
