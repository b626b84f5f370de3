//! **The budget simulated**: each contributor by itself, and all together, through the plant and the core, beside
//! its prediction.
//!
//! What the readout adds goes through the whole chain, from samples on; torques and temperature through the
//! phasor level, whose readings are the core's as well. A contributor is alone where all other noises of the
//! sensor file are nothing; the prediction is that of the same file, so that the converter's rounding, which
//! cannot be left out, is in both.

mod alone;
mod trial;

use super::{Budget, Contributor, predict};
use crate::analysis::density::{Density, Detrend};
use crate::analysis::series::Series;
use crate::analysis::welch::{self, Cut};
use crate::analysis::window::Window;
use crate::error::{Error, Result};
use crate::instrument::Sensor;
use crate::instrument::file::{EnvironmentFile, SensorFile};
use crate::pendulum::Pendulum;
use crate::pendulum::torque::torques;
use crate::readout::chain::Chain;
use crate::readout::readings::Row;
use crate::readout::run::{Source, feed, settling};
use crate::simulation::motion::Motion;
use crate::simulation::phasor::outside::Disturbances;
use crate::simulation::phasor::swing::{Mover, Swinging};
use crate::simulation::phasor::{Simulation, step_hz};
use crate::simulation::plant::{Parts, Plant};
use alone::{enlarged, only, silent};
use trial::trial;

pub use trial::Trial;

/// How long to simulate, and how sure to be.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Trials {
    /// Seconds through the whole chain.
    pub carrier_s: f64,
    /// Seconds at the phasor level.
    pub phasor_s: f64,
    /// Probability that a true prediction is within its interval.
    pub confidence: f64,
    /// Of all random streams.
    pub seed: u64,
}

/// Contributors through the whole chain, by what is left in the file.
const CARRIER: [&str; 9] = [
    "amplifier noise",
    "input voltage noise",
    "input current noise",
    "feedback resistor",
    "loss of the bridge",
    "converter's rounding",
    "carrier's amplitude noise",
    "carrier's phase noise",
    "clock jitter",
];

/// Simulates every contributor that the file has, and all together. `plant` is the sensor as the plant has it:
/// the same, unless something is to be found out about the prediction.
///
/// # Errors
/// What the core refuses.
pub fn run(
    sensor: &Sensor,
    plant: &Sensor,
    place: [f64; 6],
    trials: &Trials,
    progress: &dyn Fn(f64),
) -> Result<Vec<Trial>> {
    let mut out = Vec::new();
    let steps = CARRIER.len() as f64 + 8.0;
    for (n, name) in CARRIER.iter().enumerate() {
        progress(n as f64 / steps);
        let scale = enlarged(sensor, name, place);
        let both = (only(sensor, name, scale), only(plant, name, scale));
        let (Some(predicted), Some(simulated)) = both else { continue };
        out.extend(readout(name, &predicted, &simulated, place, trials)?);
    }
    if Pendulum::new(&sensor.file).is_some() {
        for (n, name) in Disturbances::NAMES.iter().enumerate() {
            // Neither is noise.
            if ["creep", "drives"].contains(name) {
                continue;
            }
            progress((CARRIER.len() + n) as f64 / steps);
            out.extend(outside(name, sensor, plant, place, trials)?);
        }
    }
    let quiet_mass = |sensor: &Sensor| Sensor {
        file: SensorFile { environment: EnvironmentFile::default(), ..sensor.file.clone() },
        ..sensor.clone()
    };
    out.extend(readout("all together", &quiet_mass(sensor), &quiet_mass(plant), place, trials)?);
    progress(1.0);
    // So many trials would miss by chance one time in each: the confidence is for all of them together.
    let each = 1.0 - (1.0 - trials.confidence) / out.len().max(1) as f64;
    for trial in &mut out {
        trial.judge(each);
    }
    Ok(out)
}

/// How many times the thermal torque a torque is simulated as.
const FORCED: f64 = 1e3;

