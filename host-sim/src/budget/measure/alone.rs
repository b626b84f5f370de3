//! A sensor with one contributor alone.

use crate::budget::predict;
use crate::instrument::Sensor;
use crate::instrument::file::{EnvironmentFile, SensorFile};

/// A file without any noise.
pub(super) fn silent(file: &SensorFile) -> SensorFile {
    let mut silent = file.clone();
    let a = &mut silent.amplifier;
    (a.noise_v_per_rthz, a.noise_corner_hz, a.input_noise_v_per_rthz) = (0.0, 0.0, 0.0);
    (a.current_noise_a_per_rthz, a.feedback_ohm, a.bridge_loss_tangent) = (0.0, None, 0.0);
    let c = &mut silent.carrier;
    (c.amplitude_noise_per_rthz, c.phase_noise_rad_per_rthz) = (0.0, 0.0);
    silent.converter.jitter_s = 0.0;
    silent.environment = EnvironmentFile::default();
    silent.actuations.clear();
    if let Some(p) = &mut silent.pendulum {
        p.actuation_noise_per_rthz = 0.0;
    }
    silent
}

/// The sensor with one of [`CARRIER`] alone, `scale` times as large; `None` where the file has nothing of it.
/// Codes are shaken by a third of one, rms: without, the rounding of a steady carrier is no noise at all.
pub(super) fn only(sensor: &Sensor, name: &str, scale: f64) -> Option<Sensor> {
    let mut file = silent(&sensor.file);
    let code_v = 1.0 / sensor.design.codes_per_volt;
    file.amplifier.noise_v_per_rthz = SHAKEN * code_v / (sensor.rate_hz() / 2.0).sqrt();
    let from = &sensor.file;
    let (amplifier, carrier) = (&mut file.amplifier, &mut file.carrier);
    let (given, to) = match name {
        "amplifier noise" => (from.amplifier.noise_v_per_rthz, &mut amplifier.noise_v_per_rthz),
        "input voltage noise" => {
            (from.amplifier.input_noise_v_per_rthz, &mut amplifier.input_noise_v_per_rthz)
        }
        "input current noise" => {
            (from.amplifier.current_noise_a_per_rthz, &mut amplifier.current_noise_a_per_rthz)
        }
        "feedback resistor" => {
            let ohm = from.amplifier.feedback_ohm?;
            // Its noise is as the root of its conductance.
            amplifier.feedback_ohm = Some(ohm / (scale * scale));
            return Some(Sensor { file, ..sensor.clone() });
        }
        "loss of the bridge" => {
            amplifier.bridge_loss_tangent = from.amplifier.bridge_loss_tangent * scale * scale;
            return (from.amplifier.bridge_loss_tangent > 0.0)
                .then(|| Sensor { file, ..sensor.clone() });
        }
        "converter's rounding" => return Some(Sensor { file, ..sensor.clone() }),
        "carrier's amplitude noise" => {
            (from.carrier.amplitude_noise_per_rthz, &mut carrier.amplitude_noise_per_rthz)
        }
        "carrier's phase noise" => {
            (from.carrier.phase_noise_rad_per_rthz, &mut carrier.phase_noise_rad_per_rthz)
        }
        "clock jitter" => (from.converter.jitter_s, &mut file.converter.jitter_s),
        _ => return None,
    };
    *to = given * scale;
    (given > 0.0).then(|| Sensor { file, ..sensor.clone() })
}

/// Rms of what shakes the codes, in codes.
const SHAKEN: f64 = 0.35;

/// How many times a contributor is enlarged to stand clear of rounding and shaking, in the axis where it is
/// largest over them: ten times as high. One that is nothing there (a monitor takes it off) stays.
pub(super) fn enlarged(sensor: &Sensor, name: &str, place: [f64; 6]) -> f64 {
    let whole = only(sensor, name, 1.0)
        .map(|sensor| predict(&sensor, &[1e-2 * sensor.output_rate_hz()], place));
    let Some(budget) = whole else { return 1.0 };
    let Some(own) = budget.contributors.iter().find(|c| c.name == name) else { return 1.0 };
    let clear = (0..sensor.axes().len()).map(|n| {
        let own = own.density[n][0];
        own / (budget.total(n)[0].powi(2) - own * own).max(1e-300).sqrt()
    });
    let clear = clear.fold(0.0, f64::max);
    if clear > 1e-9 && name != "amplifier noise" { (10.0 / clear).max(1.0) } else { 1.0 }
}
