//! **Integers**: the filters of a plan as the firmware runs them, codes to phasors at the output rate.

use super::subject::Subject;
use quietgap_core::fir::{FirChain, Waiting};
use quietgap_core::front_end::{FrontEnd, words_per_code};
use quietgap_core::phasor::Phasor;
use quietgap_core::word::{Pruned, Register, Word};
use quietgap_core::{ConfigError, Stage};

const CHANNELS: usize = 32;
const COLUMNS: usize = 4096;

/// Largest word of a readout's front end: a full-scale square wave at the carrier.
const WORST: Word = Word::from_bits(2 << 52);

/// Front end and FIR stages of one order.
#[derive(Debug)]
pub struct Filters<const ORDER: usize> {
    front: FrontEnd<i128, ORDER, CHANNELS, COLUMNS>,
    firs: FirChain<16384, 8192>,
    waiting: [Waiting; CHANNELS],
}

impl<const ORDER: usize> Filters<ORDER> {
    fn new(subject: &Subject, channels: usize) -> Result<Box<Self>, ConfigError> {
        if subject.plan.register_bits == 64 {
            Self::front::<Pruned>(subject, channels)?;
        }
        let front = Self::front::<i128>(subject, channels)?;
        let firs = FirChain::new(&subject.firs(), channels, WORST)?;
        Ok(Box::new(Self { front, firs, waiting: [Waiting::NONE; CHANNELS] }))
    }

    fn front<R: Register>(
        subject: &Subject,
        channels: usize,
    ) -> Result<FrontEnd<R, ORDER, CHANNELS, COLUMNS>, ConfigError> {
        FrontEnd::new(subject.carrier, subject.front_end(), channels, subject.code_bits)
    }

    fn push(&mut self, mut frames: &[i32], channels: usize, sink: &mut dyn FnMut(&[Phasor], bool)) {
        let mut phasors = [Phasor::default(); CHANNELS];
        let phasors = &mut phasors[..channels];
        while let Some(interval) = self.front.decimate(&mut frames, phasors) {
            if let Some(saturated) = self.firs.push(phasors, &mut self.waiting, true) {
                sink(phasors, saturated | interval.saturated);
            }
        }
    }
}

macro_rules! orders {
    ($($name:ident = $order:literal),*) => {
        /// A plan's filters, of an order known at run time.
        #[derive(Debug)]
        enum Order {
            $(
                #[doc = concat!("Order ", $order, ".")]
                $name(Box<Filters<$order>>)
            ),*
        }

        impl Order {
            fn new(subject: &Subject, channels: usize) -> Result<Self, ConfigError> {
                match subject.plan.order {
                    $($order => Ok(Self::$name(Filters::new(subject, channels)?)),)*
                    order => Err(ConfigError {
                        stage: Stage::FrontEnd,
                        quantity: "order",
                        given: order.into(),
                        min: 1,
                        max: 6,
                    }),
                }
            }

            fn push(&mut self, frames: &[i32], channels: usize, sink: &mut dyn FnMut(&[Phasor], bool)) {
                match self { $(Self::$name(f) => f.push(frames, channels, sink)),* }
            }

            fn is_folded(&self) -> bool {
                match self { $(Self::$name(f) => f.front.is_folded()),* }
            }
        }
    };
}

orders!(First = 1, Second = 2, Third = 3, Fourth = 4, Fifth = 5, Sixth = 6);

/// A plan's filters.
#[derive(Debug)]
pub struct Integers {
    order: Order,
    channels: usize,
    steps_per_code: f64,
}

impl Integers {
    /// Builds the filters of `channels` channels.
    ///
    /// # Errors
    /// What the core refuses: the stage, the quantity, given and allowed.
    pub fn new(subject: &Subject, channels: usize) -> Result<Self, ConfigError> {
        // Built on a stack of its own: it is moved some times before it reaches the heap.
        let order = std::thread::scope(|scope| {
            let builder = std::thread::Builder::new().stack_size(16 << 20);
            let built = builder.spawn_scoped(scope, || Order::new(subject, channels));
            built.expect("a thread").join().expect("building does not panic")
        })?;
        Ok(Self { order, channels, steps_per_code: front_end_steps(subject) })
    }

    /// Whether the first decimation folds.
    #[must_use]
    pub fn is_folded(&self) -> bool {
        self.order.is_folded()
    }

    /// Takes whole frames; hands on the phasors of each output and whether a word saturated.
    pub fn push(&mut self, frames: &[i32], mut sink: impl FnMut(&[Phasor], bool)) {
        self.order.push(frames, self.channels, &mut sink);
    }

    /// A phasor in codes of amplitude, as of FIR stages whose gain at zero frequency is 1: another gain
    /// shows.
    #[must_use]
    pub fn codes(&self, phasor: &Phasor) -> [f64; 2] {
        [phasor.i, phasor.q].map(|w| w.to_bits() as f64 / self.steps_per_code)
    }
}

/// Steps of a word behind the CIC per code of the carrier's amplitude.
fn front_end_steps(subject: &Subject) -> f64 {
    let (gain, exponent) = words_per_code(subject.front_end(), subject.code_bits);
    gain as f64 * 2f64.powi(-exponent)
}

/// Steps of an output word per code of the carrier's amplitude.
#[must_use]
pub fn steps_per_code(subject: &Subject) -> f64 {
    let firs = subject.plan.firs.iter().map(crate::instrument::design::fir_gain);
    front_end_steps(subject) * firs.product::<f64>()
}
