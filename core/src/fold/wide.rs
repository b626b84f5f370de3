//! The end of a section on a host: all channels side by side, by the widest vectors that the machine has.

use super::plan::Turn;
use crate::cic::Cic;
use crate::lanes::{LANES, lanes};
use crate::phasor::Phasor;
use crate::section::SectionEnd;
use crate::word::Register;
use core::marker::PhantomData;

/// Sums of a section that stand level by level, and what mixes them.
#[derive(Clone, Copy)]
pub(super) struct Section<'a, const ORDER: usize> {
    /// Level by level, and what stands behind them.
    pub(super) sums: &'a [i32],
    /// Sums of a level.
    pub(super) width: usize,
    pub(super) channels: usize,
    pub(super) carrier: &'a [Turn],
    pub(super) basis: &'a [[i64; ORDER]; ORDER],
}

impl<const ORDER: usize> Section<'_, ORDER> {
    /// [`crate::section::Way::finish`].
    #[inline(never)]
    pub(super) fn finish<R: Register>(
        self,
        end: &SectionEnd<'_, ORDER>,
        cics: &mut [[Cic<R, ORDER>; 2]],
        out: &mut [Phasor],
    ) -> bool {
        let usual = end.usual();
        let mut saturated = false;
        let groups = cics.chunks_mut(LANES).zip(out.chunks_mut(LANES));
        for (first, (cics, out)) in (0..self.channels).step_by(LANES).zip(groups) {
            let mix = Mix::<R, ORDER> { section: self, first, register: PhantomData };
            let parts = pulp::Arch::new().dispatch(mix);
            for (lane, (cics, phasor)) in cics.iter_mut().zip(out).enumerate() {
                let of = |part: usize| core::array::from_fn(|j| parts[part][j][lane]);
                let (i, i_beyond) = end.take(usual, &mut cics[0], of(0));
                let (q, q_beyond) = end.take(usual, &mut cics[1], of(1));
                *phasor = Phasor { i, q };
                saturated |= i_beyond | q_beyond;
            }
        }
        saturated
    }
}

/// Section sums of the channels from the `first` on, in-phase and quadrature: see [`super::mix`].
struct Mix<'a, R, const ORDER: usize> {
    section: Section<'a, ORDER>,
    first: usize,
    register: PhantomData<R>,
}

/// Output of [`Mix`].
type Parts<R, const ORDER: usize> = [[[R; LANES]; ORDER]; 2];

impl<R: Register, const ORDER: usize> Mix<'_, R, ORDER> {
    /// A level's sums of the channels at one phase.
    #[inline(always)]
    fn words(&self, level: usize, phase: usize) -> [i32; LANES] {
        let Section { sums, width, channels, .. } = self.section;
        lanes(sums, level * width + phase * channels + self.first)
    }

    /// Sums of sums by cosines: P\[l\]\[m\] of [`super::mix`].
    #[inline(always)]
    fn moments(&self, part: usize) -> [[[R; LANES]; ORDER]; ORDER] {
        let mut moments = [[[R::ZERO; LANES]; ORDER]; ORDER];
        if ORDER == 2 {
            let (mut first, mut second) = ([R::ZERO; LANES], [R::ZERO; LANES]);
            for (h, turn) in self.section.carrier.iter().enumerate() {
                let (one, two) = (self.words(0, h), self.words(1, h));
                let [plain, after, phases] = turn[part].map(i64::from);
                for lane in 0..LANES {
                    let (one, two) = (i64::from(one[lane]), i64::from(two[lane]));
                    first[lane] = first[lane].plus(R::of(one * plain));
                    let sum = R::of(one * after).plus(R::of(two * phases));
                    second[lane] = second[lane].plus(sum);
                }
            }
            (moments[0][0], moments[0][1]) = (first, second);
            return moments;
        }
        for (h, turn) in self.section.carrier.iter().enumerate() {
            for l in 0..ORDER {
                let words = self.words(l, h);
                for lane in 0..LANES {
                    for m in 1..ORDER - l {
                        moments[l][m][lane] = moments[l][m][lane].plus(moments[l][m - 1][lane]);
                    }
                    let product = i64::from(words[lane]) * i64::from(turn[part][0]);
                    moments[l][0][lane] = moments[l][0][lane].plus(R::of(product));
                }
            }
        }
        moments
    }

    #[inline(always)]
    fn run(&self) -> Parts<R, ORDER> {
        let mut parts = [[[R::ZERO; LANES]; ORDER]; 2];
        for (part, sums) in parts.iter_mut().enumerate() {
            let moments = self.moments(part);
            for (j, sums) in sums.iter_mut().enumerate() {
                *sums = moments[0][j];
                for i in 1..=j {
                    for l in 0..if ORDER == 2 { i } else { i + 1 } {
                        for (sum, moment) in sums.iter_mut().zip(moments[l][j - i]) {
                            *sum = sum.plus(moment.times(self.section.basis[i][l]));
                        }
                    }
                }
            }
        }
        parts
    }
}

