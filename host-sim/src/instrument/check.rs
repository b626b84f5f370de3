//! What a sensor or plan file may not say: each refusal names file, line, key, value, range.

use super::AXES;
use super::file::{KindFile, Role, SensorFile};
use crate::error::{Error, Result, line_of, nearest};
use std::path::Path;
use toml::de::{DeTable, DeValue};

/// A file's text, to find the line of a key.
#[derive(Debug)]
pub struct Source<'a> {
    /// Path for messages.
    pub path: &'a Path,
    /// Whole text.
    pub text: &'a str,
}

impl Source<'_> {
    /// An error at a key; path elements that are numbers index an array of tables.
    #[must_use]
    pub fn fault(&self, keys: &[&str], message: impl std::fmt::Display) -> Error {
        let name = keys.iter().fold(String::new(), |name, key| match key.parse::<usize>() {
            Ok(n) => format!("{name}[{}]", n + 1),
            Err(_) if name.is_empty() => (*key).to_owned(),
            Err(_) => format!("{name}.{key}"),
        });
        Error::in_file(self.path, self.line(keys), format!("{name}: {message}"))
    }

    /// Line of the deepest part of the key path that exists.
    fn line(&self, keys: &[&str]) -> Option<usize> {
        let table = DeTable::parse(self.text).ok()?;
        let mut at = None;
        let mut value = DeValue::Table(table.into_inner());
        for key in keys {
            let next = match &value {
                DeValue::Table(table) => {
                    table.iter().find(|(k, _)| k.get_ref().as_ref() == *key).map(|(_, v)| v)
                }
                DeValue::Array(array) => key.parse::<usize>().ok().and_then(|n| array.get(n)),
                _ => None,
            };
            let Some(next) = next else { break };
            at = Some(line_of(self.text, next.span().start));
            value = next.get_ref().clone();
        }
        at
    }

    /// Refuses a value outside [min, max], or not a number.
    pub(crate) fn range(&self, keys: &[&str], value: f64, min: f64, max: f64) -> Result<()> {
        if value >= min && value <= max {
            return Ok(());
        }
        let [value, min, max] = [value, min, max].map(number);
        Err(self.fault(keys, format!("is {value}, allowed {min} to {max}")))
    }
}

/// A number, with an exponent where it would be long without.
fn number(x: f64) -> String {
    let (plain, exponent) = (format!("{x}"), format!("{x:e}"));
    if plain.len() > 12 && exponent.len() < plain.len() { exponent } else { plain }
}

/// Smallest positive value that any quantity here takes.
const TINY: f64 = 1e-30;

