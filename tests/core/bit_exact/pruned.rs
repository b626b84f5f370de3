//! Pruned front ends against a naive twin: section sums in big integers, rounded off, integrators and
//! combs one sample at a time.

use super::{Noise, cases, round_even};
use proptest::prelude::*;
use quietgap_core::carrier::{CarrierRatio, cos_sin, cos_sin_quick};
use quietgap_core::cic::width;
use quietgap_core::config::{FrontEndConfig, Path};
use quietgap_core::front_end::{FrontEnd, folding, fraction_bits, section_length, words_per_code};
use quietgap_core::phasor::Phasor;
use quietgap_core::word::{Pruned, Register};

#[derive(Clone, Debug)]
struct Plan {
    cycles: u32,
    samples: u32,
    config: FrontEndConfig,
    bits: u32,
    seed: u64,
}

const OUTPUTS: usize = 16;

fn plans() -> impl Strategy<Value = Plan> {
    let carrier = (3u32..=33, 0u32..1000);
    let sizes = (1u8..=6, 1u16..=40, 1u8..=2, 8u32..=24, 1u8..=24);
    (carrier, sizes, any::<bool>(), any::<u64>()).prop_map(|(carrier, sizes, general, seed)| {
        let (samples, cycles) = (carrier.0, 1 + carrier.1 % ((carrier.0 - 1) / 2));
        let (order, periods, differential_delay, bits, pruned_bits) = sizes;
        let config = FrontEndConfig {
            order,
            ratio: periods.min(480 / samples as u16) * samples as u16,
            differential_delay,
            path: if general { Path::General } else { Path::Auto },
            pruned_bits,
        };
        Plan { cycles, samples, config, bits, seed }
    })
}

impl Plan {
    fn carrier(&self) -> CarrierRatio {
        CarrierRatio::coherent(self.cycles, self.samples).expect("below half")
    }

    fn codes(&self) -> Vec<i32> {
        Noise(self.seed).codes(
            self.bits,
            self.seed.is_multiple_of(4),
            OUTPUTS * usize::from(self.config.ratio),
        )
    }

    /// The core, one channel; `None` where it refuses.
    fn core<R: Register, const N: usize>(&self) -> Option<Vec<[i128; 2]>> {
        let front = FrontEnd::<R, N, 1, 512>::new(self.carrier(), self.config, 1, self.bits);
        let mut front = front.ok()?;
        let codes = self.codes();
        let (mut rest, mut out, mut phasors) = (codes.as_slice(), Vec::new(), [Phasor::default()]);
        while let Some(interval) = front.decimate(&mut rest, &mut phasors) {
            assert!(!interval.saturated);
            out.push([phasors[0].i, phasors[0].q].map(|w| w.to_bits().into()));
        }
        Some(out)
    }

    fn any_core<R: Register>(&self) -> Option<Vec<[i128; 2]>> {
        match self.config.order {
            1 => self.core::<R, 1>(),
            2 => self.core::<R, 2>(),
            3 => self.core::<R, 3>(),
            4 => self.core::<R, 4>(),
            5 => self.core::<R, 5>(),
            _ => self.core::<R, 6>(),
        }
    }

