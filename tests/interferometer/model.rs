//! A forward model of an interferometer, from the equations alone, and the project's readings of it.

use crate::normal::Normal;
use quietgap_sim::error::Result;
use quietgap_sim::instrument::Sensor;
use quietgap_sim::instrument::file::InterferometerFile;
use quietgap_sim::interferometer::readings::{Readings, Seen};
use quietgap_sim::interferometer::track::{Manner, Track, tracks};
use quietgap_sim::readout::capture::{Capture, Wanted};
use std::f64::consts::TAU;
use std::io::Write;
use std::path::Path;

/// What the light and its optics are like.
#[derive(Clone, Copy)]
pub struct Optics {
    /// Of the in-phase and quadrature signal, over the mean.
    pub offsets: [f64; 2],
    /// Amplitude of the in-phase over that of the quadrature signal.
    pub ratio: f64,
    pub lack_rad: f64,
    pub contrast: f64,
    pub gains: [f64; 4],
    /// Relative change of the quadrature's amplitude and of the offset.
    pub drift_per_hour: f64,
    /// Rms of every detector's frames, over the mean; and of its shot noise at mean light.
    pub noise: f64,
    pub shot: f64,
    /// Rms of the light's intensity.
    pub intensity: f64,
}

impl Optics {
    pub const GOOD: Self = Self {
        offsets: [0.0; 2],
        ratio: 1.0,
        lack_rad: 0.0,
        contrast: 0.9,
        gains: [1.0; 4],
        drift_per_hour: 0.0,
        noise: 0.0,
        shot: 0.0,
        intensity: 0.0,
    };
}

/// A sensor file with one beam along x.
pub fn sensor(rate_hz: f64, output_hz: f64, bits: u32) -> String {
    let built_in = include_str!("../../host-sim/sensors/vault-two-bridge.toml");
    let from = built_in.find("# A laser looks").expect("the built-in interferometer");
    let to = built_in.find("[limits]").expect("what stands behind it");
    let section = format!(
        "[interferometer]\nwavelength_m = 1.064e-6\npasses = 2\nrate_hz = {rate_hz:.1}\nbits = {bits}\n\
         full_scale_v = 5.0\noutput_rate_hz = {output_hz:.1}\naxes = [\"x\"]\n\n[[interferometer.beam]]\n\
         name = \"a\"\nposition_m = [0.0, 0.0, 0.0]\ndirection = [1.0, 0.0, 0.0]\nchannels = [2, 0, 3, 1]\n\n\
         [interferometer.light]\ndetector_v = 1.0\ncontrast = 0.9\nphotocurrent_a = 1.0e-4\n\
         detector_noise_v_per_rthz = 0.0\n\n"
    );
    format!("{}{section}{}", &built_in[..from], &built_in[to..])
}

pub fn interferometer(text: &str) -> InterferometerFile {
    let sensor = Sensor::parse(Path::new("test.toml"), text).expect("a sensor");
    sensor.file.interferometer.expect("an interferometer")
}

/// A reading with its time.
#[derive(Debug)]
pub struct Told {
    pub time_s: f64,
    pub axes: Vec<f64>,
    pub health: String,
}

pub struct Bench {
    file: InterferometerFile,
    optics: Optics,
    seed: u64,
}

impl Bench {
    pub fn new(text: &str, optics: Optics, seed: u64) -> Self {
        Self { file: interferometer(text), optics, seed }
    }

    /// Codes of the four detectors while the mass moves.
    pub fn codes(&self, seconds: f64, x: impl Fn(f64) -> f64) -> Vec<[i32; 4]> {
        let o = self.optics;
        let mut draw = Normal::new(self.seed);
        let per_volt = 2f64.powi(self.file.bits as i32 - 1) / self.file.full_scale_v;
        (0..(seconds * self.file.rate_hz) as u64)
            .map(|n| {
                let t = n as f64 / self.file.rate_hz;
                let drift = o.drift_per_hour * t / 3600.0;
                // 1064 nm, twice through the path.
                let phase = TAU * 2.0 * x(t) / 1.064e-6;
                let light = 1.0 + o.intensity * draw.next();
                let fringes = [
                    o.offsets[0] + drift + phase.cos(),
                    o.offsets[1] + (1.0 + drift) / o.ratio * (phase - o.lack_rad).sin(),
                ];
                let level = |k: usize| {
                    let sign = if k.is_multiple_of(2) { 1.0 } else { -1.0 };
                    1.0 + sign * o.contrast * fringes[k / 2]
                };
                let volts: [f64; 4] = std::array::from_fn(|k| {
                    let shot = o.shot * level(k).sqrt() * draw.next();
                    o.gains[k] * (light * level(k) + shot + o.noise * draw.next())
                });
                // As the sensor file wires them.
                let [a, b, c, d] = volts.map(|v| (v * per_volt).round() as i32);
                [b, d, a, c]
            })
            .collect()
    }

    pub fn readings(
        &self,
        seconds: f64,
        x: impl Fn(f64) -> f64,
        manner: Manner,
        stretch_s: f64,
    ) -> Result<Vec<Told>> {
        Ok(self.both(seconds, x, manner, stretch_s)?.0)
    }

    pub fn both(
        &self,
        seconds: f64,
        x: impl Fn(f64) -> f64,
        manner: Manner,
        stretch_s: f64,
    ) -> Result<(Vec<Told>, Vec<Seen>)> {
        let (rows, seen) = self.of_codes(&self.codes(seconds, x), manner, stretch_s)?;
        Ok((rows.into_iter().filter(|r| r.health == "ok").collect(), seen))
    }

    pub fn file(&self) -> &InterferometerFile {
        &self.file
    }

    /// What is found of the beam in a record.
    pub fn tracks(&self, codes: &[[i32; 4]], manner: Manner, stretch_s: f64) -> Result<Vec<Track>> {
        let (_folder, capture) = self.capture(codes);
        tracks(&capture, &self.file, stretch_s, manner)
    }

    fn capture(&self, codes: &[[i32; 4]]) -> (tempfile::TempDir, Capture) {
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join("detectors.npy");
        let mut file = std::fs::File::create(&path).expect("a file");
        let header =
            format!("{{'descr': '<i4', 'fortran_order': False, 'shape': ({}, 4), }}", codes.len());
        let mut bytes = b"\x93NUMPY\x01\x00".to_vec();
        bytes.extend((118u16).to_le_bytes());
        bytes.extend(format!("{header:<117}\n").bytes());
        codes.iter().flatten().for_each(|c| bytes.extend(c.to_le_bytes()));
        file.write_all(&bytes).expect("written");
        let wanted =
            Wanted { channels: 4, bits: self.file.bits, rate_hz: self.file.rate_hz, words: None };
        let capture = Capture::open(&path, wanted).expect("a capture");
        (folder, capture)
    }

    /// All readings of a record, faulty ones too.
    pub fn of_codes(
        &self,
        codes: &[[i32; 4]],
        manner: Manner,
        stretch_s: f64,
    ) -> Result<(Vec<Told>, Vec<Seen>)> {
        let (_folder, capture) = self.capture(codes);
        let tracks = tracks(&capture, &self.file, stretch_s, manner)?;
        let mut readings = Readings::new(&self.file, tracks);
        let mut rows = Vec::new();
        let rate = self.file.rate_hz;
        readings.run(
            &capture,
            |row| {
                let time_s = row.half_frames as f64 / (2.0 * rate);
                rows.push(Told { time_s, health: row.health(), axes: row.axes });
                Ok(())
            },
            &|_| {},
        )?;
        Ok((rows, readings.seen()))
    }
}