/// Checks a sensor file but for its plan.
///
/// # Errors
/// The first key that is out of its range or disagrees with another.
pub fn sensor(file: &SensorFile, source: &Source<'_>) -> Result<()> {
    source.range(&["schema"], file.schema.into(), 1.0, 1.0)?;
    if !is_line(&file.name) {
        return Err(source.fault(&["name"], NO_LINE));
    }
    let converter = &file.converter;
    source.range(&["converter", "rate_hz"], converter.rate_hz, 1.0, 1e9)?;
    source.range(&["converter", "bits"], converter.bits.into(), 8.0, 32.0)?;
    source.range(&["converter", "full_scale_v"], converter.full_scale_v, TINY, 1e6)?;
    let scale = converter.full_scale_v;
    source.range(&["converter", "offset_v"], converter.offset_v, -scale, scale)?;
    source.range(&["converter", "nonlinearity_lsb"], converter.nonlinearity_lsb, -1e9, 1e9)?;
    source.range(&["converter", "jitter_s"], converter.jitter_s, 0.0, 1.0 / converter.rate_hz)?;
    let carrier = &file.carrier;
    let nyquist = converter.rate_hz / 2.0;
    source.range(
        &["carrier", "frequency_hz"],
        carrier.frequency_hz,
        1e-6,
        nyquist * (1.0 - 1e-9),
    )?;
    let ratio = super::design::carrier_ratio(carrier.frequency_hz, converter.rate_hz);
    if ratio.cycles == 0 || 2 * ratio.cycles >= ratio.samples {
        let given = carrier.frequency_hz;
        let message =
            format!("is {given}, allowed above 0 and below half the sample rate, to 1 nHz");
        return Err(source.fault(&["carrier", "frequency_hz"], message));
    }
    source.range(&["carrier", "injection_v"], carrier.injection_v, TINY, 1e6)?;
    source.range(&["carrier", "phase_rad"], carrier.phase_rad, -1e3, 1e3)?;
    source.range(
        &["carrier", "amplitude_noise_per_rthz"],
        carrier.amplitude_noise_per_rthz,
        0.0,
        1.0,
    )?;
    source.range(
        &["carrier", "phase_noise_rad_per_rthz"],
        carrier.phase_noise_rad_per_rthz,
        0.0,
        1.0,
    )?;
    source.range(&["carrier", "noise_corner_hz"], carrier.noise_corner_hz, 0.0, nyquist)?;
    let amplifier = &file.amplifier;
    source.range(&["amplifier", "feedback_f"], amplifier.feedback_f, TINY, 1.0)?;
    source.range(&["amplifier", "gain"], amplifier.gain, TINY, 1e9)?;
    source.range(&["amplifier", "loss_rad"], amplifier.loss_rad, -3.2, 3.2)?;
    source.range(&["amplifier", "filter_hz"], amplifier.filter_hz.unwrap_or(1.0), TINY, 1e12)?;
    source.range(&["amplifier", "noise_v_per_rthz"], amplifier.noise_v_per_rthz, 0.0, 1e3)?;
    source.range(&["amplifier", "noise_corner_hz"], amplifier.noise_corner_hz, 0.0, nyquist)?;
    let ohm = amplifier.feedback_ohm.unwrap_or(1.0);
    for (key, value, low, high) in [
        ("input_noise_v_per_rthz", amplifier.input_noise_v_per_rthz, 0.0, 1e3),
        ("input_f", amplifier.input_f, 0.0, 1.0),
        ("current_noise_a_per_rthz", amplifier.current_noise_a_per_rthz, 0.0, 1e3),
        ("feedback_ohm", ohm, 1e-3, 1e18),
        ("bridge_loss_tangent", amplifier.bridge_loss_tangent, 0.0, 1.0),
        ("temperature_k", amplifier.temperature_k, TINY, 1e4),
    ] {
        source.range(&["amplifier", key], value, low, high)?;
    }
    source.range(&["mass", "stray_f"], file.mass.stray_f, 0.0, 1.0)?;
    source.range(&["health", "range"], file.health.range, 1e-6, 0.9)?;
    source.range(&["health", "quadrature"], file.health.quadrature, 0.0, 1.9)?;
    source.range(&["health", "phase_rad"], file.health.phase_rad, 0.0, 1.5)?;
    source.range(&["health", "quadrature_floor"], file.health.quadrature_floor, 0.0, 1.9)?;
    source.range(&["axes", "residual_m"], file.axes.residual_m, 0.0, 1.0)?;
    for (n, actuation) in file.actuations.iter().enumerate() {
        let n = n.to_string();
        source.range(&["actuation", &n, "frequency_hz"], actuation.frequency_hz, 0.0, nyquist)?;
        source.range(&["actuation", &n, "amplitude_v"], actuation.amplitude_v, 0.0, 1e6)?;
    }
    electrodes(file, source)?;
    bridges(file, source)?;
    axes(file, source)?;
    super::check_pendulum::sections(file, source)?;
    super::check_interferometer::section(file, source)?;
    for key in file.limits.keys() {
        let known = crate::readout::limits::TABLE.iter().map(|l| l.name);
        if !known.clone().any(|name| name == key) {
            let hint = nearest(key, known)
                .map_or(String::new(), |k| format!("; nearest known limit: `{k}`"));
            return Err(source.fault(&["limits", key], format!("unknown limit{hint}")));
        }
        source.range(&["limits", key], file.limits[key], 0.0, f64::MAX)?;
    }
    Ok(())
}

