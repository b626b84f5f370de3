//! Options of all commands that take a sensor's capture.

use super::{Words, distinct, sensor_files, wanted};
use clap::Args;
use quietgap_sim::error::Result;
use quietgap_sim::instrument::Sensor;
use quietgap_sim::readout::capture::Capture;
use std::path::{Path, PathBuf};

/// A sensor and what its converter gave.
#[derive(Args, Debug, Clone)]
pub struct RecordedOptions {
    /// Sensor file, or the name of a built-in sensor
    sensor: String,
    /// Capture: npy (int32 or int16) or WAV/RF64 (16, 24 or 32 bits); - for standard input
    capture: PathBuf,
    /// Words of a capture without a header; or 16-bit npy that holds a wider converter's codes
    #[arg(long, value_enum)]
    words: Option<Words>,
}

impl RecordedOptions {
    pub(super) fn sensor(&self) -> Result<Sensor> {
        Sensor::load(&self.sensor)
    }

    pub(super) fn capture(&self, sensor: &Sensor) -> Result<Capture> {
        Capture::open(&self.capture, wanted(sensor, self.words))
    }

    /// Refuses an output that is one of the inputs.
    pub(super) fn distinct_from(&self, sensor: &Sensor, out: &Path) -> Result<()> {
        let files = sensor_files(&self.sensor, sensor);
        let inputs = files.iter().map(PathBuf::as_path).chain([self.capture.as_path()]);
        distinct(&inputs.collect::<Vec<_>>(), &[out])
    }
}
