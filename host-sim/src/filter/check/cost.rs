//! **Cost**: instructions and memory of a plan on a microcontroller, codes to phasors at the output
//! rate.

use crate::cycles::{Cpu, Instructions, Shape};
use crate::filter::subject::Subject;
use quietgap_core::front_end::folding;

/// What a plan's filters cost.
#[derive(Debug, Clone)]
pub struct Cost {
    /// Core.
    pub cpu: &'static Cpu,
    /// Whether the model was fitted to such plans: those of a 64-bit register.
    pub fitted: bool,
    /// Instructions per sample and channel: first decimation with what hands blocks and phasors on, FIR
    /// stages.
    pub parts: [f64; 2],
    /// Whole.
    pub instructions_per_sample: f64,
    /// Most instructions in one interval of the first decimation, that of an output, over their mean.
    pub worst_over_mean: f64,
    /// The same of intervals without an output.
    pub busiest_over_mean: f64,
    /// Bytes of sums and taps that the plan's size decides: front end, FIR sums, FIR taps.
    pub bytes: [usize; 3],
}

fn shape(subject: &Subject) -> Shape {
    let firs: Vec<_> = subject.plan.firs.iter().map(|f| (f.ratio, f.taps.len())).collect();
    let (front, bits) = (subject.front_end(), subject.code_bits);
    Shape::filters(subject.carrier, front, bits, subject.channels, &firs)
}

/// Instructions per sample and channel.
#[must_use]
pub fn instructions_per_sample(subject: &Subject, cpu: &Cpu) -> f64 {
    let shape = shape(subject);
    shape.instructions(cpu.coefficients).filters_per_sample(&shape)
}

impl Cost {
    /// Of a plan on a core.
    #[must_use]
    pub fn new(subject: &Subject, cpu: &'static Cpu) -> Self {
        let shape = shape(subject);
        let counts: Instructions = shape.instructions(cpu.coefficients);
        let samples = shape.ratio * shape.channels;
        let mean = counts.front_end + counts.firs + counts.join;
        let worst = counts.front_end + counts.firs_worst + counts.join;
        Self {
            cpu,
            fitted: shape.is_fitted(),
            parts: [counts.front_end + counts.join, counts.firs].map(|x| x / samples),
            instructions_per_sample: mean / samples,
            worst_over_mean: worst / mean,
            busiest_over_mean: counts.busiest() / mean,
            bytes: bytes(subject),
        }
    }
}

/// Sums of the columns (or of a section) and of the CIC, both components; open sums of the FIR stages,
/// 32 bytes each; taps, 4 bytes each, zeros among them where a stage's are no multiple of its ratio.
fn bytes(subject: &Subject) -> [usize; 3] {
    let (plan, channels) = (&subject.plan, subject.channels);
    let order = usize::from(plan.order);
    let register = plan.register_bits as usize / 8;
    let folded = folding(subject.carrier, subject.front_end(), subject.code_bits);
    let columns = folded.map_or(0, |f| f.columns as usize);
    // Running sums of each column in 32 bits; integrators and what earlier intervals leave.
    let front = channels * (columns * order * 4 + 2 * 3 * order * register);
    let open = |f: &crate::instrument::file::FirFile| f.taps.len().div_ceil(f.ratio.into());
    let sums = plan.firs.iter().map(|f| open(f) * channels * 32).sum();
    let taps = plan.firs.iter().map(|f| open(f) * usize::from(f.ratio) * 4).sum();
    [front, sums, taps]
}
