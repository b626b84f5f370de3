//! What a configuration can have wrong. Firmware gets it as a value, once, when the
//! readout is built; nothing later can fail.

/// The part of the chain that refuses a setting.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum Stage {
    /// Converter words and channels.
    Converter,
    /// Carrier oscillator.
    Carrier,
    /// Mixer and first decimation.
    FrontEnd,
    /// FIR decimator number n, counted from 1.
    Fir(u8),
    /// Injection monitor.
    Monitor,
    /// Bridge number n, counted from 1.
    Bridge(u8),
    /// Axes matrix.
    Axes,
}

impl core::fmt::Display for Stage {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        match self {
            Self::Converter => f.write_str("converter"),
            Self::Carrier => f.write_str("carrier"),
            Self::FrontEnd => f.write_str("front end"),
            Self::Fir(n) => write!(f, "FIR stage {n}"),
            Self::Monitor => f.write_str("monitor"),
            Self::Bridge(n) => write!(f, "bridge {n}"),
            Self::Axes => f.write_str("axes"),
        }
    }
}

/// A setting outside what its stage can do: which, what was given, what is allowed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct ConfigError {
    /// The stage that refuses.
    pub stage: Stage,
    /// The quantity, in words.
    pub quantity: &'static str,
    /// Its value.
    pub given: i64,
    /// Smallest allowed value.
    pub min: i64,
    /// Largest allowed value.
    pub max: i64,
}

impl ConfigError {
    pub(crate) const fn new(
        stage: Stage,
        quantity: &'static str,
        given: i64,
        min: i64,
        max: i64,
    ) -> Self {
        Self { stage, quantity, given, min, max }
    }

    /// Passes when `given` is within `min` and `max`.
    #[inline(never)]
    pub(crate) const fn check(
        stage: Stage,
        quantity: &'static str,
        given: i64,
        min: i64,
        max: i64,
    ) -> Result<(), Self> {
        if given < min || given > max {
            Err(Self::new(stage, quantity, given, min, max))
        } else {
            Ok(())
        }
    }
}

/// `?` for functions that the compiler may evaluate.
macro_rules! attempt {
    ($result:expr) => {
        match $result {
            Ok(value) => value,
            Err(error) => return Err(error),
        }
    };
}
pub(crate) use attempt;

impl core::fmt::Display for ConfigError {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        let Self { stage, quantity, given, min, max } = self;
        write!(f, "{stage}: {quantity} is {given}, allowed {min} to {max}")
    }
}

impl core::error::Error for ConfigError {}