/// Through the whole chain, the mass held at its place.
fn readout(
    name: &str,
    predicted: &Sensor,
    simulated: &Sensor,
    place: [f64; 6],
    trials: &Trials,
) -> Result<Vec<Trial>> {
    let rows = held(simulated, place, trials)?;
    let rate = simulated.output_rate_hz();
    let axes = simulated.axes().len();
    let mut out = Vec::new();
    for n in 0..axes {
        let values: Vec<f64> = rows.iter().map(|row| row.axes[n]).collect();
        let length = (values.len() / 8).max(16);
        let cut = Cut::halves(length, Window::HANN, Detrend::Line);
        let Some(density) = welch::auto(&Series::whole(&values, rate), cut) else { continue };
        let to_hz = simulated.plan.mask.as_ref().map_or(0.3 * rate, |mask| mask.pass_hz);
        // Below the third bin the line's removal takes power.
        let from_hz = 3.0 * rate / length as f64;
        let frequency: Vec<f64> = density.frequencies().collect();
        let budget = of_readout(predict(predicted, &frequency, place));
        let (column, _) = Budget::axis(simulated, n);
        out.extend(trial(name, column, &density, &budget.total(n), [from_hz, to_hz]));
    }
    Ok(out)
}

/// Without the torques: the mass is held.
fn of_readout(mut budget: Budget) -> Budget {
    budget.contributors.retain(|c| c.enters == super::Enters::Readout);
    budget
}

/// Settled readings of a mass that is held.
fn held(sensor: &Sensor, place: [f64; 6], trials: &Trials) -> Result<Vec<Row>> {
    let frames = (trials.carrier_s * sensor.rate_hz()) as u64;
    let motion = Motion::new(vec![0.0, 1e9], place.map(|x| Some(vec![x, x])))?;
    // Nothing of the file is switched off: it has no more than what it is to have.
    let plant = Plant::new(sensor, motion, Parts::ALL, trials.seed);
    let mut chain = Chain::new(&sensor.settings).map_err(|e| Error::new(e.to_string()))?;
    let mut rows = Vec::new();
    feed(
        Source::Plant(Box::new(plant), frames),
        sensor.channels(),
        |block| {
            chain.push(block, |reading| {
                let row = Row::of(reading);
                if !settling(&row) {
                    rows.push(row);
                }
            });
        },
        |_| {},
    )?;
    Ok(rows)
}

