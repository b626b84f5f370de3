//! Plans and codes for the board, and what the host makes of them.

use crate::digest::Digest;
use crate::source::Source;
use quietgap_core::config::*;
use quietgap_core::fir::{FirChain, Waiting};
use quietgap_core::front_end::FrontEnd;
use quietgap_core::phasor::Phasor;
use quietgap_core::word::{Coefficient, Fraction, Word};
use quietgap_core::{CarrierRatio, Readout};
use quietgap_sim::cycles::Shape;
use quietgap_sim::instrument::{Sensor, Settings};

mod bytes;
pub mod sized;

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

/// Of the case whose every block is looked at twice.
pub const RESTLESS: &str = "restless";

/// The sensors, a carrier that is not coherent, restless codes, each whole and with every block
/// cut, and `random` plans.
pub fn all(repeats: usize, random: usize) -> Vec<Case> {
    let mut cases = Vec::new();
    for (name, kind, frames) in
        [("vault-two-bridge", 0, 800), ("vault-six-axis", 1, 800), ("vault-quarter-rate", 2, 640)]
    {
        let (settings, carrier) = sensor(name);
        cases.push(Case::of_sensor(name, kind, frames, repeats, settings.clone(), carrier));
        if kind < 2 {
            // 0.1003... of the sample rate, irrational for all that matters; the filters, and so the mask that
            // they keep, are the same.
            let carrier = (0x19b3_d07c_84b5_dcc6, 0);
            let name = format!("{name},not-coherent");
            cases.push(Case::of_sensor(&name, 3 + kind, frames, repeats, settings, carrier));
        }
    }
    // Codes that no energy proves free of ends, though they are: all of them are looked at, too.
    let first = &cases[0];
    let restless = Case {
        name: format!("{},{RESTLESS}", first.name),
        noise_bits: u32::from(first.settings.code_bits) - 2,
        ..first.clone()
    };
    cases.push(restless);
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
        // The carrier of a mass near its centre; one that is not coherent has but the first of its codes.
        let amplitude = f64::from(1u32 << (settings.code_bits - 8));
        let (turns, samples) = match raw {
            (step, 0) => (step as f64 / 2f64.powi(64), 64),
            (cycles, samples) => (cycles as f64 / f64::from(samples), samples),
        };
        let tone = |n| (amplitude * (f64::from(n) * turns * std::f64::consts::TAU).cos()) as i32;
        Self {
            name: name.to_owned(),
            counted: true,
            kind,
            seed: 7,
            frames,
            repeats,
            cuts: false,
            noise_bits: u32::from(settings.code_bits) - 8,
            tone: (0..samples).map(tone).collect(),
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
            // Every fourth has two difference bridges that pick up of each other.
            let coupled = number.is_multiple_of(4);
            let second = if coupled { difference(0) } else { separate };
            let shares = ["0.0004", "0.02", "-0.03", "0.0007"].map(Fraction::lit);
            let cross_coupling = if coupled { shares.to_vec() } else { Vec::new() };
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
                bridges: vec![bridge(difference(channels - 1)), bridge(second)],
                cross_coupling,
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
            let mut waiting = vec![Waiting::NONE; channels];
            let mut firs = Digest::new();
            let mut chain =
                FirChain::<400, 400>::new(config.firs, channels, Word::from_bits(2 << 52))
                    .expect("good");
            let mut word = || Word::from_bits(i64::from(source.next() as i32) << 21);
            for _ in 0..self.repeats * self.frames / usize::from(config.front_end.ratio) {
                let capacity = self.capacity();
                let mut frame: Vec<Phasor> =
                    (0..capacity).map(|_| Phasor { i: word(), q: word() }).collect();
                if chain.push(&mut frame[..channels], &mut waiting, true).is_some() {
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
}