fn electrodes(file: &SensorFile, source: &Source<'_>) -> Result<()> {
    for (n, electrode) in file.electrodes.iter().enumerate() {
        let at = n.to_string();
        let key = |key| ["electrode", at.as_str(), key];
        source.range(&key("area_m2"), electrode.area_m2, TINY, 1e3)?;
        source.range(&key("width_m"), electrode.width_m, TINY, 1e3)?;
        source.range(&key("gap_m"), electrode.gap_m, TINY, 1.0)?;
        for value in electrode.position_m {
            source.range(&key("position_m"), value, -1e3, 1e3)?;
        }
        let length = |v: [f64; 3]| v.iter().map(|x| x * x).sum::<f64>().sqrt();
        source.range(&key("normal"), length(electrode.normal), 1.0 - 1e-9, 1.0 + 1e-9)?;
        source.range(&key("width_axis"), length(electrode.width_axis), 1.0 - 1e-9, 1.0 + 1e-9)?;
        let along: f64 =
            electrode.normal.iter().zip(electrode.width_axis).map(|(a, b)| a * b).sum();
        if along.abs() > 1e-9 {
            return Err(source
                .fault(&key("width_axis"), format!("leans {along} along the normal, allowed 0")));
        }
        if file.electrodes[..n].iter().any(|e| e.name == electrode.name) {
            return Err(source.fault(&key("name"), format!("`{}` is given twice", electrode.name)));
        }
    }
    if !file.electrodes.iter().any(|e| e.role == Role::Inject) {
        return Err(source.fault(&["electrode"], "no electrode has the role `inject`"));
    }
    Ok(())
}

fn two_of(mut values: impl Iterator<Item = f64>) -> [f64; 2] {
    [0, 1].map(|_| values.next().expect("a pair"))
}

fn bridges(file: &SensorFile, source: &Source<'_>) -> Result<()> {
    let mut channels = Vec::new();
    if file.bridges.is_empty() || file.bridges.len() > quietgap_core::config::MAX_BRIDGES {
        return Err(
            source.fault(&["bridge"], format!("{} bridges, allowed 1 to 12", file.bridges.len()))
        );
    }
    for (n, bridge) in file.bridges.iter().enumerate() {
        let at = n.to_string();
        let key = |key| ["bridge", at.as_str(), key];
        if bridge.name.is_empty()
            || !bridge.name.chars().all(|c| c.is_ascii_alphanumeric() || c == '-')
        {
            let message = format!("is `{}`, allowed letters, digits and -", bridge.name);
            return Err(source.fault(&key("name"), message));
        }
        if file.bridges[..n].iter().any(|b| b.name == bridge.name) {
            return Err(source.fault(&key("name"), format!("`{}` is given twice", bridge.name)));
        }
        let mut pair = Vec::new();
        for name in &bridge.electrodes {
            let Some(electrode) = file.electrodes.iter().find(|e| e.name == *name) else {
                let hint = nearest(name, file.electrodes.iter().map(|e| e.name.as_str()))
                    .map_or(String::new(), |k| format!("; nearest: `{k}`"));
                return Err(
                    source.fault(&key("electrodes"), format!("no electrode `{name}`{hint}"))
                );
            };
            if electrode.role != Role::Sense {
                return Err(source
                    .fault(&key("electrodes"), format!("`{name}` is not a sensing electrode")));
            }
            pair.push(electrode);
        }
        let opposite = pair[0].normal.iter().zip(pair[1].normal).all(|(a, b)| (a + b).abs() < 1e-9);
        if !opposite {
            return Err(source.fault(&key("electrodes"), "a pair needs opposite normals"));
        }
        // The core takes weights and gaps within a quarter and three quarters of the sum.
        let capacity = pair.iter().map(|e| e.area_m2 / e.gap_m);
        let gaps = pair.iter().map(|e| e.gap_m);
        for (what, [one, two]) in [("capacitances", two_of(capacity)), ("gaps", two_of(gaps))] {
            let ratio = (one / two).max(two / one);
            if ratio > 2.999 {
                let message =
                    format!("{what} of the pair are as 1 to {ratio:.3}, allowed to 2.999");
                return Err(source.fault(&key("electrodes"), message));
            }
        }
        // Opposite normals keep a bridge from naming one electrode twice.
        let earlier = file.bridges[..n].iter().enumerate().find_map(|(other, b)| {
            let name = b.electrodes.iter().find(|name| bridge.electrodes.contains(name))?;
            Some((other, name))
        });
        if let Some((other, name)) = earlier {
            let message = format!("`{name}` is in bridge[{}] already", other + 1);
            return Err(source.fault(&key("electrodes"), message));
        }
        match (bridge.kind, bridge.channel, bridge.channels) {
            (KindFile::Difference, Some(channel), None) => channels.push((channel, n)),
            (KindFile::Separate, None, Some(both)) => channels.extend(both.map(|c| (c, n))),
            (KindFile::Difference, ..) => {
                return Err(source.fault(&key("kind"), "a difference bridge takes `channel`"));
            }
            (KindFile::Separate, ..) => {
                return Err(source.fault(&key("kind"), "separate electrodes take `channels`"));
            }
        }
        for stray in bridge.stray_f {
            source.range(&key("stray_f"), stray, 0.0, 1.0)?;
        }
        source.range(&key("a0_code"), bridge.a0_code.unwrap_or(1.0), TINY, 1e15)?;
        source.range(&key("alignment_rad"), bridge.alignment_rad.unwrap_or(0.0), -1e3, 1e3)?;
        super::coupling::check(file, n, &["bridge", &at], source)?;
        source.range(&key("offset_m"), bridge.offset_m, -pair[0].gap_m, pair[0].gap_m)?;
    }
    if let Some(monitor) = &file.monitor {
        channels.push((monitor.channel, usize::MAX));
        source.range(&["monitor", "gain"], monitor.gain, TINY, 1e6)?;
        let code = monitor.calibration_code.unwrap_or(1.0);
        source.range(&["monitor", "calibration_code"], code, TINY, 1e15)?;
        let phase = monitor.alignment_rad.unwrap_or(0.0);
        source.range(&["monitor", "alignment_rad"], phase, -1e3, 1e3)?;
        source.range(&["monitor", "weak_fraction"], monitor.weak_fraction, 0.0, 1.0)?;
        source.range(
            &["monitor", "lost_fraction"],
            monitor.lost_fraction,
            0.0,
            monitor.weak_fraction,
        )?;
    }
    channels.sort_unstable();
    for (expected, &(channel, n)) in channels.iter().enumerate() {
        if usize::from(channel) != expected {
            let last = channels.len() - 1;
            let message = format!("channel {channel}: channels must be 0 to {last}, each once");
            let at = n.to_string();
            let keys: &[&str] = match file.bridges.get(n) {
                Some(bridge) if bridge.channel.is_some() => &["bridge", &at, "channel"],
                Some(_) => &["bridge", &at, "channels"],
                None => &["monitor", "channel"],
            };
            return Err(source.fault(keys, message));
        }
    }
    Ok(())
}

