//! **Chain**: the core's readout on the host, for any order of CIC, on one or two threads.

use crate::instrument::Settings;
use quietgap_core::config::ReadoutConfig;
use quietgap_core::front_end::Interval;
use quietgap_core::phasor::Phasor;
use quietgap_core::plan::Plan;
use quietgap_core::word::Register;
use quietgap_core::{ConfigError, Health, HealthCounts, Reading, Readout};

/// Capacities of the host's readouts: generous, on the heap.
const CHANNELS: usize = 32;
type Host<const ORDER: usize, R> = Readout<ORDER, CHANNELS, 4096, 16384, 8192, R>;

/// Stack for building one: it is moved some times before it reaches the heap.
const BUILD_STACK: usize = 16 << 20;

/// One order's, where it stays: of what passes through the stack every page costs time.
#[inline(never)]
fn build<const ORDER: usize, R: Register>(
    config: &ReadoutConfig<'_>,
) -> Result<Box<Host<ORDER, R>>, ConfigError> {
    let plan = Plan::checked(config)?;
    let mut readout = Box::new(Host::IDLE);
    readout.load(&plan);
    Ok(readout)
}

macro_rules! orders {
    ($($name:ident = $order:literal $register:ty),*) => {
        /// A readout whose order is known at run time.
        #[derive(Debug, Clone)]
        pub enum Chain {
            $(
                #[doc = concat!("Order ", $order, ", registers ", stringify!($register), ".")]
                $name(Box<Host<$order, $register>>)
            ),*
        }

        impl Chain {
            /// Builds the readout of a sensor.
            ///
            /// # Errors
            /// What the core refuses.
            ///
            /// # Panics
            /// Where the system gives no further thread.
            pub fn new(settings: &Settings) -> Result<Self, ConfigError> {
                std::thread::scope(|scope| {
                    let builder = std::thread::Builder::new().stack_size(BUILD_STACK);
                    let built = builder.spawn_scoped(scope, || Self::build(settings));
                    built.expect("a thread").join().expect("building does not panic")
                })
            }

            fn build(settings: &Settings) -> Result<Self, ConfigError> {
                settings.with_config(|config| {
                    let mut refused = None;
                    $(if settings.front_end.order == $order {
                        match build::<$order, $register>(config) {
                            Ok(readout) => return Ok(Self::$name(readout)),
                            Err(error) => refused = Some(error),
                        }
                    })*
                    let refused = refused.or_else(|| build::<1, i128>(config).err());
                    Err(refused.unwrap_or(ConfigError {
                        stage: quietgap_core::Stage::FrontEnd,
                        quantity: "order",
                        given: settings.front_end.order.into(),
                        min: 1,
                        max: 6,
                    }))
                })
            }

            /// See [`Readout::push`].
            pub fn push(&mut self, block: &[i32], mut sink: impl FnMut(&Reading)) {
                self.push_any(block, &mut sink);
            }

            // Called through a pointer: six chains are compiled once, not once for every caller.
            fn push_any(&mut self, block: &[i32], sink: &mut dyn FnMut(&Reading)) {
                match self { $(Self::$name(r) => r.push(block, sink)),* }
            }

            /// Front end alone over whole frames: hands on each interval's phasors. See
            /// [`Readout::decimate`].
            pub fn decimate(&mut self, mut frames: &[i32], mut sink: impl FnMut(&[Phasor], Interval)) {
                match self { $(Self::$name(r) => {
                    let mut phasors = [Phasor::default(); CHANNELS];
                    let phasors = &mut phasors[..r.channels()];
                    while let Some(interval) = r.decimate(&mut frames, phasors) {
                        sink(phasors, interval);
                    }
                }),* }
            }

            /// See [`Readout::push_phasors`].
            pub fn push_phasors(&mut self, phasors: &mut [Phasor], interval: Interval, sink: impl FnMut(&Reading)) {
                match self { $(Self::$name(r) => r.push_phasors(phasors, interval, sink)),* }
            }

            /// See [`Readout::seek`].
            pub fn seek(&mut self, sample: u64) {
                match self { $(Self::$name(r) => r.seek(sample)),* }
            }

            /// See [`Readout::flag`].
            pub fn flag(&mut self, faults: Health) {
                match self { $(Self::$name(r) => r.flag(faults)),* }
            }

            /// See [`Readout::counts`].
            #[must_use]
            pub fn counts(&self) -> &HealthCounts {
                match self { $(Self::$name(r) => r.counts()),* }
            }

            /// See [`Readout::checksum`]; of this type, so not the number that a board's own type gives.
            #[must_use]
            pub fn checksum(&self) -> u32 {
                match self { $(Self::$name(r) => r.checksum().to_bits()),* }
            }

            /// Whether the front end folds by carrier phase.
            #[must_use]
            pub fn is_folded(&self) -> bool {
                match self { $(Self::$name(r) => r.front_end().is_folded()),* }
            }
        }
    };
}

// The usual order in registers of a board's width first: half the work at the end of a section. What those refuse,
// as it is wider or pruned, the others take; all give the same words.
orders!(
    Usual = 2 i64,
    First = 1 i128,
    Second = 2 i128,
    Third = 3 i128,
    Fourth = 4 i128,
    Fifth = 5 i128,
    Sixth = 6 i128
);

impl quietgap_core::Chain for Chain {
    fn seek(&mut self, frame: u64) {
        Self::seek(self, frame);
    }

    fn flag(&mut self, faults: Health) {
        Self::flag(self, faults);
    }

    fn push(&mut self, codes: &[i32], sink: &mut dyn FnMut(&Reading)) {
        self.push_any(codes, sink);
    }
}
