//! What a record tells of a drive, and what the sensor file says beside it.

use super::{Charge, Found, Options, Response, SEEN};
use num_complex::Complex64;
use quietgap_sim::attribution::together::Together;
use quietgap_sim::budget::predict;
use quietgap_sim::error::{Error, Result};
use quietgap_sim::instrument::{AXES, Sensor};
use quietgap_sim::modulation::lines::{APART_BINS, Line, Rows, fit, shortest};
use quietgap_sim::modulation::parts::{parts, repeated};
use quietgap_sim::pendulum::Pendulum;
use quietgap_sim::pendulum::pull::Pull;
use quietgap_sim::records::{LeftOut, unit};
use std::f64::consts::{FRAC_PI_2, TAU};

impl Found {
    pub(super) fn new(
        options: &Options,
        together: &Together,
        reading: String,
        frequencies_hz: Vec<f64>,
        (places, others): (&[(f64, usize, f64)], &[f64]),
    ) -> Result<Self> {
        let wanted: Vec<f64> = places.iter().map(|p| p.0).chain(others.iter().copied()).collect();
        let rows = |values| Rows {
            values,
            times_s: &together.times_s,
            runs: &together.runs,
            rate_hz: together.rate_hz,
        };
        let lines = fit(&rows(&together.reading), &wanted).ok_or_else(|| {
            let longest = together.runs.iter().map(std::ops::Range::len).max().unwrap_or(0);
            Error::new(format!(
                "the longest stretch that counts is {:.0} s: allowed {:.0} s, in which lines stand {APART_BINS} bins from each \
                 other and half of that from zero",
                longest as f64 / together.rate_hz,
                shortest(&wanted, together.rate_hz) as f64 / together.rate_hz
            ))
        })?;
        // sin is a cosine a quarter of a turn later.
        let sine = |t: &f64| {
            let turn = |f: &f64| options.amplitude * (TAU * f * t + options.phase_rad).sin();
            frequencies_hz.iter().map(turn).sum::<f64>()
        };
        let (drive, drive_name, drive_unit) = match together.channels.first() {
            Some(channel) => (channel.values.clone(), channel.name.clone(), channel.unit.clone()),
            None => (
                together.times_s.iter().map(sine).collect(),
                "a sine".to_owned(),
                options.unit.clone(),
            ),
        };
        let own = fit(&rows(&drive), &wanted).unwrap_or_default();
        let square: Vec<f64> = drive.iter().map(|x| x * x).collect();
        let of_square = fit(&rows(&square), &wanted).unwrap_or_default();
        let parts = parts(&rows(&together.reading), &wanted);
        let largest = |lines: &[Line]| lines.iter().map(|l| l.amplitude.norm()).fold(0.0, f64::max);
        let over = |line: &Line, by: &[Line], n: usize| -> Option<(Complex64, f64)> {
            let drive = by.get(n)?;
            let size = drive.amplitude.norm();
            let seen = size > SEEN[0] * drive.uncertainty && size > SEEN[1] * largest(by);
            let ratio = line.amplitude / drive.amplitude;
            let sure = (line.uncertainty / size).hypot(ratio.norm() * drive.uncertainty / size);
            seen.then_some((ratio, sure))
        };
        let responses = lines.iter().zip(places).enumerate();
        let responses = responses
            .map(|(n, (line, (_, harmonic, sideband_hz)))| {
                let linear = over(line, &own, n);
                // A square's line at an odd multiple of the drive is the drive's offset: it is told by the first.
                let squared = over(line, &of_square, n).filter(|_| harmonic % 2 == 0);
                let by = match (&linear, &squared) {
                    (Some(_), _) => own[n].amplitude,
                    (None, Some(_)) => of_square[n].amplitude,
                    (None, None) => Complex64::new(1.0, 0.0),
                };
                Response {
                    line: *line,
                    harmonic: *harmonic,
                    sideband_hz: *sideband_hz,
                    linear,
                    squared,
                    repeated: repeated(&parts, |part| part.lines[n].amplitude / by),
                    predicted: None,
                }
            })
            .collect();
        Ok(Self {
            unit: unit(&reading),
            reading,
            drive: drive_name,
            drive_unit,
            seconds: together.seconds(),
            cycles: together.seconds() * frequencies_hz[0],
            frequencies_hz,
            found_frequency: false,
            parts,
            responses,
            charge: None,
            warnings: Vec::new(),
            marks: Vec::new(),
            left_out: LeftOut::default(),
            confidence: options.outputs.confidence,
        })
    }

    /// What the sensor's budget and geometry say beside it.
    pub(super) fn compare(&mut self, sensor: &Sensor) {
        let Some(p) = Pendulum::new(&sensor.file) else { return };
        let torque = self.reading == "torque_n_m";
        if !torque && self.reading != AXES[p.axis].1 {
            return;
        }
        let frequencies: Vec<f64> = self.responses.iter().map(|r| r.line.frequency_hz).collect();
        let budget = predict(sensor, &frequencies, [0.0; 6]);
        if let Some(n) = budget.swings {
            let angle = budget.total(n);
            let told = if torque { budget.torque(&angle).unwrap_or(angle) } else { angle };
            for (response, told) in self.responses.iter_mut().zip(told) {
                response.predicted = Some(told);
            }
        }
        let first = self.responses.iter().find(|r| r.harmonic == 1 && r.sideband_hz == 0.0);
        let Some((first, (value, sure))) = first.and_then(|r| Some((r, r.linear?))) else { return };
        let pull = Pull::new(&sensor.file, p.axis, sensor.design.total_f);
        if torque && self.drive_unit == "V" && pull.slope != 0.0 {
            let per = pull.charge(1.0).abs();
            self.charge = Some(Charge {
                coulomb: pull.charge(value.re),
                uncertainty: per * sure,
                degrees: first.line.degrees,
                rate: first
                    .repeated
                    .and_then(|r| r.rate)
                    .map(|rate| [pull.charge(rate.value), per * rate.uncertainty]),
                per_stray_volt: pull.charge(pull.per_volt(1.0, 0.0)),
            });
        }
    }

    pub(super) fn warn(&mut self) {
        for r in &self.responses {
            let f = r.line.frequency_hz;
            let Some(repeated) = &r.repeated else { continue };
            let sure = r.linear.or(r.squared).map_or(r.line.uncertainty, |(_, sure)| sure);
            let scatter = repeated.uncertainty[0].max(repeated.uncertainty[1]);
            if scatter > 2.0 * sure {
                self.warnings.push(format!(
                    "{f:.4e} Hz: cycles scatter {:.1} times as much as the noise beside the line would have it: the response changes",
                    scatter / sure
                ));
            }
            if repeated.first_off > 5.0 {
                self.warnings.push(format!(
                    "{f:.4e} Hz: the first cycles are {:.1} standard deviations from the others: not settled; --from leaves them out",
                    repeated.first_off
                ));
            }
            if let Some((value, sure)) = r.linear.or(r.squared) {
                let turned = value.arg().abs().min((value.arg().abs() - 2.0 * FRAC_PI_2).abs());
                if turned > 0.05 && value.im.abs() > 5.0 * sure {
                    self.warnings.push(format!(
                        "{f:.4e} Hz: the response is turned by {:.3} rad: part of it follows late, and the part in phase is not all",
                        value.arg()
                    ));
                }
            }
        }
        if self.parts.is_empty() {
            self.warnings.push(
                "too few cycles to fit them part by part: nothing is told of how they repeat"
                    .to_owned(),
            );
        }
    }
}
