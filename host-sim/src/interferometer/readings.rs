//! **Readings** of a record of detectors, in one pass of flat memory.

use super::filter::{Filter, steps};
use super::geometry::Geometry;
use super::phase::{Unwrap, arctangent};
use super::track::Track;
use crate::error::Result;
use crate::instrument::file::InterferometerFile;
use crate::readout::capture::Capture;

/// Faults, and their names: bits of a reading's health.
pub const FAULTS: [(u8, &str); 5] = [
    (SATURATED, "saturated"),
    (WEAK, "contrast-weak"),
    (LOST, "fringe-lost"),
    (FAST, "too-fast"),
    (SETTLING, "settling"),
];
const SATURATED: u8 = 1;
const WEAK: u8 = 2;
const LOST: u8 = 4;
const FAST: u8 = 8;
const SETTLING: u8 = 16;

/// A reading.
#[derive(Debug, Clone, PartialEq)]
pub struct Row {
    /// Half frames since frame 0.
    pub half_frames: i64,
    /// Axes, m and rad, from where the mass was in frame 0.
    pub axes: Vec<f64>,
    /// Displacement of each beam.
    pub beams_m: Vec<f64>,
    /// Largest disagreement of a beam with the axes.
    pub residual_m: f64,
    /// Faults of any beam in any frame that the reading is made of.
    pub faults: u8,
}

impl Row {
    /// Names of the faults joined by `+`, or `ok`.
    #[must_use]
    pub fn health(&self) -> String {
        let names: Vec<&str> =
            FAULTS.iter().filter(|(bit, _)| self.faults & bit != 0).map(|(_, n)| *n).collect();
        if names.is_empty() { "ok".to_owned() } else { names.join("+") }
    }
}

/// What a beam's record shows beside its readings.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Seen {
    /// Least and largest distance from the centre over the ellipse's.
    pub least: f64,
    /// See [`Self::least`].
    pub largest: f64,
    /// Largest step from frame to frame, turns.
    pub step_turns: f64,
    /// Amplitudes of the periodic errors left at one and two periods a fringe, rad: of the distances' first and
    /// second harmonic over the phase, which an offset, a gain or a lack of quadrature leave in the phase alike.
    pub periodic_rad: [f64; 2],
    /// Change of the distance with the light's sum, both relative: intensity noise that is left. None where the
    /// light is so steady that it does not show.
    pub intensity: Option<f64>,
}

/// Sums that [`Seen`] is made of.
#[derive(Debug, Clone, Copy, Default)]
struct Sums {
    least: f64,
    largest: f64,
    step_turns: f64,
    count: f64,
    harmonics: [[f64; 2]; 2],
    /// Light, its square, distance, product of both.
    light: [f64; 4],
}

/// Frames of which one is looked at for [`Seen`]'s harmonics and light.
const LOOKED_AT: usize = 61;
/// Relative steadiness of the light below which nothing shows.
const STEADY: f64 = 1e-7;

/// One beam.
#[derive(Debug)]
struct Beam {
    channels: [usize; 4],
    track: Track,
    unwrap: Unwrap,
    first: Option<f64>,
    filter: Filter,
    sums: Sums,
    signals: Vec<[f64; 2]>,
    phases: Vec<f64>,
    out: Vec<f64>,
}

/// The whole of it.
#[derive(Debug)]
pub struct Readings {
    geometry: Geometry,
    beams: Vec<Beam>,
    half_range: f64,
    weak: f64,
    lost: f64,
    step_turns: f64,
    channels: usize,
    /// Frames that one knot serves.
    piece: usize,
    at: u64,
    /// Last frame with each fault.
    last: [Option<u64>; 4],
}

