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
}

impl Stream {
    const fn number(self) -> u64 {
        match self {
            Self::Amplitude => 0,
            Self::Phase => 1,
            Self::Jitter => 2,
            Self::Motion => 3,
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

/// Noise whose power density is white above a corner and rises as 1/f below, sampled once a
/// chunk.
///
/// A sum of relaxation processes, three a decade from a millionth of the chunk rate to more than a
/// decade above the corner, where white noise has long taken over (an eighth of the chunk rate at most).
/// Power density of one with time constant tau and variance s^2,
/// one-sided: 4 s^2 tau/(1 + (2 pi f tau)^2); over equal steps of ln tau they add up to 1/f.
#[derive(Debug)]
pub struct OneOverF {
    gaussian: Gaussian,
    /// Decay per chunk, kick per chunk, state.
    poles: Vec<[f64; 3]>,
    white: f64,
    value: f64,
}

const POLES_PER_DECADE: f64 = 3.0;

impl OneOverF {
    /// `density` is the white part's, per sqrt(Hz); `white` off leaves only the 1/f part.
    #[must_use]
    pub fn new(
        gaussian: Gaussian,
        density: f64,
        corner_hz: f64,
        chunk_rate_hz: f64,
        white: bool,
    ) -> Self {
        let mut poles = Vec::new();
        if density > 0.0 && corner_hz > 0.0 {
            let lowest = chunk_rate_hz * 1e-6;
            let count =
                ((corner_hz.max(lowest) / lowest).log10() * POLES_PER_DECADE).ceil() as usize + 5;
            for k in 0..count {
                let corner = lowest * 10f64.powf(k as f64 / POLES_PER_DECADE);
                if corner > chunk_rate_hz / 8.0 {
                    break;
                }
                // S(f) = A/f with A = density^2 corner. Sum over poles spaced d ln f of
                // (2 s^2/pi) f_k/(f_k^2 + f^2) tends to s^2/(d f): s^2 = A d.
                let variance = density * density * corner_hz * (10f64.ln() / POLES_PER_DECADE);
                let decay = (-std::f64::consts::TAU * corner / chunk_rate_hz).exp();
                poles.push([decay, (variance * (1.0 - decay * decay)).sqrt(), 0.0]);
            }
        }
        let white = if white { density * (chunk_rate_hz / 2.0).sqrt() } else { 0.0 };
        let mut made = Self { gaussian, poles, white, value: 0.0 };
        // Start in the steady state, not from zero.
        for pole in &mut made.poles {
            let steady = pole[1] / (1.0 - pole[0] * pole[0]).sqrt();
            pole[2] = steady * made.gaussian.next();
        }
        made.value = made.draw();
        made
    }

    fn draw(&mut self) -> f64 {
        let mut sum = self.white * self.gaussian.next_if(self.white);
        for [decay, kick, state] in &mut self.poles {
            *state = *state * *decay + *kick * self.gaussian.next();
            sum += *state;
        }
        sum
    }

    /// Values at the start and end of the next chunk.
    pub fn chunk(&mut self) -> [f64; 2] {
        let start = self.value;
        self.value = if self.white == 0.0 && self.poles.is_empty() { 0.0 } else { self.draw() };
        [start, self.value]
    }
}
