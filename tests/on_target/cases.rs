//! Plans and codes for the board, and what the host makes of them.

use super::digest::Digest;
use super::source::Source;
use quietgap_core::config::*;
use quietgap_core::fir::FirChain;
use quietgap_core::fold::Folding;
use quietgap_core::front_end::FrontEnd;
use quietgap_core::phasor::Phasor;
use quietgap_core::word::{Coefficient, Fraction, Word};
use quietgap_core::{CarrierRatio, Readout};
use quietgap_sim::cycles::Shape;
use quietgap_sim::instrument::{Sensor, Settings};

/// A plan with codes.
#[derive(Clone)]
pub struct Case {
    pub name: String,
    /// Its counts are committed.
    pub counted: bool,
    /// Which of the image's readouts.
    kind: i64,
    seed: u64,
    frames: usize,
    repeats: usize,
    cuts: bool,
    noise_bits: u32,
    tone: Vec<i32>,
    settings: Settings,
    /// Cycles and samples, or step and zero, as the settings were made from.
    carrier: (u64, u32),
}

/// What the host makes of a case.
pub struct Outcome {
    pub readings: u64,
    pub digest: u64,
    pub phasors: u64,
    pub firs: u64,
}

/// The sensors with either watch, a carrier that is not coherent, each whole and with every block
/// cut, and `random` plans.
pub fn all(repeats: usize, random: usize) -> Vec<Case> {
    let mut cases = Vec::new();
    for (name, kind, frames) in
        [("vault-two-bridge", 0, 800), ("vault-six-axis", 1, 800), ("vault-quarter-rate", 2, 640)]
    {
        for watch in [Watch::EverySample, Watch::Sparse] {
            let (mut settings, carrier) = sensor(name);
            settings.front_end.watch = watch;
            cases.push(Case::of_sensor(
                &format!("{name},{watch:?}"),
                kind,
                frames,
                repeats,
                settings,
                carrier,
            ));
        }
        // The same output rate by a leaner front end.
        let lean = |ratio, second, last, carrier: Option<(u64, u32)>| {
            let (mut settings, of_sensor) = sensor(name);
            settings.front_end.watch = Watch::Sparse;
            settings.front_end.ratio = ratio;
            // Half the ratio, half the taps: how many there are is what counts here.
            let middle = |(_, scale, taps): &(u16, u8, Vec<i32>), ratio, count| {
                let first = (taps.len() - count) / 2;
                (ratio, *scale, taps[first..first + count].to_vec())
            };
            settings.firs[1] = middle(&settings.firs[1], second, 6 * usize::from(second));
            settings.firs[2] = middle(&settings.firs[2], last, 30 * usize::from(last) + 1);
            (settings, carrier.unwrap_or(of_sensor))
        };
        let mut add = |what, kind, (settings, carrier): (Settings, _)| {
            let ratio = usize::from(settings.front_end.ratio);
            let frames = ratio * (8192 / settings.alignments.len() / ratio).min(5);
            let name = format!("{name},{what}");
            cases.push(Case::of_sensor(&name, kind, frames, repeats, settings, carrier));
        };
        let last = if kind == 2 { 4 } else { 5 };
        add("lean", [20, 21, 2][kind as usize], lean(320, 5, last, None));
        if kind < 2 {
            // 0.1003... of the sample rate, irrational for all that matters.
            add("not-coherent", 3 + kind, lean(500, 4, 4, Some((0x19b3_d07c_84b5_dcc6, 0))));
        }
    }
    let cut = |case: &Case| Case {
        name: format!("{},cut", case.name),
        counted: false,
        cuts: true,
        ..case.clone()
    };
    cases.extend(cases.clone().iter().map(cut));
    let mut source = Source::new(2026);
    cases.extend((0..random).map(|n| Case::random(n, &mut source)));
    cases
}

