//! Mixer and CIC of the twin: y\[k\] = 2/(R M)^N sum_n h\[(k+1) R - 1 - n\] x\[n\] e^(-i 2 pi f_c n/f_s).

use crate::instrument::PlanFile;
use crate::instrument::design::CarrierRatio;

/// Direct convolution with the CIC's impulse response, outputs added up as samples come.
#[derive(Debug, Clone)]
pub struct FrontEnd {
    /// Impulse response, its sum 2 (amplitude, not half of it).
    response: Vec<f64>,
    ratio: usize,
    channels: usize,
    carrier: CarrierRatio,
    /// Cosine and sine of a whole period, where that is short.
    period: Vec<(f64, f64)>,
    sample: u64,
    /// Open outputs, oldest first: channels of (I, Q).
    open: Vec<Vec<[f64; 2]>>,
}

/// Impulse response of a CIC with unit gain at zero frequency: a boxcar of R M convolved with
/// itself N - 1 times, in integers as long as f64 holds them exactly.
#[must_use]
pub fn cic_response(order: u32, ratio: usize, differential_delay: usize) -> Vec<f64> {
    let width = ratio * differential_delay;
    let mut response = vec![1.0];
    for _ in 0..order {
        let mut next = vec![0.0; response.len() + width - 1];
        let mut sum = 0.0;
        for n in 0..next.len() {
            sum += response.get(n).copied().unwrap_or(0.0);
            if n >= width {
                sum -= response[n - width];
            }
            next[n] = sum / width as f64;
        }
        response = next;
    }
    response
}

impl FrontEnd {
    /// Twin of a plan's first decimation.
    #[must_use]
    pub fn new(plan: &PlanFile, carrier: CarrierRatio, channels: usize) -> Self {
        let (ratio, delay) = (usize::from(plan.ratio), usize::from(plan.differential_delay));
        let response: Vec<f64> =
            cic_response(plan.order.into(), ratio, delay).iter().map(|h| 2.0 * h).collect();
        let outputs = response.len().div_ceil(ratio);
        let short = if carrier.samples <= SHORT { carrier.samples } else { 0 };
        Self {
            response,
            ratio,
            channels,
            carrier,
            period: (0..short).map(|sample| turned(carrier, sample)).collect(),
            sample: 0,
            open: vec![vec![[0.0; 2]; channels]; outputs],
        }
    }

    /// Samples of the impulse response.
    #[must_use]
    pub fn length(&self) -> usize {
        self.response.len()
    }

    /// Takes whole frames; hands on the phasors of each finished output.
    pub fn push(&mut self, frames: &[i32], mut sink: impl FnMut(&[[f64; 2]])) {
        for frame in frames.chunks_exact(self.channels) {
            let (cosine, sine) = self.carrier_at(self.sample);
            let position = (self.sample % self.ratio as u64) as usize;
            for (s, open) in self.open.iter_mut().enumerate() {
                let Some(h) = self.response.get(self.ratio - 1 - position + s * self.ratio) else {
                    break;
                };
                let weight = [h * cosine, -h * sine];
                for (sum, code) in open.iter_mut().zip(frame) {
                    let x = f64::from(*code);
                    sum[0] += weight[0] * x;
                    sum[1] += weight[1] * x;
                }
            }
            self.sample += 1;
            if position + 1 == self.ratio {
                sink(&self.open[0]);
                self.open.rotate_left(1);
                self.open.last_mut().expect("at least one output").fill([0.0; 2]);
            }
        }
    }

    /// Cosine and sine at a sample.
    fn carrier_at(&self, sample: u64) -> (f64, f64) {
        match self.period.len() as u64 {
            0 => turned(self.carrier, sample),
            samples => self.period[(sample % samples) as usize],
        }
    }
}

/// Longest period, in samples, of a carrier whose cosines and sines are kept.
const SHORT: u64 = 1 << 12;

/// Cosine and sine at a sample: the phase is reduced to one turn in integers.
fn turned(carrier: CarrierRatio, sample: u64) -> (f64, f64) {
    let CarrierRatio { cycles, samples } = carrier;
    let within = (u128::from(sample) * u128::from(cycles) % u128::from(samples)) as f64;
    let (sine, cosine) = (std::f64::consts::TAU * (within / samples as f64)).sin_cos();
    (cosine, sine)
}