fn axes(file: &SensorFile, source: &Source<'_>) -> Result<()> {
    let mut last = None;
    for name in &file.axes.names {
        let Some(index) = AXES.iter().position(|(n, ..)| n == name) else {
            let known = AXES.map(|(n, ..)| n).join(", ");
            return Err(
                source.fault(&["axes", "names"], format!("no axis `{name}`, allowed {known}"))
            );
        };
        if last >= Some(index) {
            let message = "axes must be in the order x, y, z, theta, eta, phi, each once";
            return Err(source.fault(&["axes", "names"], message));
        }
        last = Some(index);
    }
    let (axes, bridges) = (file.axes.names.len(), file.bridges.len());
    if axes == 0 || axes > bridges {
        let message = format!("{axes} axes from {bridges} bridges, allowed 1 to {bridges}");
        return Err(source.fault(&["axes", "names"], message));
    }
    let geometry = super::design::geometry(file);
    let condition = geometry.clone().svd(false, false).singular_values;
    // Rows mix metres and metres per radian: scale columns before judging.
    let scaled = nalgebra::DMatrix::from_fn(geometry.nrows(), geometry.ncols(), |i, j| {
        let norm = geometry.column(j).norm();
        if norm > 0.0 { geometry[(i, j)] / norm } else { 0.0 }
    });
    let smallest = scaled.svd(false, false).singular_values.min();
    if condition.is_empty() || smallest < 1e-6 {
        let message = "the bridges cannot tell these axes apart (the geometry has no full rank)";
        return Err(source.fault(&["axes", "names"], message));
    }
    Ok(())
}

/// Whether a name is one line of text, without what turns the direction of writing: names stand in
/// messages, pages and comments.
pub fn is_line(name: &str) -> bool {
    let turns = |c| matches!(c, '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}');
    !name.trim().is_empty() && !name.chars().any(|c| c.is_control() || turns(c))
}

/// What is wrong where it is not.
pub const NO_LINE: &str = "is empty or has a control character in it, allowed one line of text";