/// One of the disturbances at the phasor level, as torque, or as an angle where it only looks like motion.
fn outside(
    name: &str,
    sensor: &Sensor,
    plant: &Sensor,
    place: [f64; 6],
    trials: &Trials,
) -> Result<Vec<Trial>> {
    let prepared = |sensor: &Sensor, scale: f64| {
        let mut file = silent(&sensor.file);
        let e = &sensor.file.environment;
        let to = &mut file.environment;
        match name {
            "temperature" => {
                to.temperature_k_per_rthz = e.temperature_k_per_rthz * scale;
                to.temperature_corner_hz = e.temperature_corner_hz;
                to.expansion_m_per_k = e.expansion_m_per_k;
                to.gain_per_k = e.gain_per_k;
                to.stiffness_per_k = e.stiffness_per_k;
                to.torque_n_m_per_k = e.torque_n_m_per_k;
            }
            "intensity" => {
                to.intensity_per_rthz = e.intensity_per_rthz * scale;
                to.intensity_corner_hz = e.intensity_corner_hz;
                to.torque_n_m_per_intensity = e.torque_n_m_per_intensity;
            }
            "ground" => {
                to.tilt_rad_per_rthz = e.tilt_rad_per_rthz * scale;
                to.tilt_corner_hz = e.tilt_corner_hz;
                to.tilt_coupling = e.tilt_coupling;
            }
            "charge" => {
                to.charge_c = e.charge_c;
                to.stray_voltage_v_per_rthz = e.stray_voltage_v_per_rthz * scale;
            }
            _ => {}
        }
        if let (Some(to), Some(from)) = (&mut file.pendulum, &sensor.file.pendulum) {
            match name {
                "actuation-noise" => {
                    to.actuation_noise_per_rthz = from.actuation_noise_per_rthz * scale;
                }
                // Its noise is as the root of the temperature.
                "thermal" => to.temperature_k *= scale * scale,
                _ => {}
            }
        }
        Sensor { file, ..sensor.clone() }
    };
    let Some(p) = Pendulum::new(&plant.file) else { return Ok(Vec::new()) };
    let is_named = |c: &Contributor| match name {
        "thermal" => c.name.starts_with("thermal"),
        "actuation-noise" => c.name.starts_with("actuation"),
        "temperature" => c.name.starts_with("temperature"),
        "ground" => c.name.starts_with("tilt"),
        "intensity" => c.name.starts_with("laser"),
        _ => c.name.starts_with("charge"),
    };
    let n = sensor.axes().iter().position(|a| *a == p.axis).expect("a swinging axis is read");
    // As large as to stand clear of the reading's own noise: a thousand times the thermal torque.
    let f0 = 2.0 / p.period_s();
    let as_it_is = predict(&prepared(sensor, 1.0), &[f0], place);
    let own: f64 =
        as_it_is.contributors.iter().filter(|c| is_named(c)).map(|c| c.density[n][0].powi(2)).sum();
    let own = own.sqrt() * p.stiffness_at(f0).norm();
    if own == 0.0 {
        return Ok(Vec::new());
    }
    let scale = FORCED * p.fibre_noise(f0) / own;
    let (predicted, simulated) = (prepared(sensor, scale), prepared(plant, scale));
    let mut disturbances = Disturbances::NONE;
    *disturbances.switch(name).expect("one of the names") = true;
    let rest = place[p.axis];
    let swing =
        Swinging::new(&simulated, [0.0, rest], disturbances, step_hz(&simulated), trials.seed);
    let Some(swing) = swing else { return Ok(Vec::new()) };
    let mut simulation = Simulation::new(
        &simulated,
        Mover::Swing(Box::new(swing)),
        Parts::ALL.quiet(),
        trials.seed,
    )?;
    let rate = simulated.output_rate_hz();
    let count = (trials.phasor_s * rate) as usize;
    let angle: Vec<f64> = (0..count).map(|_| simulation.reading().0.axes[n]).collect();
    let c = p.coefficients();
    let series = Series::whole(&angle, rate);
    let (torque, runs) = torques(&series, c);
    let torque = Series { values: &torque, runs, rate_hz: rate };
    let length = (count / 8).max(64);
    // A window whose side lobes keep what is below the resonance out of what is above.
    let cut =
        Cut { length, hop: length / 3, window: Window::BLACKMAN_HARRIS, detrend: Detrend::Line };
    let Some(density) = welch::auto(&torque, cut) else { return Ok(Vec::new()) };
    let density = apart(density, 1.0 / p.period_s(), 6.0 * rate / length as f64);
    let frequency: Vec<f64> = density.frequencies().collect();
    let mut budget = predict(&predicted, &frequency, place);
    // `thermal` is switched in the simulation, not in the file.
    budget.contributors.retain(|c| is_named(c) || !c.name.starts_with("thermal"));
    let total = budget.torque(&budget.total(n)).expect("a pendulum");
    // From the eighth bin on, as the window smears what rises steeply, and to where differences of five values
    // are right to a thousandth.
    let from_hz = 8.0 * rate / length as f64;
    let to_hz = (20.0 / p.period_s()).min(0.03 * rate).max(4.0 * from_hz);
    Ok(trial(name, "torque_n_m", &density, &total, [from_hz, to_hz]).into_iter().collect())
}

/// A density without what is near a frequency: at the resonance, what only looks like motion is no torque, and a
/// window smears what lies beside it into the gap.
fn apart(density: Density, from_hz: f64, within_hz: f64) -> Density {
    let far = |f: f64| (f - from_hz).abs() > within_hz;
    let kept = density.bins.iter().zip(&density.power).filter(|(bin, _)| far(bin.frequency_hz));
    let (bins, power) = kept.map(|(bin, power)| (*bin, *power)).unzip();
    Density { bins, power, window: density.window }
}
