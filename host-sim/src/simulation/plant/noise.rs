//! Random streams: one generator per source and channel, from one seed.

use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::SeedableRng;
use rand_distr::{Distribution, StandardNormal};

/// Names of the streams; a stream's numbers do not depend on which others are in use.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Stream {
    /// Carrier amplitude.
    Amplitude,
    /// Carrier phase.
    Phase,
    /// Sampling clock.
    Jitter,
    /// White noise of a channel's amplifier.
    White(usize),
    /// 1/f noise of a channel's amplifier.
    Flicker(usize),
    /// Motion of the demo scenario.
    Motion,
    /// 1/f part of the carrier's amplitude noise.
    AmplitudeFlicker,
    /// 1/f part of the carrier's phase noise.
    PhaseFlicker,
    /// What acts on the mass from outside, by number.
    Outside(u64),
}

impl Stream {
    const fn number(self) -> u64 {
        match self {
            Self::Amplitude => 0,
            Self::Phase => 1,
            Self::Jitter => 2,
            Self::Motion => 3,
            Self::AmplitudeFlicker => 4,
            Self::PhaseFlicker => 5,
            Self::Outside(n) => (1 << 32) + n,
            Self::White(c) => 16 + 2 * c as u64,
            Self::Flicker(c) => 17 + 2 * c as u64,
        }
    }
}

/// Standard normal numbers.
#[derive(Debug)]
pub struct Gaussian(ChaCha8Rng);

impl Gaussian {
    /// The stream's generator.
    #[must_use]
    pub fn new(seed: u64, stream: Stream) -> Self {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        rng.set_stream(stream.number());
        Self(rng)
    }

    /// Next number.
    #[expect(clippy::should_implement_trait, reason = "endless, never None")]
    pub fn next(&mut self) -> f64 {
        StandardNormal.sample(&mut self.0)
    }

    /// Next number, or zero without drawing when its weight is zero.
    #[inline]
    pub fn next_if(&mut self, weight: f64) -> f64 {
        if weight == 0.0 { 0.0 } else { self.next() }
    }
}

/// The 1/f part of a noise, sampled once a chunk: power density is that of the white part at the corner,
/// and falls as 1/f.
///
/// A sum of relaxation processes, three a decade from [`LOWEST_HZ`], whatever the rate, to more than a
/// decade above the corner, where white noise has long taken over (an eighth of the chunk rate at most).
/// Power density of one with time constant tau and variance s^2, one-sided: 4 s^2 tau/(1 + (2 pi f tau)^2);
/// over equal steps of ln tau they add up to 1/f. Below [`LOWEST_HZ`] the density is flat.
#[derive(Debug)]
pub struct OneOverF {
    gaussian: Gaussian,
    /// Slowest first.
    poles: Vec<Pole>,
    /// Those whose steps are long, as one.
    slow: Slow,
    value: f64,
}

/// Sum of the first poles, which is straight while each of them is.
#[derive(Debug, Default)]
struct Slow {
    poles: usize,
    from: f64,
    /// A chunk.
    rise: f64,
    /// Chunks since `from`, and where the first of the poles has its step behind it.
    at: u32,
    end: u32,
}

/// Chunks of a step from which on a pole is one of the slow ones.
const LONG: u32 = 8;

/// Where the law ends: a period of eleven days.
pub const LOWEST_HZ: f64 = 1e-6;
const POLES_PER_DECADE: f64 = 3.0;

/// A relaxation process, stepped as often as it needs and taken as straight between.
#[derive(Debug)]
struct Pole {
    /// Per step.
    decay: f64,
    kick: f64,
    /// Chunks a step, and into this one.
    step: u32,
    at: u32,
    from: f64,
    to: f64,
    /// A chunk.
    rise: f64,
}

impl Pole {
    /// Straight on to another value.
    fn head_for(&mut self, to: f64) {
        (self.at, self.from, self.to) = (0, self.to, to);
        self.rise = (to - self.from) / f64::from(self.step);
    }

    /// Some chunks on, at most to the step's end, where the next one begins.
    fn on(&mut self, chunks: u32, gaussian: &mut Gaussian) {
        self.at += chunks;
        if self.at == self.step {
            self.head_for(self.to * self.decay + self.kick * gaussian.next());
        }
    }
}

impl OneOverF {
    /// `density` is the white part's, per sqrt(Hz).
    #[must_use]
    pub fn new(mut gaussian: Gaussian, density: f64, corner_hz: f64, chunk_rate_hz: f64) -> Self {
        let mut poles = Vec::new();
        if density > 0.0 && corner_hz > LOWEST_HZ {
            let count = ((corner_hz / LOWEST_HZ).log10() * POLES_PER_DECADE).ceil() as u32 + 5;
            // S(f) = A/f with A = density^2 corner. Sum over poles spaced d ln f of
            // (2 s^2/pi) f_k/(f_k^2 + f^2) tends to s^2/(d f): s^2 = A d.
            let variance = density * density * corner_hz * (10f64.ln() / POLES_PER_DECADE);
            for k in 0..count {
                let pole_hz = LOWEST_HZ * 10f64.powf(f64::from(k) / POLES_PER_DECADE);
                if pole_hz > chunk_rate_hz / 8.0 {
                    break;
                }
                // A step of a hundredth of the time constant: straight lines between lose 1e-4 of
                // the power at the pole.
                let constant = chunk_rate_hz / (std::f64::consts::TAU * pole_hz);
                let step = (constant / 100.0).clamp(1.0, 1e9) as u32;
                let decay = (-f64::from(step) / constant).exp();
                let kick = (variance * (1.0 - decay * decay)).sqrt();
                // Start in the steady state, not from zero.
                let from = variance.sqrt() * gaussian.next();
                let mut pole = Pole { decay, kick, step, at: 0, from, to: from, rise: 0.0 };
                pole.head_for(from * decay + kick * gaussian.next());
                poles.push(pole);
            }
        }
        let value = poles.iter().map(|pole| pole.from).sum();
        let slow = poles.iter().take_while(|pole| pole.step >= LONG).count();
        let mut law =
            Self { gaussian, poles, slow: Slow { poles: slow, ..Slow::default() }, value };
        law.turn();
        law
    }

    /// Slow poles whose step ends head for their next value, and all of them are summed anew.
    fn turn(&mut self) {
        let Slow { poles, at, .. } = self.slow;
        self.slow = Slow { poles, end: u32::MAX, ..Slow::default() };
        for pole in &mut self.poles[..poles] {
            pole.on(at, &mut self.gaussian);
            self.slow.from += pole.from + pole.rise * f64::from(pole.at);
            self.slow.rise += pole.rise;
            self.slow.end = self.slow.end.min(pole.step - pole.at);
        }
    }

    /// Value at the end of the last chunk.
    #[must_use]
    pub fn value(&self) -> f64 {
        self.value
    }

    /// Values at the start and end of the next chunk.
    pub fn chunk(&mut self) -> [f64; 2] {
        let start = self.value;
        self.slow.at += 1;
        if self.slow.at == self.slow.end {
            self.turn();
        }
        self.value = self.slow.from + self.slow.rise * f64::from(self.slow.at);
        for pole in &mut self.poles[self.slow.poles..] {
            pole.on(1, &mut self.gaussian);
            self.value += pole.from + pole.rise * f64::from(pole.at);
        }
        [start, self.value]
    }
}
