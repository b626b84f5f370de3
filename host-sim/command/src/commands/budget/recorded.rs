//! A record beside a budget.

use quietgap_sim::analysis::density::Detrend;
use quietgap_sim::analysis::log_spaced::{self, Weighing, Wish, pitches};
use quietgap_sim::analysis::series::Series;
use quietgap_sim::analysis::window::Window;
use quietgap_sim::budget::predict;
use quietgap_sim::error::{Error, Result};
use quietgap_sim::instrument::{AXES, Sensor};
use quietgap_sim::pendulum::Pendulum;
use quietgap_sim::pendulum::torque::torques;
use quietgap_sim::records::Source;
use std::path::Path;

/// A recorded density beside its prediction.
pub(in crate::commands) struct Recorded {
    pub axis: usize,
    pub frequency_hz: Vec<f64>,
    pub measured: Vec<f64>,
    pub interval: Vec<[f64; 2]>,
    pub predicted: Vec<f64>,
}

impl Recorded {
    /// What is left beyond the prediction where the whole interval lies above it.
    pub fn unexplained(&self) -> Vec<Option<f64>> {
        let each = self.measured.iter().zip(&self.interval).zip(&self.predicted);
        each.map(|((m, [low, _]), p)| (low > p).then(|| (m * m - p * p).max(0.0).sqrt())).collect()
    }
}

/// Every axis of a record, and the torque of the one that swings.
pub(super) fn beside(
    sensor: &Sensor,
    path: &Path,
    place: [f64; 6],
    confidence: f64,
) -> Result<(Vec<Recorded>, Option<Recorded>)> {
    let source = Source::open(path, None)?;
    let pendulum = Pendulum::new(&sensor.file);
    let (mut out, mut torque) = (Vec::new(), None);
    for (n, axis) in sensor.axes().iter().enumerate() {
        let name = AXES[*axis].1;
        let record = source.read(&[name], false, &|_| {})?;
        let series = record.series(0);
        let rate = record.rate_hz;
        if (rate / sensor.output_rate_hz() - 1.0).abs() > 1e-3 {
            let message = format!(
                "has {rate} rows a second, {} gives {}",
                sensor.file.name,
                sensor.output_rate_hz()
            );
            return Err(Error::in_file(path, None, message));
        }
        let longest = series.longest();
        if series.is_constant() || longest < 64 {
            let message =
                format!("column {name}: {longest} rows without a gap that change, allowed 64");
            return Err(Error::in_file(path, None, message));
        }
        let density = |series: &Series<'_>, predicted: &dyn Fn(&[f64]) -> Vec<f64>| {
            let window = Window::BLACKMAN_HARRIS;
            let (longest, lobe, overlap) = (series.longest(), window.lobe_bins(), window.overlap);
            let from_hz = lobe * rate / longest as f64;
            let wish = Wish { from_hz, to_hz: rate / 2.0, count: 200, averages: 50, overlap, lobe };
            let weighing = Weighing { window, overlap, detrend: Detrend::Line };
            let density = log_spaced::auto(series, &pitches(longest, rate, &wish), weighing);
            let frequency_hz: Vec<f64> = density.frequencies().collect();
            let predicted = predicted(&frequency_hz);
            let interval = density.amplitude_interval(confidence);
            Recorded { axis: n, measured: density.amplitude(), frequency_hz, interval, predicted }
        };
        out.push(density(&series, &|f| predict(sensor, f, place).total(n)));
        if let Some(p) = pendulum.as_ref().filter(|p| p.axis == *axis) {
            let c = p.coefficients();
            let (values, runs) = torques(&series, c);
            let series = Series { values: &values, runs, rate_hz: rate };
            torque = Some(density(&series, &|f| {
                let budget = predict(sensor, f, place);
                budget.torque(&budget.total(n)).expect("it has a pendulum")
            }));
        }
    }
    Ok((out, torque))
}
