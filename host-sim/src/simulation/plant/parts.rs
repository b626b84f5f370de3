//! What of the plant is at work, by switches.

/// Which parts of the plant are at work. Each random one has its own stream, so that switching
/// one off leaves the others' numbers as they were.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Parts {
    /// Closed form for tilted plates; off: parallel plates.
    pub tilt: bool,
    /// Polarisation follows the mass's capacitance; off: constant.
    pub polarisation: bool,
    /// Strays of the bridges.
    pub strays: bool,
    /// Cross-coupling of the bridges.
    pub coupling: bool,
    /// Loss phase.
    pub loss: bool,
    /// Amplitude noise of the carrier.
    pub amplitude_noise: bool,
    /// Phase noise of the carrier.
    pub phase_noise: bool,
    /// White noise of the amplifiers.
    pub white_noise: bool,
    /// 1/f noise of the amplifiers.
    pub flicker_noise: bool,
    /// Actuation feed-through.
    pub actuation: bool,
    /// Jitter of the sampling clock.
    pub jitter: bool,
    /// Offset of the converter.
    pub offset: bool,
    /// Integral nonlinearity of the converter.
    pub nonlinearity: bool,
}

impl Parts {
    /// Everything.
    pub const ALL: Self = Self {
        tilt: true,
        polarisation: true,
        strays: true,
        coupling: true,
        loss: true,
        amplitude_noise: true,
        phase_noise: true,
        white_noise: true,
        flicker_noise: true,
        actuation: true,
        jitter: true,
        offset: true,
        nonlinearity: true,
    };

    /// Everything but what is random: `--noise off`.
    #[must_use]
    pub const fn quiet(self) -> Self {
        Self {
            amplitude_noise: false,
            phase_noise: false,
            white_noise: false,
            flicker_noise: false,
            jitter: false,
            ..self
        }
    }

    /// The switch of a part by its name on the command line.
    pub fn switch(&mut self, name: &str) -> Option<&mut bool> {
        Some(match name {
            "tilt" => &mut self.tilt,
            "polarisation" => &mut self.polarisation,
            "strays" => &mut self.strays,
            "cross-coupling" => &mut self.coupling,
            "loss" => &mut self.loss,
            "amplitude-noise" => &mut self.amplitude_noise,
            "phase-noise" => &mut self.phase_noise,
            "white-noise" => &mut self.white_noise,
            "flicker-noise" => &mut self.flicker_noise,
            "actuation" => &mut self.actuation,
            "jitter" => &mut self.jitter,
            "offset" => &mut self.offset,
            "nonlinearity" => &mut self.nonlinearity,
            _ => return None,
        })
    }

    /// Names of all parts.
    pub const NAMES: [&'static str; 13] = [
        "tilt",
        "polarisation",
        "strays",
        "cross-coupling",
        "loss",
        "amplitude-noise",
        "phase-noise",
        "white-noise",
        "flicker-noise",
        "actuation",
        "jitter",
        "offset",
        "nonlinearity",
    ];
}