    fn twin(&self) -> Vec<[i128; 2]> {
        let (order, ratio) = (usize::from(self.config.order), usize::from(self.config.ratio));
        let folded = folding(self.carrier(), self.config, self.bits);
        let f = fraction_bits(self.config, self.bits, folded);
        let length = section_length(self.config, self.bits, folded) as usize;
        let pruned = i32::from(self.config.pruned_bits);
        let (p, q) = (u128::from(self.cycles), u128::from(self.samples));
        let phase = |n: usize| (((p * n as u128 % q) << 64) / q) as u64;
        let turn = |phase: u64, bits: u32| {
            let (cosine, sine) = cos_sin(phase);
            [cosine, sine].map(|x| round_even(x.into(), 62 - bits as i32))
        };
        let codes = self.codes();
        let mut integrators = vec![[0i128; 2]; order];
        let mut integrated = Vec::new();
        for start in (0..OUTPUTS).map(|k| k * ratio) {
            let samples: Vec<usize> = (start..start + ratio).collect();
            for section in samples.chunks(length) {
                // Folded: the carrier of each sample. Mixed: phase zero in the middle, one side the other's mirror, turned
                // by the middle one's.
                let zero = if folded.is_some() { 0 } else { section[0] + length / 2 };
                let mut sums = vec![[0i128; 2]; order];
                for &n in section {
                    let sign = if n < zero { -1 } else { 1 };
                    let [cosine, sine] = turn(phase(n.abs_diff(zero)), f);
                    let sine = sign * sine;
                    let x = i128::from(codes[n]);
                    let mut carry = [x * cosine, -x * sine];
                    for sum in &mut sums {
                        *sum = [sum[0] + carry[0], sum[1] + carry[1]];
                        carry = *sum;
                    }
                }
                if folded.is_none() {
                    let [cosine, sine] = cos_sin_quick(phase(zero)).map(i128::from);
                    for sum in &mut sums {
                        let [i, q] = *sum;
                        *sum = [i * cosine + q * sine, q * cosine - i * sine]
                            .map(|x| round_even(x, 30));
                    }
                }
                for _ in section {
                    for j in 1..order {
                        integrators[j] = [0, 1].map(|p| integrators[j][p] + integrators[j - 1][p]);
                    }
                }
                for (state, sum) in integrators.iter_mut().zip(sums) {
                    *state = [0, 1].map(|p| state[p] + round_even(sum[p], pruned));
                }
            }
            integrated.push(integrators[order - 1]);
        }
        let delay = usize::from(self.config.differential_delay);
        for _ in 0..order {
            let before = |k: usize| k.checked_sub(delay).map_or([0; 2], |k| integrated[k]);
            let comb = |k: usize| [0, 1].map(|p| integrated[k][p] - before(k)[p]);
            integrated = (0..integrated.len()).map(comb).collect();
        }
        let (_, exponent) = words_per_code(self.config, self.bits);
        let shift = exponent + f as i32 - 1 - pruned;
        integrated.into_iter().map(|y| y.map(|x| round_even(x, shift))).collect()
    }
}

proptest! {
    #![proptest_config(cases(128))]

    /// Both registers, where they take the plan, give what the twin gives.
    #[test]
    fn pruned_sums_as_the_twin(plan in plans()) {
        let wide = plan.any_core::<i128>();
        prop_assume!(wide.is_some());
        prop_assert_eq!(wide.as_ref(), Some(&plan.twin()));
        if let Some(narrow) = plan.any_core::<Pruned>() {
            prop_assert_eq!(Some(narrow), wide);
        }
    }
}

/// What pruning is for: a CIC of order 4 by 160 of 24-bit codes with 22 bits of cosine needs 76 bits;
/// a 64-bit register takes it with 12 bits rounded off and not with 11.
#[test]
fn pruning_makes_a_register_do() {
    let front = |pruned_bits| {
        let config = FrontEndConfig {
            order: 4,
            ratio: 160,
            differential_delay: 1,
            path: Path::Auto,
            pruned_bits,
        };
        let carrier = CarrierRatio::coherent(1, 10).expect("below half");
        let folded = folding(carrier, config, 24);
        let f = fraction_bits(config, 24, folded);
        (f, FrontEnd::<Pruned, 4, 6, 512>::new(carrier, config, 6, 24).map(|_| ()))
    };
    assert_eq!(width(24 + 22, 4, 160, 1), 76);
    let (bits, good) = front(12);
    assert_eq!((bits, good), (22, Ok(())));
    let (_, refused) = front(11);
    let refused = refused.expect_err("too wide");
    assert_eq!((refused.quantity, refused.max), ("CIC register bits", 64));
    let (_, most) = front(33);
    assert_eq!(most.expect_err("too many").quantity, "pruned bits");
    // The plain register leaves pruning to `Pruned`.
    let carrier = CarrierRatio::coherent(1, 10).expect("below half");
    let config = FrontEndConfig {
        order: 2,
        ratio: 160,
        differential_delay: 1,
        path: Path::Auto,
        pruned_bits: 1,
    };
    let refused = FrontEnd::<i64, 2, 6, 512>::new(carrier, config, 6, 24).map(|_| ());
    let refused = refused.expect_err("no pruning");
    assert_eq!((refused.quantity, refused.given, refused.max), ("pruned bits", 1, 0));
}
