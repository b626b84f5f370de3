//! **f64 twin** of the chain, stage by stage, written from the equations of
//! `docs/signal-flow.md` and not from the fixed-point code. Good to 1e-13 of full scale.
//!
//! It takes the same codes and gives the same readings at the same instants; what differs
//! is the core's own error.

pub mod bridge;
pub mod fir;
pub mod front_end;
pub mod housing;

use crate::instrument::Sensor;
use crate::readout::readings::Row;
use fir::Fir;
use front_end::FrontEnd;
use housing::Housing;
use quietgap_core::Health;

/// The whole twin.
#[derive(Debug, Clone)]
pub struct Twin {
    sensor: Sensor,
    housing: Housing,
    front_end: FrontEnd,
    firs: Vec<Fir>,
    span: u64,
    /// Half samples from what a reading stands for to its last sample.
    delay: u64,
    interval: u64,
    next: u64,
}

impl Twin {
    /// Twin of a sensor's chain.
    #[must_use]
    pub fn new(sensor: &Sensor) -> Self {
        let plan = &sensor.plan;
        let front_end = FrontEnd::new(plan, sensor.design.carrier, sensor.channels());
        let mut span = front_end.length() as u64;
        // Half samples: the CIC's response is its own mirror.
        let mut delay = span - 1;
        let mut interval = u64::from(plan.ratio);
        let mut firs = Vec::new();
        for fir in &plan.firs {
            let spacing = interval;
            span += (fir.taps.len() as u64 - 1) * spacing;
            interval *= u64::from(fir.ratio);
            let fir = Fir::new(fir, sensor.channels());
            delay += (2.0 * fir.delay() * spacing as f64).round_ties_even() as u64;
            firs.push(fir);
        }
        let housing = Housing::new(sensor);
        Self { sensor: sensor.clone(), housing, front_end, firs, span, delay, interval, next: 0 }
    }

    /// Takes whole frames of interleaved codes, hands on finished readings. Settling is flagged
    /// as the core does; other faults are the core's to find.
    pub fn push(&mut self, frames: &[i32], mut sink: impl FnMut(&Row)) {
        let Self { sensor, housing, front_end, firs, span, delay, interval, next } = self;
        front_end.push(frames, |phasors| {
            let mut phasors = phasors.to_vec();
            for fir in firs.iter_mut() {
                match fir.push(&phasors) {
                    Some(out) => phasors = out,
                    None => return,
                }
            }
            let last = (*next + 1) * *interval - 1;
            *next += 1;
            let half_samples = 2 * last as i64 - *delay as i64;
            let settling = last + 1 < *span;
            let mut row = bridge::read(sensor, housing, &phasors);
            row.half_samples = half_samples;
            row.health = Health::when(Health::SETTLING, settling);
            sink(&row);
        });
    }
}