/// Plans sized to their readouts, to fit the counts of instructions to; and, none of them among
/// the first, to check the fit with.
pub fn plans(check: bool) -> Vec<Case> {
    const LONG: &[(u16, usize)] = &[(10, 50), (4, 41)];
    const SHORT: &[(u16, usize)] = &[(8, 40)];
    const THREE: &[(u16, usize)] = &[(4, 21), (3, 12), (2, 30)];
    // Kind, channels, period (zero: not coherent), ratio, bits, FIR stages, differential delay.
    type Row = (i64, usize, u32, u16, u8, &'static [(u16, usize)], u8);
    const FIT: [Row; 55] = [
        (11, 1, 10, 160, 24, LONG, 1),
        (11, 1, 10, 120, 24, LONG, 1),
        (11, 1, 10, 130, 24, THREE, 1),
        (10, 1, 6, 96, 24, LONG, 1),
        (10, 1, 6, 72, 24, SHORT, 1),
        (12, 3, 10, 120, 24, LONG, 1),
        (13, 4, 8, 112, 24, LONG, 1),
        (15, 6, 4, 48, 24, SHORT, 1),
        (17, 4, 0, 150, 24, SHORT, 1),
        (17, 4, 0, 232, 24, LONG, 1),
        (17, 4, 0, 90, 24, THREE, 1),
        (3, 2, 0, 172, 20, LONG, 1),
        (18, 6, 12, 120, 24, LONG, 1),
        (18, 6, 12, 192, 22, SHORT, 1),
        (18, 6, 12, 240, 18, THREE, 1),
        (17, 4, 0, 220, 20, THREE, 1),
        (12, 3, 10, 180, 24, SHORT, 1),
        (12, 3, 10, 60, 24, LONG, 1),
        (15, 6, 4, 180, 24, SHORT, 1),
        (15, 6, 4, 64, 24, LONG, 1),
        (13, 4, 8, 200, 24, SHORT, 1),
        (16, 5, 6, 240, 24, SHORT, 1),
        (10, 1, 6, 240, 24, THREE, 1),
        (11, 1, 10, 160, 16, SHORT, 1),
        (17, 4, 0, 240, 24, LONG, 1),
        (3, 2, 0, 100, 24, THREE, 1),
        (4, 7, 0, 250, 24, SHORT, 1),
        (17, 4, 0, 64, 18, SHORT, 1),
        (14, 2, 16, 64, 20, SHORT, 1),
        (14, 2, 16, 192, 18, THREE, 1),
        (13, 4, 8, 160, 20, SHORT, 1),
        (13, 4, 8, 240, 18, LONG, 1),
        (12, 3, 10, 80, 20, THREE, 1),
        (15, 6, 4, 200, 16, SHORT, 1),
        (16, 5, 6, 240, 18, LONG, 1),
        (11, 1, 10, 160, 18, THREE, 1),
        (10, 1, 6, 120, 24, LONG, 1),
        (10, 1, 6, 60, 18, &[], 1),
        (11, 1, 10, 100, 24, SHORT, 1),
        (11, 1, 10, 240, 20, LONG, 1),
        (12, 3, 10, 160, 24, THREE, 1),
        (12, 3, 10, 250, 24, SHORT, 1),
        (13, 4, 8, 128, 24, LONG, 1),
        (13, 4, 8, 64, 16, THREE, 1),
        (14, 2, 16, 160, 24, SHORT, 1),
        (14, 2, 16, 256, 24, LONG, 1),
        (15, 6, 4, 128, 18, THREE, 1),
        (15, 6, 4, 60, 20, LONG, 1),
        (16, 5, 6, 120, 22, SHORT, 1),
        (16, 5, 6, 180, 20, THREE, 2),
        (12, 3, 10, 100, 20, LONG, 2),
        (17, 4, 0, 160, 24, LONG, 1),
        (17, 4, 0, 100, 20, SHORT, 1),
        (3, 2, 0, 250, 24, SHORT, 1),
        (4, 7, 0, 120, 24, THREE, 1),
    ];
    const CHECK: [Row; 7] = [
        (18, 6, 12, 156, 24, SHORT, 1),
        (12, 3, 10, 140, 24, LONG, 1),
        (13, 4, 8, 96, 24, SHORT, 1),
        (14, 2, 16, 128, 20, THREE, 1),
        (15, 6, 4, 56, 24, SHORT, 1),
        (11, 1, 10, 140, 24, LONG, 1),
        (17, 4, 0, 200, 24, THREE, 1),
    ];
    let rows: &[Row] = if check { &CHECK } else { &FIT };
    let mut cases = Vec::new();
    for &(kind, channels, period, ratio, code_bits, stages, delay) in rows {
        // The image's readouts are sized for half a period's columns, or an odd period's.
        let least = if period % 2 == 0 { period / 2 } else { period };
        let folding = (period > 0).then(|| Folding::new(period, ratio.into(), 2, code_bits.into()));
        if folding.flatten().is_some_and(|folding| folding.columns != least) {
            assert!(!check, "{kind}: {ratio} is one section of longer rows");
            continue;
        }
        for watch in [Watch::EverySample, Watch::Sparse] {
            let sized = Sized {
                kind,
                channels,
                period,
                order: 2,
                ratio,
                delay,
                code_bits,
                pruned_bits: 0,
                stages,
            };
            cases.push(sized.case(watch));
        }
    }
    cases
}

/// A plan for a readout of the image that is sized for it.
#[derive(Clone, Copy, Debug)]
pub struct Sized {
    pub kind: i64,
    pub channels: usize,
    /// Samples of a carrier period; zero where it is not coherent.
    pub period: u32,
    pub order: u8,
    pub ratio: u16,
    pub delay: u8,
    pub code_bits: u8,
    pub pruned_bits: u8,
    /// Ratio and number of taps of the FIR stages.
    pub stages: &'static [(u16, usize)],
}

impl Sized {
    /// The first decimation.
    pub fn front_end(&self, watch: Watch) -> FrontEndConfig {
        FrontEndConfig {
            order: self.order,
            ratio: self.ratio,
            differential_delay: self.delay,
            path: Path::Auto,
            watch,
            pruned_bits: self.pruned_bits,
        }
    }

    /// The carrier, as [`carrier`] takes it.
    pub fn raw_carrier(&self) -> (u64, u32) {
        if self.period > 0 { (1, self.period) } else { (0x1811_2233_4455_6677, 0) }
    }

    /// With codes and settings of the slow stages.
    pub fn case(&self, watch: Watch) -> Case {
        let Self { kind, channels, order, ratio, code_bits, stages, .. } = *self;
        let (mut settings, _) = sensor("vault-two-bridge");
        settings.code_bits = code_bits;
        settings.front_end = self.front_end(watch);
        settings.firs =
            stages.iter().map(|(r, n)| (*r, 20, vec![(1 << 20) / *n as i32; *n])).collect();
        settings.alignments = vec![settings.alignments[0]; channels];
        settings.bridges.truncate(channels);
        for (channel, bridge) in (0..).zip(&mut settings.bridges) {
            if let BridgeKind::Difference { channel: at, .. } = &mut bridge.kind {
                *at = channel;
            }
        }
        let bridges = settings.bridges.len();
        settings.axes = (1 << bridges) - 1;
        settings.electrodes.clear();
        settings.solve = vec![Coefficient::lit("0.5"); bridges * bridges];
        settings.geometry = settings.solve.clone();
        let of_order = if order == 2 { String::new() } else { format!("order-{order}-") };
        let name = format!("{of_order}plan-{kind}-{ratio}-{code_bits},{watch:?}");
        let intervals = (8192 / (channels * usize::from(ratio))).clamp(1, 8);
        let frames = intervals * usize::from(ratio);
        let product: usize = stages.iter().map(|(r, _)| usize::from(*r)).product();
        let repeats = product * 800usize.div_ceil(product * intervals);
        Case::of_sensor(&name, kind, frames, repeats, settings, self.raw_carrier())
    }
}

fn sensor(name: &str) -> (Settings, (u64, u32)) {
    let sensor = Sensor::load(name).expect("built in");
    let ratio = sensor.design.carrier;
    (sensor.settings, (ratio.cycles, ratio.samples as u32))
}

/// Cycles and samples, or step and zero.
pub fn carrier(raw: (u64, u32)) -> CarrierRatio {
    match raw {
        (step, 0) => CarrierRatio::from_step(step),
        (cycles, samples) => CarrierRatio::coherent(cycles as u32, samples),
    }
    .expect("a carrier")
}

impl Case {
    fn of_sensor(
        name: &str,
        kind: i64,
        frames: usize,
        repeats: usize,
        settings: Settings,
        raw: (u64, u32),
    ) -> Self {
        let amplitude = f64::from(1u32 << (settings.code_bits - 2));
        let tone = |n| (amplitude * (f64::from(n) * std::f64::consts::TAU / 20.0).cos()) as i32;
        Self {
            name: name.to_owned(),
            counted: true,
            kind,
            seed: 7,
            frames,
            repeats,
            cuts: false,
            noise_bits: u32::from(settings.code_bits) - 6,
            tone: (0..20).map(tone).collect(),
            settings: Settings { carrier: carrier(raw), ..settings },
            carrier: raw,
        }
    }

    /// Order 1 to 3, any carrier, up to four channels, up to two FIR stages; codes up to and
    /// beyond the ends. Tried until the image's readout takes it.
    fn random(number: usize, source: &mut Source) -> Self {
        loop {
            let mut below = |n: u32| source.next() % n;
            let order = 1 + below(3) as u8;
            let samples = 3 + below(14);
            let cycles = 1 + below((samples - 1) / 2);
            let coherent = below(3) > 0;
            let channels = 2 + below(3) as u8;
            let code_bits = 12 + below(14) as u8;
            let firs = (0..below(3)).map(|_| {
                let half: Vec<i32> =
                    (0..1 + below(20)).map(|_| below(20_000) as i32 - 5_000).collect();
                let taps = half.iter().chain(half.iter().rev()).copied().collect();
                (1 + below(5) as u16, 19, taps)
            });
            let firs = firs.collect();
            let difference = |channel| BridgeKind::Difference { channel, full: Word::lit("0.4") };
            let bridge = |kind| BridgeConfig {
                strays: [Fraction::lit("0.01"), Fraction::lit("0.02")],
                weights: [Fraction::lit("0.48"), Fraction::lit("0.52")],
                gaps: [Fraction::lit("1.04"), Fraction::lit("0.96")],
                offset_am: 11,
                range: Fraction::lit("0.6"),
                phase: Fraction::lit("0.1"),
                floor: Fraction::lit("0.001"),
                ..BridgeConfig::plain(kind, 2_000_000_000_000_000)
            };
            let separate =
                BridgeKind::Separate { channels: [0, channels - 1], least_sum: Word::lit("0.05") };
            // A pair each, beside and across the other's, and an injection electrode, all oblique.
            let electrode = |n: i32| ElectrodeConfig {
                gap_am: 2_000_000_000_000_000 - 7 * i64::from(n),
                position_am: [i64::from(n), 1 << 54, -(1 << 50)],
                normal: [
                    Fraction::lit("0.6") * Fraction::from_num(1 - 2 * (n % 2)),
                    Fraction::lit("0.8"),
                    Fraction::ZERO,
                ],
                half_sides: [[HalfSide::lit("0.1"), HalfSide::lit("4"), HalfSide::lit("-3")]; 2],
                total_share: Fraction::lit("0.1"),
                drive_share: Fraction::from_num(n / 4) / 2,
            };
            let raw = if coherent {
                (cycles.into(), samples)
            } else {
                (u64::from(1 + below(1 << 31)) << 32 | 0x1234_5677, 0)
            };
            let settings = Settings {
                code_bits,
                carrier: carrier(raw),
                front_end: FrontEndConfig {
                    order,
                    ratio: if coherent {
                        samples * (1 + below(200 / samples))
                    } else {
                        2 + below(250)
                    } as u16,
                    differential_delay: 1 + below(2) as u8,
                    path: Path::Auto,
                    watch: [Watch::EverySample, Watch::Sparse][below(2) as usize],
                    pruned_bits: 0,
                },
                firs,
                alignments: vec![
                    Alignment {
                        cosine: Fraction::lit("0.8"),
                        sine: Fraction::lit("0.6")
                    };
                    channels.into()
                ],
                monitor: (below(2) > 0).then_some(MonitorConfig {
                    channel: 0,
                    calibration: Word::lit("0.5"),
                    weak: Word::lit("0.2"),
                    lost: Word::lit("0.1"),
                    phase: Fraction::lit("0.3"),
                }),
                bridges: vec![bridge(difference(channels - 1)), bridge(separate)],
                electrodes: (0..[0, 4, 5][below(3) as usize]).map(electrode).collect(),
                axes: 1,
                solve: vec![Coefficient::lit("0.5"); 2],
                geometry: vec![Coefficient::ONE; 2],
                residual_am: 1_000_000,
                words_per_code: 1.0,
            };
            let built = settings.with_config(|config| match order {
                1 => Readout::<1, 4, 256, 256, 64>::new(config).is_ok(),
                2 => Readout::<2, 4, 256, 256, 64>::new(config).is_ok(),
                _ => Readout::<3, 4, 256, 256, 64>::new(config).is_ok(),
            });
            if !built {
                continue;
            }
            // Noise alone reaches both end codes.
            let loud = below(2) > 0;
            let noise_bits = u32::from(code_bits) - u32::from(!loud);
            return Self {
                name: format!("random-{number}"),
                counted: false,
                kind: 4 + i64::from(order),
                seed: number as u64,
                frames: 1000,
                repeats: 40,
                cuts: number % 2 == 1,
                noise_bits,
                tone: (0..7).map(|n| if loud { 0 } else { (n - 3) << (code_bits - 5) }).collect(),
                settings,
                carrier: raw,
            };
        }
    }

    /// Codes of the whole run.
    pub fn samples(&self) -> u64 {
        (self.repeats * self.frames * self.settings.alignments.len()) as u64
    }

    /// What costs instructions.
    pub fn shape(&self) -> Shape {
        self.settings.with_config(Shape::of)
    }

    /// Intervals of the front end in the run.
    pub fn intervals(&self) -> f64 {
        (self.repeats * self.frames / usize::from(self.settings.front_end.ratio)) as f64
    }

    /// Order of the CIC.
    pub fn order(&self) -> u8 {
        self.settings.front_end.order
    }

    pub fn on_host(&self) -> Outcome {
        match self.settings.front_end.order {
            1 => self.outcome::<1>(),
            2 => self.outcome::<2>(),
            3 => self.outcome::<3>(),
            4 => self.outcome::<4>(),
            5 => self.outcome::<5>(),
            _ => self.outcome::<6>(),
        }
    }

    /// Capacities and register other than the image's: they must not matter.
    fn outcome<const N: usize>(&self) -> Outcome {
        self.settings.with_config(|config| {
            let channels = config.alignments.len();
            let mut source = Source::new(self.seed);
            let mut codes = vec![0; self.frames * channels];
            source.fill(&mut codes, channels, &self.tone, self.noise_bits);
            let build =
                || Box::new(Readout::<N, 8, 512, 400, 400, i128>::new(config).expect("good"));
            let (mut readout, mut digest, mut readings) = (build(), Digest::new(), 0);
            for _ in 0..self.repeats {
                readout.push(&codes, |reading| {
                    digest.reading(reading);
                    readings += 1;
                });
                // The board's cuts draw from the same source as the stages' words after them.
                let mut rest = codes.as_slice();
                while self.cuts && !rest.is_empty() {
                    let length = source.next() as usize % (3 * channels * 10) % (rest.len() + 1);
                    rest = &rest[length..];
                }
            }
            let mut front_end = FrontEnd::<i128, N, 8, 512>::new(
                config.carrier,
                config.front_end,
                channels,
                config.code_bits.into(),
            )
            .expect("good");
            let mut phasors = Digest::new();
            let mut rest = codes.as_slice();
            let mut out = vec![Phasor::default(); channels];
            while front_end.decimate(&mut rest, &mut out).is_some() {
                phasors.phasors(&out);
            }
            let mut firs = Digest::new();
            let mut chain =
                FirChain::<400, 400>::new(config.firs, channels, Word::from_bits(2 << 52))
                    .expect("good");
            let mut word = || Word::from_bits(i64::from(source.next() as i32) << 21);
            for _ in 0..self.repeats * self.frames / usize::from(config.front_end.ratio) {
                let capacity = self.capacity();
                let mut frame: Vec<Phasor> =
                    (0..capacity).map(|_| Phasor { i: word(), q: word() }).collect();
                if chain.push(&mut frame[..channels]).is_some() {
                    firs.phasors(&frame[..channels]);
                }
            }
            Outcome { readings, digest: digest.0, phasors: phasors.0, firs: firs.0 }
        })
    }

    /// Channels of the image's readout.
    fn capacity(&self) -> usize {
        match self.kind {
            0 | 2 | 3 | 20 => 2,
            1 | 4 | 21 => 7,
            5..=7 => 4,
            _ => self.settings.alignments.len(),
        }
    }

    /// As the image reads it.
    pub fn to_bytes(&self) -> Vec<u8> {
        let mut words: Vec<i64> = vec![
            self.kind,
            self.seed as i64,
            self.frames as i64,
            self.repeats as i64,
            self.cuts.into(),
            self.noise_bits.into(),
            self.tone.len() as i64,
        ];
        words.extend(self.tone.iter().map(|t| i64::from(*t)));
        let s = &self.settings;
        let front = &s.front_end;
        words.extend([i64::from(s.code_bits), self.carrier.0 as i64, self.carrier.1.into()]);
        words.extend([i64::from(front.order), front.ratio.into(), front.differential_delay.into()]);
        words.extend([front.path as i64, front.watch as i64, front.pruned_bits.into()]);
        words.push(s.firs.len() as i64);
        for (ratio, scale, taps) in &s.firs {
            words.extend([i64::from(*ratio), (*scale).into(), taps.len() as i64]);
            words.extend(taps.iter().map(|t| i64::from(*t)));
        }
        words.push(s.alignments.len() as i64);
        for a in &s.alignments {
            words.extend([a.cosine.to_bits(), a.sine.to_bits()]);
        }
        words.push(s.monitor.is_some().into());
        if let Some(m) = &s.monitor {
            words.extend([
                m.channel.into(),
                m.calibration.to_bits(),
                m.weak.to_bits(),
                m.lost.to_bits(),
                m.phase.to_bits(),
            ]);
        }
        words.push(s.bridges.len() as i64);
        for b in &s.bridges {
            match b.kind {
                BridgeKind::Difference { channel, full } => {
                    words.extend([0, channel.into(), full.to_bits()]);
                }
                BridgeKind::Separate { channels, least_sum } => {
                    let [a, b] = channels.map(i64::from);
                    words.extend([1, a, b, least_sum.to_bits()]);
                }
            }
            words.extend([b.strays, b.weights, b.gaps].as_flattened().iter().map(|f| f.to_bits()));
            words.extend([b.gap_am, b.offset_am]);
            words.extend([b.range, b.quadrature, b.phase, b.floor].map(|f| f.to_bits()));
        }
        words.push(s.electrodes.len() as i64);
        for e in &s.electrodes {
            words.push(e.gap_am);
            words.extend(e.position_am);
            words.extend(e.normal.map(|part| part.to_bits()));
            words.extend(e.half_sides.as_flattened().iter().map(|part| i64::from(part.to_bits())));
            words.extend([e.total_share, e.drive_share].map(|share| share.to_bits()));
        }
        words.push(s.axes.into());
        for matrix in [&s.solve, &s.geometry] {
            words.push(matrix.len() as i64);
            words.extend(matrix.iter().map(|c| c.to_bits()));
        }
        words.push(s.residual_am);
        words.iter().flat_map(|word| word.to_le_bytes()).collect()
    }
}