impl Readings {
    /// Of a checked section.
    ///
    /// # Panics
    /// On a section that was not checked.
    #[must_use]
    pub fn new(file: &InterferometerFile, tracks: Vec<Track>) -> Self {
        let geometry = Geometry::new(file).expect("a checked section");
        let steps = steps(file.rate_hz, file.output_rate_hz).expect("a checked section");
        let filter = Filter::new(steps);
        let beams = file.beams.iter().zip(tracks);
        let beams = beams.map(|(beam, track)| Beam {
            channels: beam.channels.map(usize::from),
            track,
            unwrap: Unwrap::default(),
            first: None,
            filter: filter.clone(),
            sums: Sums { least: f64::MAX, ..Sums::default() },
            signals: Vec::new(),
            phases: Vec::new(),
            out: Vec::new(),
        });
        Self {
            geometry,
            beams: beams.collect(),
            half_range: 2f64.powi(file.bits as i32 - 1),
            weak: file.limits.weak_fraction,
            lost: file.limits.lost_fraction,
            step_turns: file.limits.step_turns,
            channels: 4 * file.beams.len(),
            piece: ((0.02 * file.rate_hz) as usize).clamp(16, 4096),
            at: 0,
            last: [None; 4],
        }
    }

    /// Frames of settling, and half frames that a reading is behind its last frame.
    #[must_use]
    pub fn span(&self) -> u64 {
        self.beams[0].filter.span()
    }

    /// Takes frames of interleaved codes, hands on readings.
    pub fn push(&mut self, codes: &[i32], mut take: impl FnMut(Row)) {
        for piece in codes.chunks(self.piece * self.channels) {
            self.piece_of(piece, &mut take);
        }
    }

    fn piece_of(&mut self, codes: &[i32], take: &mut impl FnMut(Row)) {
        let count = codes.len() / self.channels;
        let (from, middle) = (self.at, self.at as f64 + count as f64 / 2.0);
        for beam in &mut self.beams {
            let knot = beam.track.at(middle);
            beam.balanced(codes, self.channels, knot.balance);
            // Distances from the centre, squared: limits are compared without a root.
            let [p, q] = knot.ellipse.centre;
            let [a, b, c] = knot.ellipse.correction();
            let (mut least, mut largest) = (f64::MAX, 0f64);
            beam.phases.clear();
            for [x, y] in &beam.signals {
                let (x, y) = (x - p, y - q);
                let (cosine, sine) = (a * x, b * x + c * y);
                let square = cosine * cosine + sine * sine;
                (least, largest) = (least.min(square), largest.max(square));
                beam.phases.push(arctangent(sine, cosine));
            }
            let sums = &mut beam.sums;
            (sums.least, sums.largest) =
                (sums.least.min(least.sqrt()), sums.largest.max(largest.sqrt()));
            let corrected = |[x, y]: [f64; 2]| [a * (x - p), b * (x - p) + c * (y - q)];
            // Rare: which frames they are is looked for only where there are any.
            for (limit, fault) in [(self.weak, 1), (self.lost, 2)] {
                if least < limit * limit || least.is_nan() {
                    let far = |s: &[f64; 2]| {
                        let [c, s] = corrected(*s);
                        let distance = c.hypot(s);
                        distance < limit || distance.is_nan()
                    };
                    let found = beam.signals.iter().rposition(far);
                    self.last[fault] = found.map(|n| from + n as u64).max(self.last[fault]);
                }
            }
            beam.look(codes, self.channels, knot.balance, corrected, from);
            let mut fastest = 0f64;
            for phase in &mut beam.phases {
                let [whole, step] = beam.unwrap.next(*phase);
                *phase = whole - *beam.first.get_or_insert(whole);
                fastest = fastest.max(step.abs());
            }
            beam.sums.step_turns = beam.sums.step_turns.max(fastest);
            if fastest > self.step_turns {
                // The frame itself is not needed: a piece is short.
                self.last[3] = Some(from + count as u64 - 1);
            }
            let Beam { filter, phases, out, .. } = beam;
            out.clear();
            filter.push(phases, |phase| out.push(phase));
        }
        let end = |code: &i32| {
            f64::from(*code) <= -self.half_range || f64::from(*code) >= self.half_range - 1.0
        };
        if let Some(n) = codes.iter().rposition(end) {
            self.last[0] = Some(from + (n / self.channels) as u64);
        }
        self.at += count as u64;
        let filter = &self.beams[0].filter;
        let (interval, span, delay) =
            (filter.interval(), filter.span(), filter.delay_half_frames());
        for (n, end) in (from / interval + 1..=self.at / interval).enumerate() {
            // Readings end with their interval's last frame.
            let last = end * interval - 1;
            let beams_m: Vec<f64> =
                self.beams.iter().map(|b| b.out[n] * self.geometry.metres_per_radian).collect();
            let (axes, residual_m) = self.geometry.solve(&beams_m);
            let oldest = (last + 1).saturating_sub(span);
            let mut faults = if last + 1 < span { SETTLING } else { 0 };
            for (bit, at) in [SATURATED, WEAK, LOST, FAST].into_iter().zip(self.last) {
                faults |= if at.is_some_and(|at| at >= oldest) { bit } else { 0 };
            }
            let half_frames = 2 * last as i64 - delay as i64;
            take(Row { half_frames, axes, beams_m, residual_m, faults });
        }
    }