impl<R: Register, const ORDER: usize> pulp::NullaryFnOnce for Mix<'_, R, ORDER> {
    type Output = Parts<R, ORDER>;

    #[inline(always)]
    fn call(self) -> Self::Output {
        self.run()
    }
}

#[cfg(test)]
mod tests {
    extern crate std;

    use crate::carrier::CarrierRatio;
    use crate::config::{FrontEndConfig, Path};
    use crate::fold::Fold;
    use crate::front_end::FrontEnd;
    use crate::made_up::made_up;
    use crate::phasor::Phasor;
    use crate::word::Register;
    use std::vec::Vec;

    const CHANNELS: usize = 19;

    /// More channels than stand side by side: the words of a front end that is made for them, whole intervals and cut ones.
    fn hold<R: Register, const ORDER: usize, const COLUMNS: usize, const PHASES: usize>() {
        let order = ORDER as u8;
        let config = FrontEndConfig {
            order,
            ratio: 160,
            differential_delay: 1,
            path: Path::Auto,
            pruned_bits: 0,
        };
        let carrier = CarrierRatio::coherent(1, 10).expect("a carrier");
        let mut sized = FrontEnd::<
            R,
            ORDER,
            CHANNELS,
            COLUMNS,
            Fold<ORDER, CHANNELS, COLUMNS, true, PHASES>,
        >::new(carrier, config, CHANNELS, 20)
        .expect("a plan");
        let mut wide = FrontEnd::<R, ORDER, 32, 1024, Fold<ORDER, 32, 1024, false>>::new(
            carrier, config, CHANNELS, 20,
        )
        .expect("a plan");
        let mut next = made_up(ORDER as u64);
        let mut codes: Vec<i32> =
            (0..CHANNELS * 160 * 5).map(|_| (next() >> 44) as i32 - (1 << 19)).collect();
        codes[7777] = (1 << 19) - 1;
        let (mut is, mut want) = (Vec::new(), Vec::new());
        for block in [CHANNELS * 160 * 2, CHANNELS * 37] {
            for mut codes in codes.chunks(block) {
                let mut rest = codes;
                let (mut a, mut b) = ([Phasor::default(); CHANNELS], [Phasor::default(); CHANNELS]);
                while let Some(interval) = sized.decimate(&mut codes, &mut a) {
                    want.push((interval, a));
                }
                while let Some(interval) = wide.decimate(&mut rest, &mut b) {
                    is.push((interval, b));
                }
            }
        }
        assert!(want.len() == 10, "order {ORDER}");
        assert!(is == want, "order {ORDER}");
        assert!(want.iter().any(|(interval, _)| interval.over_range != 0));
    }

    #[test]
    fn any_channel_and_order() {
        hold::<i64, 1, 95, 5>();
        hold::<i64, 2, 95, 5>();
        hold::<i128, 2, 95, 5>();
        hold::<i64, 3, 190, 10>();
        hold::<i128, 4, 190, 10>();
        hold::<i128, 6, 380, 20>();
    }
}
