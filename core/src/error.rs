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
    /// Cross-coupling between bridges.
    Coupling,
    /// Axes matrix.
    Axes,
    /// Electrodes of the housing.
    Housing,
    /// Fringes of an interferometer.
    Fringe,
}

impl Stage {
    /// In words, and its number where there are several.
    const fn words(self) -> (&'static str, Option<u8>) {
        match self {
            Self::Converter => ("converter", None),
            Self::Carrier => ("carrier", None),
            Self::FrontEnd => ("front end", None),
            Self::Fir(n) => ("FIR stage ", Some(n)),
            Self::Monitor => ("monitor", None),
            Self::Bridge(n) => ("bridge ", Some(n)),
            Self::Coupling => ("cross-coupling", None),
            Self::Axes => ("axes", None),
            Self::Housing => ("housing", None),
            Self::Fringe => ("fringes", None),
        }
    }
}

impl core::fmt::Display for Stage {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        match self.words() {
            (words, Some(number)) => write!(f, "{words}{number}"),
            (words, None) => f.write_str(words),
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

    /// A number to be checked, as far as it can be told.
    pub(crate) const fn told(number: u64) -> i64 {
        if number > i64::MAX as u64 { i64::MAX } else { number as i64 }
    }

    /// All of it in words: for a `panic` that ends a build.
    #[must_use]
    pub const fn message(&self) -> Message {
        let mut message = Message { text: [0; 192], length: 0 };
        let (stage, number) = self.stage.words();
        message.add(stage);
        if let Some(number) = number {
            message.add_number(number as i64);
        }
        message.add(": ");
        message.add(self.quantity);
        message.add(" is ");
        message.add_number(self.given);
        message.add(", allowed ");
        message.add_number(self.min);
        message.add(" to ");
        message.add_number(self.max);
        message
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

/// A refusal in words, which the compiler can make, too.
#[derive(Clone, Copy, Debug)]
pub struct Message {
    text: [u8; 192],
    length: usize,
}

impl Message {
    /// The words; cut where they are longer than any of ours.
    #[must_use]
    pub const fn as_str(&self) -> &str {
        match self.text.split_at_checked(self.length) {
            Some((text, _)) => match core::str::from_utf8(text) {
                Ok(text) => text,
                Err(_) => "",
            },
            None => "",
        }
    }

    const fn add(&mut self, text: &str) {
        let mut rest = text.as_bytes();
        while let [byte, later @ ..] = rest
            && self.length < self.text.len()
        {
            self.text[self.length] = *byte;
            (self.length, rest) = (self.length + 1, later);
        }
    }

    const fn add_number(&mut self, number: i64) {
        if number < 0 {
            self.add("-");
        }
        let magnitude = number.unsigned_abs();
        let mut unit = 1;
        while magnitude / unit >= 10 {
            unit *= 10;
        }
        while unit > 0 {
            let digit = [b'0' + (magnitude / unit % 10) as u8];
            if let Ok(digit) = core::str::from_utf8(&digit) {
                self.add(digit);
            }
            unit /= 10;
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
        f.write_str(self.message().as_str())
    }
}

impl core::error::Error for ConfigError {}