    /// What each beam showed.
    #[must_use]
    pub fn seen(&self) -> Vec<Seen> {
        self.beams.iter().map(|beam| beam.sums.seen()).collect()
    }

    /// Runs a whole record from its first frame.
    ///
    /// # Errors
    /// A failing read, or what `take` refuses.
    pub fn run(
        &mut self,
        capture: &Capture,
        mut take: impl FnMut(Row) -> Result<()>,
        progress: &dyn Fn(u64),
    ) -> Result<()> {
        let mut failed = Ok(());
        capture.read(0, u64::MAX, |codes| {
            self.push(codes, |row| {
                if failed.is_ok() {
                    failed = take(row);
                }
            });
            progress(self.at);
        })?;
        failed
    }

    /// Frames taken.
    #[must_use]
    pub fn frames(&self) -> u64 {
        self.at
    }
}

impl Beam {
    /// Differences over sums of a piece.
    fn balanced(&mut self, codes: &[i32], channels: usize, [g, h]: [f64; 2]) {
        let [a, b, c, d] = self.channels;
        self.signals.clear();
        self.signals.extend(codes.chunks_exact(channels).map(|frame| {
            let [a, b, c, d] = [frame[a], frame[b], frame[c], frame[d]].map(f64::from);
            let (b, d) = (g * b, h * d);
            // As in `Knot::signals`.
            let over = 2.0 / (a + b + c + d);
            [(a - b) * over, (c - d) * over]
        }));
    }

    /// Sums over some frames of a piece.
    fn look(
        &mut self,
        codes: &[i32],
        channels: usize,
        [g, h]: [f64; 2],
        corrected: impl Fn([f64; 2]) -> [f64; 2],
        from: u64,
    ) {
        let first = (LOOKED_AT - from as usize % LOOKED_AT) % LOOKED_AT;
        for n in (first..self.signals.len()).step_by(LOOKED_AT) {
            let [c, s] = corrected(self.signals[n]);
            let distance = c.hypot(s);
            let (c, s) = (c / distance, s / distance);
            let frame = &codes[n * channels..];
            let [w, x, y, z] = self.channels.map(|k| f64::from(frame[k]));
            let light = w + g * x + y + h * z;
            let sums = &mut self.sums;
            sums.count += 1.0;
            for (sum, part) in sums.harmonics.iter_mut().zip([[c, s], [c * c - s * s, 2.0 * s * c]])
            {
                sum[0] += (distance - 1.0) * part[0];
                sum[1] += (distance - 1.0) * part[1];
            }
            // Moments about the first value would be exact; codes and their squares are whole numbers.
            for (sum, part) in
                sums.light.iter_mut().zip([light, light * light, distance, light * distance])
            {
                *sum += part;
            }
        }
    }
}

impl Sums {
    fn seen(&self) -> Seen {
        let n = self.count.max(1.0);
        let [light, square, distance, product] = self.light.map(|x| x / n);
        let spread = square - light * light;
        let slope = (product - light * distance) / spread * light / distance;
        Seen {
            least: self.least,
            largest: self.largest,
            step_turns: self.step_turns,
            periodic_rad: self.harmonics.map(|[c, s]| 2.0 * c.hypot(s) / n),
            intensity: (spread > (STEADY * light).powi(2)).then_some(slope),
        }
    }
}
