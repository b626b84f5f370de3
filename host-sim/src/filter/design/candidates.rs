//! **Candidates**: all ways to split the total ratio into a CIC and FIR stages, cheapest first by
//! estimated taps.

use crate::cycles::{Cpu, Shape};
use crate::filter::response::{Response, from_db};
use crate::filter::spec::{Method, Spec};
use crate::instrument::design::carrier_ratio;
use crate::instrument::file::{MaskFile, PathFile, PlanFile};
use crate::instrument::settings::core_carrier;
use quietgap_core::config::FrontEndConfig;
use quietgap_core::front_end::{folding, register_bits, section_length};

/// Most FIR stages that are tried.
const MOST_STAGES: usize = 4;

/// Largest ratio of a FIR stage, but for a total that has no smaller factors.
const LARGE_RATIO: u64 = 64;

/// Taps of a stage beyond which a candidate is left for last.
const MANY_TAPS: usize = 600;

/// Deviation from 1 that stages before the last may have in the pass band: the last corrects it.
pub const EARLY_RIPPLE: f64 = 0.02;

/// Ripple of the last stage: half of what the mask allows, as the sum of the taps, the gain at zero
/// frequency, is made 1 behind.
#[must_use]
pub fn last_ripple(mask: &MaskFile) -> f64 {
    (1.0 - from_db(-mask.pass_db)) / 2.0
}

/// One way to split the ratio.
#[derive(Debug, Clone)]
pub struct Candidate {
    /// Order and ratio of the CIC.
    pub order: u8,
    /// Ratio of the CIC.
    pub ratio: u16,
    /// Ratios of the FIR stages.
    pub firs: Vec<u64>,
    /// Estimated number of taps of each.
    pub taps: Vec<usize>,
    /// Instructions per sample and channel with so many.
    pub cost: f64,
    /// Delay with so many, s.
    pub delay_s: f64,
}

impl Candidate {
    /// Whether a stage has so many taps that they take long to work out; such are cheapest or fastest
    /// hardly ever.
    #[must_use]
    pub fn is_long(&self) -> bool {
        self.taps.iter().any(|taps| *taps > MANY_TAPS)
    }
}

/// Why there is none.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum NoCandidate {
    /// The total ratio has a factor that no stage can take.
    Factor(u64),
    /// The CIC leaks this much more than the mask allows, whatever order and ratio; decibels.
    Leak(f64),
    /// CICs that reject enough do not fit the register.
    Register,
    /// None folds, as the path asks; the nearest carrier that does.
    Carrier(f64),
}

/// All candidates, cheapest first.
///
/// # Errors
/// Why there is none.
pub fn all(spec: &Spec, interval: u64, cpu: &Cpu) -> Result<Vec<Candidate>, NoCandidate> {
    let mut found = Vec::new();
    let mut least_leak = f64::INFINITY;
    let mut any = false;
    let Some(carrier) = core_carrier(carrier_ratio(spec.carrier_hz, spec.rate_hz)) else {
        return Ok(found);
    };
    let ratios = (2..=4096u16).filter(|r| interval.is_multiple_of(u64::from(*r)));
    for ratio in ratios {
        let rest = interval / u64::from(ratio);
        let splits = splits(rest);
        any |= !splits.is_empty();
        for order in spec.orders.iter().copied() {
            let leak = cic_leak(spec, order, ratio);
            least_leak = least_leak.min(leak);
            let front = front_end(spec, order, ratio);
            if leak > 0.0 || !fits(spec, carrier, front) {
                continue;
            }
            let shape = Shape::filters(carrier, front, spec.code_bits, spec.channels.into(), &[]);
            for firs in &splits {
                found.push(estimate(spec, order, ratio, firs, &shape, cpu));
                if rest == 1 {
                    // A stage that corrects the droop and leaves the rate.
                    found.push(estimate(spec, order, ratio, &[1], &shape, cpu));
                }
            }
        }
    }
    if !any {
        return Err(NoCandidate::Factor(largest_factor(interval)));
    }
    if found.is_empty() {
        return Err(if least_leak > 0.0 {
            NoCandidate::Leak(least_leak)
        } else if spec.path == PathFile::Coherent {
            NoCandidate::Carrier(nearest_carrier(spec, interval))
        } else {
            NoCandidate::Register
        });
    }
    found.sort_by(|a, b| a.is_long().cmp(&b.is_long()).then(a.cost.total_cmp(&b.cost)));
    Ok(found)
}

fn front_end(spec: &Spec, order: u8, ratio: u16) -> FrontEndConfig {
    FrontEndConfig::from(&plan(spec, order, ratio))
}

/// A plan of the CIC alone.
pub fn plan(spec: &Spec, order: u8, ratio: u16) -> PlanFile {
    PlanFile {
        order,
        ratio,
        differential_delay: 1,
        path: spec.path,
        pruned_bits: spec.pruned_bits,
        rate_hz: Some(spec.rate_hz),
        output_rate_hz: Some(spec.output_rate_hz),
        carrier_hz: Some(spec.carrier_hz),
        code_bits: Some(spec.code_bits),
        channels: Some(spec.channels),
        register_bits: spec.register_bits,
        firs: Vec::new(),
        mask: Some(spec.mask.clone()),
        lines: spec.lines.clone(),
    }
}

