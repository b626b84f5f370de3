//! Plans and codes for the board, and what the host makes of them.

use super::digest::Digest;
use super::source::Source;
use quietgap_core::config::*;
use quietgap_core::fir::FirChain;
use quietgap_core::front_end::FrontEnd;
use quietgap_core::phasor::Phasor;
use quietgap_core::word::{Coefficient, Fraction, Word};
use quietgap_core::{CarrierRatio, Readout};
use quietgap_sim::sensor::Sensor;

/// Owned [`ReadoutConfig`].
#[derive(Clone)]
struct Settings {
    code_bits: u8,
    /// Cycles and samples, or step and zero.
    carrier: (u64, u32),
    front_end: FrontEndConfig,
    firs: Vec<(u16, u8, Vec<i32>)>,
    alignments: Vec<Alignment>,
    monitor: Option<MonitorConfig>,
    bridges: Vec<BridgeConfig>,
    axes: u8,
    solve: Vec<Coefficient>,
    geometry: Vec<Coefficient>,
    residual_am: i64,
}

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
            let mut settings = sensor(name);
            settings.front_end.watch = watch;
            cases.push(Case::of_sensor(
                &format!("{name},{watch:?}"),
                kind,
                frames,
                repeats,
                settings,
            ));
        }
        if kind < 2 {
            let mut settings = sensor(name);
            settings.front_end.watch = Watch::Sparse;
            // 0.1003... of the sample rate, irrational for all that matters.
            settings.carrier = (0x19b3_d07c_84b5_dcc6, 0);
            cases.push(Case::of_sensor(
                &format!("{name},not-coherent"),
                3 + kind,
                frames,
                repeats,
                settings,
            ));
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

fn sensor(name: &str) -> Settings {
    let sensor = Sensor::load(name).expect("built in");
    let ratio = sensor.design.carrier;
    sensor.settings.with_config(|config| Settings {
        code_bits: config.code_bits,
        carrier: (ratio.cycles, ratio.samples as u32),
        front_end: config.front_end,
        firs: config.firs.iter().map(|f| (f.ratio, f.scale_bits, f.taps.to_vec())).collect(),
        alignments: config.alignments.to_vec(),
        monitor: config.monitor,
        bridges: config.bridges.to_vec(),
        axes: config.axes.axes,
        solve: config.axes.solve.to_vec(),
        geometry: config.axes.geometry.to_vec(),
        residual_am: config.axes.residual_am,
    })
}

impl Settings {
    fn with_config<T>(&self, build: impl FnOnce(&ReadoutConfig<'_>) -> T) -> T {
        let firs: Vec<FirConfig<'_>> = self
            .firs
            .iter()
            .map(|(ratio, scale_bits, taps)| FirConfig {
                ratio: *ratio,
                taps,
                scale_bits: *scale_bits,
            })
            .collect();
        let carrier = match self.carrier {
            (step, 0) => CarrierRatio::from_step(step),
            (cycles, samples) => CarrierRatio::coherent(cycles as u32, samples),
        };
        build(&ReadoutConfig {
            code_bits: self.code_bits,
            carrier: carrier.expect("a carrier"),
            front_end: self.front_end,
            firs: &firs,
            alignments: &self.alignments,
            monitor: self.monitor,
            bridges: &self.bridges,
            axes: AxesConfig {
                axes: self.axes,
                solve: &self.solve,
                geometry: &self.geometry,
                residual_am: self.residual_am,
            },
        })
    }
}

impl Case {
    fn of_sensor(name: &str, kind: i64, frames: usize, repeats: usize, settings: Settings) -> Self {
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
            settings,
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
            let channels = 1 + below(4) as u8;
            let code_bits = 12 + below(14) as u8;
            let firs = (0..below(3)).map(|_| {
                let half: Vec<i32> =
                    (0..1 + below(20)).map(|_| below(20_000) as i32 - 5_000).collect();
                let taps = half.iter().chain(half.iter().rev()).copied().collect();
                (1 + below(5) as u16, 19, taps)
            });
            let firs = firs.collect();
            let difference = |channel| BridgeKind::Difference {
                channel,
                full: Word::lit("0.4"),
                imbalance: Fraction::lit("0.01"),
                share: Fraction::lit("0.1"),
            };
            let bridge = |kind| BridgeConfig {
                kind,
                gap_am: 2_000_000_000_000_000,
                offset_am: 11,
                range: Fraction::lit("0.6"),
                quadrature: Fraction::lit("0.1"),
            };
            let separate = BridgeKind::Separate {
                channels: [0, channels - 1],
                strays: [Word::lit("0.01"), Word::lit("0.02")],
                least_sum: Word::lit("0.05"),
            };
            let settings = Settings {
                code_bits,
                carrier: if coherent {
                    (cycles.into(), samples)
                } else {
                    (u64::from(1 + below(1 << 31)) << 32 | 0x1234_5677, 0)
                },
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
                }),
                bridges: vec![bridge(difference(channels - 1)), bridge(separate)],
                axes: 1,
                solve: vec![Coefficient::lit("0.5"); 2],
                geometry: vec![Coefficient::ONE; 2],
                residual_am: 1_000_000,
            };
            let built = settings.with_config(|config| match order {
                1 => Readout::<1, 4, 130, 128, 64>::new(config).is_ok(),
                2 => Readout::<2, 4, 130, 128, 64>::new(config).is_ok(),
                _ => Readout::<3, 4, 130, 128, 64>::new(config).is_ok(),
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
            };
        }
    }

    /// Codes of the whole run.
    pub fn samples(&self) -> u64 {
        (self.repeats * self.frames * self.settings.alignments.len()) as u64
    }

    pub fn on_host(&self) -> Outcome {
        match self.settings.front_end.order {
            1 => self.outcome::<1>(),
            2 => self.outcome::<2>(),
            _ => self.outcome::<3>(),
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
                || Box::new(Readout::<N, 8, 256, 200, 400, i128>::new(config).expect("good"));
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
            let mut front_end = FrontEnd::<i128, N, 8, 256>::new(
                config.carrier,
                config.front_end,
                channels,
                config.code_bits.into(),
            )
            .expect("good");
            let mut phasors = Digest::new();
            let mut rest = codes.as_slice();
            while !rest.is_empty() {
                let (now, later) =
                    rest.split_at((front_end.missing() as usize * channels).min(rest.len()));
                front_end.push(now);
                if front_end.missing() == 0 {
                    let mut out = vec![Phasor::default(); channels];
                    front_end.decimate(&mut out);
                    phasors.phasors(&out);
                }
                rest = later;
            }
            let mut firs = Digest::new();
            let mut chain =
                FirChain::<200, 400>::new(config.firs, channels, Word::from_bits(2 << 52))
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
            0 | 2 | 3 => 2,
            1 | 4 => 7,
            _ => 4,
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
        words.extend([i64::from(s.code_bits), s.carrier.0 as i64, s.carrier.1.into()]);
        words.extend([i64::from(front.order), front.ratio.into(), front.differential_delay.into()]);
        words.extend([front.path as i64, front.watch as i64, s.firs.len() as i64]);
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
            ]);
        }
        words.push(s.bridges.len() as i64);
        for b in &s.bridges {
            match b.kind {
                BridgeKind::Difference { channel, full, imbalance, share } => {
                    words.extend([
                        0,
                        channel.into(),
                        full.to_bits(),
                        imbalance.to_bits(),
                        share.to_bits(),
                    ]);
                }
                BridgeKind::Separate { channels, strays, least_sum } => {
                    words.extend([1, channels[0].into(), channels[1].into()]);
                    words.extend([strays[0].to_bits(), strays[1].to_bits(), least_sum.to_bits()]);
                }
            }
            words.extend([b.gap_am, b.offset_am, b.range.to_bits(), b.quadrature.to_bits()]);
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
