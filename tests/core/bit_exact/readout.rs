//! The whole readout: cuts, gaps, time stamps, over-range codes.

use super::front_end::folds;
use super::{Noise, cases};
use proptest::prelude::*;
use quietgap_core::carrier::CarrierRatio;
use quietgap_core::config::*;
use quietgap_core::front_end::words_per_code;
use quietgap_core::word::{Coefficient, Fraction, Word};
use quietgap_core::{ConfigError, Health, Reading, Readout};

pub const CHANNELS: usize = 3;
pub type Board<const N: usize> = Readout<N, CHANNELS, 512, 256, 512, i128>;

/// What a run does: whole or cut frames, or a gap.
pub enum Step<'a> {
    Push(&'a [i32]),
    Seek(u64),
}

#[derive(Clone, Debug)]
pub struct Plan {
    pub carrier: CarrierRatio,
    pub order: u8,
    pub ratio: u16,
    pub delay: u8,
    pub path: Path,
    pub bits: u8,
    /// Ratio and half of the taps, or all.
    pub firs: Vec<(u16, Vec<i32>, Mirror)>,
}

/// How taps are made of what is drawn.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Mirror {
    /// All of them.
    None,
    /// Their first half.
    Even,
    /// Their first half and the middle.
    Odd,
}

impl Plan {
    pub fn taps(&self) -> Vec<Vec<i32>> {
        let all = |(_, drawn, mirror): &(u16, Vec<i32>, Mirror)| -> Vec<i32> {
            let skipped = match mirror {
                Mirror::None => drawn.len(),
                Mirror::Even => 0,
                Mirror::Odd => 1,
            };
            drawn.iter().copied().chain(drawn.iter().rev().copied().skip(skipped)).collect()
        };
        self.firs.iter().map(all).collect()
    }
    /// Stages whose taps are not their own mirror.
    pub fn unlike(&self) -> usize {
        self.taps().iter().filter(|taps| !taps.iter().eq(taps.iter().rev())).count()
    }
    /// Delay of a slow signal, samples.
    pub fn delay(&self) -> f64 {
        let mut rate = f64::from(self.ratio);
        let mut delay = f64::from(self.order) * (rate * f64::from(self.delay) - 1.0) / 2.0;
        for (taps, (ratio, ..)) in self.taps().iter().zip(&self.firs) {
            let moment: i64 = (0..).zip(taps).map(|(n, tap)| n * i64::from(*tap)).sum();
            let sum: i64 = taps.iter().map(|tap| i64::from(*tap)).sum();
            delay += rate * moment as f64 / sum as f64;
            rate *= f64::from(*ratio);
        }
        delay
    }
    pub fn front_end(&self) -> FrontEndConfig {
        FrontEndConfig {
            order: self.order,
            ratio: self.ratio,
            differential_delay: self.delay,
            path: self.path,
            pruned_bits: 0,
        }
    }
    pub fn interval(&self) -> u64 {
        self.firs
            .iter()
            .fold(u64::from(self.ratio), |interval, (ratio, ..)| interval * u64::from(*ratio))
    }
    /// Length of the whole impulse response, sample 0 to the last non-zero one.
    pub fn span(&self) -> u64 {
        let mut rate = u64::from(self.ratio);
        let mut span = u64::from(self.order) * (rate * u64::from(self.delay) - 1) + 1;
        for (taps, (ratio, ..)) in self.taps().iter().zip(&self.firs) {
            span += (taps.len() as u64 - 1) * rate;
            rate *= u64::from(*ratio);
        }
        span
    }
    /// One difference bridge, one of separate electrodes, a monitor, an axis of both.
    fn board<const N: usize>(&self) -> Result<Board<N>, ConfigError> {
        let taps = self.taps();
        let fir =
            |(taps, (ratio, ..)): (&'_ Vec<i32>, &(u16, Vec<i32>, Mirror))| (taps.clone(), *ratio);
        let stages: Vec<(Vec<i32>, u16)> = taps.iter().zip(&self.firs).map(fir).collect();
        let firs: Vec<FirConfig> = stages
            .iter()
            .map(|(taps, ratio)| FirConfig { ratio: *ratio, taps, scale_bits: 15 })
            .collect();
        let difference = BridgeKind::Difference { channel: 0, full: Word::lit("0.5") };
        let separate = BridgeKind::Separate { channels: [1, 2], least_sum: Word::lit("0.01") };
        let bridge = |kind| BridgeConfig {
            strays: [Fraction::lit("0.002"), Fraction::lit("0.001")],
            offset_am: 7,
            ..BridgeConfig::plain(kind, 2_000_000_000_000_000)
        };
        let turned = Alignment { cosine: Fraction::lit("0.8"), sine: Fraction::lit("0.6") };
        Readout::new(&ReadoutConfig {
            code_bits: self.bits,
            carrier: self.carrier,
            front_end: self.front_end(),
            firs: &firs,
            alignments: &[Alignment::NONE, turned, turned],
            monitor: Some(MonitorConfig {
                channel: 2,
                calibration: Word::lit("0.01"),
                weak: Word::lit("0.01"),
                lost: Word::lit("0.001"),
                phase: Fraction::lit("0.9"),
            }),
            bridges: &[bridge(difference), bridge(separate)],
            cross_coupling: &[],
            electrodes: &[],
            axes: AxesConfig {
                axes: 1,
                solve: &[Coefficient::lit("0.5"); 2],
                geometry: &[Coefficient::ONE; 2],
                residual_am: 1_000_000_000_000,
            },
        })
    }
    pub fn run(&self, steps: &[Step]) -> Vec<Reading> {
        fn go<const N: usize>(plan: &Plan, steps: &[Step]) -> Vec<Reading> {
            let mut board = plan.board::<N>().unwrap();
            assert_eq!((board.interval(), board.span()), (plan.interval(), plan.span()));
            let mut readings = Vec::new();
            for step in steps {
                match *step {
                    Step::Push(codes) => {
                        board.push(codes, |reading| readings.push(reading.clone()))
                    }
                    Step::Seek(sample) => board.seek(sample),
                }
            }
            assert_eq!(board.counts().readings() as usize, readings.len());
            readings
        }
        match self.order {
            1 => go::<1>(self, steps),
            2 => go::<2>(self, steps),
            3 => go::<3>(self, steps),
            4 => go::<4>(self, steps),
            5 => go::<5>(self, steps),
            _ => go::<6>(self, steps),
        }
    }
}

/// Up to two FIR stages, taps of 2^-15, none of gain above 1.5, so that no plan is refused.
fn firs() -> impl Strategy<Value = Vec<(u16, Vec<i32>, Mirror)>> {
    let taps = prop::collection::vec(500i32..4000, 1..=6);
    let mirror = prop::sample::select(vec![Mirror::None, Mirror::Even, Mirror::Odd]);
    prop::collection::vec((1u16..=4, taps, mirror), 0..=2)
}

/// Four samples to the cycle, or six or five, folded.
pub fn folded() -> impl Strategy<Value = Plan> {
    let period = prop::sample::select(vec![4u16, 5, 6]);
    (period, 1u16..=30, 1u8..=6, 1u8..=2, 8u8..=32, firs()).prop_filter_map(
        "codes narrow enough to fold",
        |(period, periods, order, delay, bits, firs)| {
            let carrier = CarrierRatio::coherent(1, period.into()).unwrap();
            let (ratio, path) = (period * periods, Path::Coherent);
            let plan = Plan { carrier, order, ratio, delay, path, bits, firs };
            folds(carrier, order, bits.into()).then_some(plan)
        },
    )
}

pub fn mixed() -> impl Strategy<Value = Plan> {
    (1u64..1 << 63, 2u16..=150, 1u8..=6, 1u8..=2, 8u8..=32, firs()).prop_map(
        |(step, ratio, order, delay, bits, firs)| {
            let carrier = CarrierRatio::from_step(step).unwrap();
            let path = Path::General;
            Plan { carrier, order, ratio, delay, path, bits, firs }
        },
    )
}

/// Codes without the two end codes, so that nothing is over range.
fn good_codes(plan: &Plan, seed: u64, samples: u64) -> Vec<i32> {
    let most = (1i64 << (plan.bits - 1)) - 2;
    let codes = Noise(seed).codes(plan.bits.into(), false, samples as usize * CHANNELS);
    codes.into_iter().map(|x| i64::from(x).clamp(-most, most) as i32).collect()
}

fn cuts_change_nothing(plan: &Plan, seed: u64) -> Result<(), TestCaseError> {
    let codes = good_codes(plan, seed, plan.span() + 3 * plan.interval() + 1);
    let whole = same_however_cut(plan, &codes, seed)?;
    prop_assert!(whole.len() as u64 >= 3 && !whole.last().unwrap().health.has(Health::SETTLING));
    prop_assert!(
        whole.iter().all(|r| r.over_range_channels == 0 && !r.health.has(Health::OVER_RANGE))
    );
    Ok(())
}

/// The readings of `codes`, the same in one block as in blocks cut at random.
fn same_however_cut(plan: &Plan, codes: &[i32], seed: u64) -> Result<Vec<Reading>, TestCaseError> {
    let whole = plan.run(&[Step::Push(codes)]);
    let mut noise = Noise(!seed);
    for most in [7, codes.len() + 1] {
        let mut steps = Vec::new();
        let mut rest = codes;
        while !rest.is_empty() {
            let (now, later) = rest.split_at(noise.below(most).min(rest.len()));
            steps.push(Step::Push(now));
            rest = later;
        }
        prop_assert_eq!(&plan.run(&steps), &whole);
    }
    Ok(whole)
}

/// Starts at sample `near` of an interval, what filled the filters before being lost.
fn seek_settles(plan: &Plan, seed: u64, near: u64) -> Result<(), TestCaseError> {
    let start = 2 * plan.interval() + near;
    let codes = good_codes(plan, seed, start + plan.span() + 4 * plan.interval());
    let (lost, kept) = codes.split_at(start as usize * CHANNELS);
    let settled = |r: &Reading| !r.health.has(Health::SETTLING);
    let whole: Vec<Reading> = plan.run(&[Step::Push(&codes)]).into_iter().filter(settled).collect();
    // The second run has other samples in its filters, and a cut frame, before it seeks.
    let odd = &lost[..lost.len() / 2 + 1];
    let sought = plan.run(&[Step::Push(odd), Step::Seek(start), Step::Push(kept)]);
    let sought: Vec<&Reading> = sought
        .iter()
        .skip(odd.len() / CHANNELS / plan.interval() as usize)
        .filter(|r| settled(r))
        .collect();
    // Settled are the readings whose whole response lies at or after `start`: on the folded path
    // exactly those. On the mixed path the rounding of a section that lacks samples, at most 128 of
    // them and none beyond its interval, lasts N - 1 samples longer than the response.
    let first = (start + plan.span()).div_ceil(plan.interval());
    let last = start + plan.span() + 4 * plan.interval();
    let exact = last / plan.interval() + 1 - first;
    let ratio = u64::from(plan.ratio);
    let longest = ratio.min(128) - 1 + u64::from(plan.order) - 1;
    let slack = if plan.path == Path::General { longest.div_ceil(plan.interval()) } else { 0 };
    prop_assert!((exact - slack..=exact).contains(&(sought.len() as u64)), "{}", sought.len());
    for reading in sought {
        let same = whole.iter().find(|r| r.half_samples == reading.half_samples);
        prop_assert_eq!(Some(reading), same, "{:?} from sample {}", plan, start);
    }
    Ok(())
}

proptest! {
    #![proptest_config(cases(256))]

    #[test]
    fn cuts_change_nothing_folded(plan in folded(), seed: u64) {
        cuts_change_nothing(&plan, seed)?;
    }

    #[test]
    fn cuts_change_nothing_mixed(plan in mixed(), seed: u64) {
        cuts_change_nothing(&plan, seed)?;
    }

    #[test]
    fn seek_settles_folded(plan in folded(), seed: u64, near in 0u64..8, far: u64) {
        seek_settles(&plan, seed, near)?;
        seek_settles(&plan, seed, far % plan.interval())?;
    }

    #[test]
    fn seek_settles_mixed(plan in mixed(), seed: u64, near in 0u64..8, far: u64) {
        seek_settles(&plan, seed, near)?;
        seek_settles(&plan, seed, far % plan.interval())?;
    }

    /// A carrier whose amplitude grows by one code a sample: any filter reads the amplitude that was at
    /// the centre of mass of its response, which is where the time stamp is, exactly where taps are
    /// mirrored, else to the nearest half sample for each stage.
    /// Half a sample off would read 5e-8 off; the words' rounding and `f64` make 1e-12.
    #[test]
    fn time_stamps_are_the_delay(
        periods in 1u16..=20, order in 2u8..=6, delay in 1u8..=2, firs in firs(), general: bool,
    ) {
        let path = if general { Path::General } else { Path::Coherent };
        let carrier = CarrierRatio::coherent(1, 4).unwrap();
        let ratio = 4 * periods;
        let plan = Plan { carrier, order, ratio, delay, path, bits: 24, firs };
        let samples = plan.span() + 3 * plan.interval();
        let code = |n: u64| n as i32 * [1, 0, -1, 0][(n % 4) as usize];
        let codes: Vec<i32> = (0..samples).flat_map(|n| [code(n); CHANNELS]).collect();
        let (numerator, exponent) = words_per_code(plan.front_end(), plan.bits.into());
        let gain = |taps: Vec<i32>| f64::from(taps.iter().sum::<i32>()) / 2f64.powi(15);
        let word_of_code = numerator as f64 * 2f64.powi(-exponent - 52)
            * plan.taps().into_iter().map(gain).product::<f64>();
        let mut seen = 0;
        for (n, reading) in (1u64..).zip(plan.run(&[Step::Push(&codes)])) {
            let last = n * plan.interval() - 1;
            let delay = last as f64 - reading.half_samples as f64 / 2.0;
            prop_assert!((delay - plan.delay()).abs() <= 0.25 * plan.unlike() as f64 + 1e-9);
            if plan.unlike() == 0 {
                prop_assert_eq!(reading.half_samples, 2 * last as i64 - (plan.span() as i64 - 1));
            }
            if reading.health.has(Health::SETTLING) {
                continue;
            }
            seen += 1;
            // Undo the readout's own steps: strays, the monitor's amplitude and the phase, cosine 0.8,
            // that it finds the carrier off by unless there is too little of it.
            let u = reading.bridges[0].gap_fraction.to_num::<f64>();
            let ratio = reading.monitor_ratio as f64 / 2f64.powi(58);
            let r = u / (1.0 - u * u) + 0.001;
            let cosine = if reading.monitor_ratio == i64::MAX { 1.0 } else { 0.8 };
            let word = r * 0.5 / ratio / cosine;
            let exact = (last as f64 - plan.delay()) * word_of_code;
            prop_assert!((word - exact).abs() < 1e-12, "{} {}", word, exact);
        }
        prop_assert!(seen >= 3);
    }

    /// One bad code at any sample of any channel: the end codes and all beyond are over range,
    /// the codes next to them are not, on both paths; the reading of its interval names the
    /// channel, and every reading that holds a sample of that interval carries the flag.
    #[test]
    fn over_range_is_the_end_codes(
        plan in prop_oneof![folded(), mixed()],
        channel in 0..CHANNELS,
        at: u64,
        beyond in 0i64..1 << 31,
    ) {
        let samples = plan.span() + 4 * plan.interval();
        let at = at % samples;
        let codes = good_codes(&plan, at, samples);
        let most = (1i64 << (plan.bits - 1)) - 1;
        let wide = |x: i64| x.clamp(i32::MIN.into(), i32::MAX.into());
        let cases = [
            (most - 1, false), (-most, false),
            (most, true), (-most - 1, true),
            (wide(most + beyond), true), (wide(-most - 1 - beyond), true),
        ];
        for (code, bad) in cases {
            let mut codes = codes.clone();
            codes[at as usize * CHANNELS + channel] = code as i32;
            for (n, reading) in (0u64..).zip(plan.run(&[Step::Push(&codes)])) {
                let own = at / plan.interval() == n;
                prop_assert_eq!(reading.over_range_channels, u32::from(bad && own) << channel, "{}", code);
                let end_of_own = (at / plan.interval() + 1) * plan.interval() - 1;
                let last = (n + 1) * plan.interval() - 1;
                let holds = bad && end_of_own <= last && end_of_own + plan.span() > last;
                prop_assert_eq!(reading.health.has(Health::OVER_RANGE), holds, "{} at {}, reading {}", code, at, n);
            }
        }
    }

    /// One code at an end, wherever it stands and however blocks are cut, is told of its channel once.
    #[test]
    fn a_lone_end_names_its_channel(
        plan in prop_oneof![folded(), mixed()],
        seed: u64,
        channel in 0..CHANNELS,
        at: u64,
        lower: bool,
    ) {
        let samples = plan.span() + 3 * plan.interval();
        let mut codes = good_codes(&plan, seed, samples);
        let end = 1i64 << (plan.bits - 1);
        let at = at % (samples / plan.interval() * plan.interval());
        codes[at as usize * CHANNELS + channel] = if lower { -end } else { end - 1 } as i32;
        let told: Vec<u32> =
            same_however_cut(&plan, &codes, seed)?.iter().map(|r| r.over_range_channels).collect();
        let mut want = vec![0; told.len()];
        want[(at / plan.interval()) as usize] = 1 << channel;
        prop_assert_eq!(told, want);
    }
}