/// Decibels by which the CIC leaks too much into the mask's band; it is on its own there, as all FIR
/// stages pass what folds onto their pass band at the CIC's output.
fn cic_leak(spec: &Spec, order: u8, ratio: u16) -> f64 {
    let response = Response::of(order, ratio, 1, Vec::new(), spec.rate_hz);
    // The last stage makes up for the droop, and lifts what folds onto the band as much.
    let into = spec.mask.alias_into_hz;
    let gain = (response.gain(1, -into) / response.gain(0, into)).abs();
    // A little is kept for the ripple of the stages behind.
    20.0 * gain.log10() + spec.mask.alias_db + 20.0 * (1.0 + 2.0 * EARLY_RIPPLE).log10()
}

/// Whether the CIC's words hold it, as the core checks.
fn fits(spec: &Spec, carrier: quietgap_core::CarrierRatio, front: FrontEndConfig) -> bool {
    let folded = folding(carrier, front, spec.code_bits);
    let bits = register_bits(front, spec.code_bits, folded);
    let coherent = front.path != quietgap_core::config::Path::Coherent || folded.is_some();
    coherent
        && bits <= spec.register_bits.min(127)
        && section_length(front, spec.code_bits, folded) > 0
}

/// The carrier next to the one asked for that repeats with a divisor of the total ratio.
fn nearest_carrier(spec: &Spec, interval: u64) -> f64 {
    let periods = (3..=64u64).filter(|p| interval.is_multiple_of(*p));
    let nearest = periods.map(|period| {
        let cycles = (spec.carrier_hz / spec.rate_hz * period as f64).round();
        cycles.clamp(1.0, ((period - 1) / 2) as f64) * spec.rate_hz / period as f64
    });
    let apart = |f: &f64| (f - spec.carrier_hz).abs();
    nearest.min_by(|a, b| apart(a).total_cmp(&apart(b))).unwrap_or(spec.rate_hz / 4.0)
}

/// All ordered factorisations into at most [`MOST_STAGES`] ratios.
fn splits(total: u64) -> Vec<Vec<u64>> {
    fn go(total: u64, most: u64, room: usize, so_far: &mut Vec<u64>, out: &mut Vec<Vec<u64>>) {
        if total == 1 {
            out.push(so_far.clone());
            return;
        }
        if room == 0 {
            return;
        }
        for ratio in (2..=most.min(total)).filter(|r| total.is_multiple_of(*r)) {
            so_far.push(ratio);
            go(total / ratio, most, room - 1, so_far, out);
            so_far.pop();
        }
    }
    let mut out = Vec::new();
    let most = largest_factor(total).max(LARGE_RATIO);
    if most <= 4096 {
        go(total, most, MOST_STAGES, &mut Vec::new(), &mut out);
    }
    out
}

/// Whether a total ratio can be split into stages of moderate ratios.
#[must_use]
pub fn splits_well(total: u64) -> bool {
    total >= 2 && largest_factor(total) <= LARGE_RATIO
}

/// Largest prime factor.
fn largest_factor(mut n: u64) -> u64 {
    let mut largest = 1;
    let mut factor = 2;
    while factor * factor <= n {
        while n.is_multiple_of(factor) {
            n /= factor;
            largest = factor;
        }
        factor += 1;
    }
    largest.max(n)
}

fn estimate(
    spec: &Spec,
    order: u8,
    ratio: u16,
    firs: &[u64],
    shape: &Shape,
    cpu: &Cpu,
) -> Candidate {
    let mut rate = spec.rate_hz / f64::from(ratio);
    let mut delay = f64::from(order) * (f64::from(ratio) - 1.0) / spec.rate_hz;
    let mut taps = Vec::new();
    for (n, stage) in firs.iter().enumerate() {
        let length = length(spec, rate, *stage, n + 1 == firs.len());
        // Taps of least phase answer about that much earlier.
        let early = n + 1 == firs.len() && spec.method == Method::LowDelay;
        delay += (length - 1) as f64 / rate * if early { 0.6 } else { 1.0 };
        rate /= *stage as f64;
        taps.push(length);
    }
    let stages = firs.iter().zip(&taps).map(|(r, t)| (*r as f64, *t as f64)).collect();
    let shape = shape.with_stages(stages);
    let cost = shape.instructions(cpu.coefficients).filters_per_sample(&shape);
    Candidate { order, ratio, firs: firs.to_vec(), taps, cost, delay_s: delay / 2.0 }
}

/// Taps that a stage will need: by Kaiser's formula (recalled) for one stop band, or by the zeros that
/// narrow stop bands take, whichever are fewer.
fn length(spec: &Spec, rate: f64, ratio: u64, last: bool) -> usize {
    let mask = &spec.mask;
    let output = rate / ratio as f64;
    if ratio == 1 {
        return 5;
    }
    let exchange = matches!(spec.method, Method::Equiripple | Method::LowDelay);
    let whole = if exchange { 1.9 } else { 1.0 };
    let ripple = if last { last_ripple(mask) * whole } else { EARLY_RIPPLE };
    let levels = -10.0 * (ripple * from_db(-mask.alias_db)).log10();
    let transition = (output - mask.alias_into_hz - mask.pass_hz) / rate;
    let one = (levels - 13.0).max(6.0) / (14.6 * transition);
    if last {
        // What folds beside the band is free: up to a fifth fewer.
        let free = (1.0 - 2.0 * mask.alias_into_hz / output).max(0.0);
        let free = if spec.method == Method::Equiripple { 0.15 * free } else { 0.0 };
        return (one * (1.0 - free)).ceil() as usize + 1;
    }
    // Each zero of every stop band takes 20 log10(2 output/into), a Chebyshev spread of them.
    let zeros = (mask.alias_db + 6.0) / (20.0 * (2.0 * output / mask.alias_into_hz).log10());
    let many = zeros * (ratio - 1) as f64;
    one.min(many).ceil() as usize + 1
}
