//! The faults, how each is made, and what must tell of it.

use super::recording::{At, Kind, Recording};
use quietgap_acquisition::Faults;
use quietgap_core::Health;
use quietgap_sim::instrument::SensorFile;

/// On which of the built-in sensors a fault is made: those of carrier and electrodes on the one with a monitor.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Sensing {
    TwoBridges,
    SixAxes,
}

impl Sensing {
    pub fn name(self) -> &'static str {
        match self {
            Self::TwoBridges => "vault-two-bridge",
            Self::SixAxes => "vault-six-axis",
        }
    }
}

/// How a fault is made.
#[derive(Clone, Copy)]
pub enum Made {
    /// In what the converter sends.
    OfCodes(fn(&mut Recording, At)),
    /// In the bench itself.
    OfBench(fn(&mut SensorFile)),
}

pub struct Fault {
    pub name: &'static str,
    pub on: Sensing,
    pub made: Made,
    /// Whether it goes on for some readings, or is over at once.
    pub lasts: bool,
    /// What must tell of it: all of these, of the reading or of what came before the chain.
    pub health: Health,
    pub faults: Faults,
}

use Made::{OfBench, OfCodes};
use Sensing::{SixAxes, TwoBridges};

const NONE: Faults = Faults::NONE;

pub const FAULTS: [Fault; 18] = [
    Fault {
        name: "converter saturated for one sample",
        on: TwoBridges,
        made: OfCodes(|r, at| r.codes[2 * at.from as usize] = (1 << 23) - 1),
        lasts: false,
        health: Health::OVER_RANGE,
        faults: NONE,
    },
    Fault {
        name: "actuation overdrive",
        on: TwoBridges,
        made: OfBench(|file| file.actuations.iter_mut().for_each(|a| a.amplitude_v = 6.0)),
        lasts: true,
        health: Health::OVER_RANGE,
        faults: NONE,
    },
    Fault {
        name: "stuck code",
        on: TwoBridges,
        made: OfCodes(|r, at| {
            let stuck = r.codes[2 * at.from as usize + 1];
            of_channel(r, 1, at, |_| stuck);
        }),
        lasts: true,
        health: Health::ACQUISITION,
        faults: Faults::STUCK,
    },
    Fault {
        name: "channel silent",
        on: TwoBridges,
        made: OfCodes(|r, at| of_channel(r, 0, at, |n| (n % 3) as i32)),
        lasts: true,
        health: Health::ACQUISITION,
        faults: Faults::SILENT,
    },
    Fault {
        name: "channels shorted",
        on: TwoBridges,
        made: OfCodes(|r, at| {
            let first: Vec<i32> = r.codes.as_chunks::<2>().0.iter().map(|frame| frame[0]).collect();
            of_channel(r, 1, at, |n| first[n as usize] + (n % 7) as i32);
        }),
        lasts: true,
        health: Health::ACQUISITION,
        faults: Faults::SHORTED,
    },
    Fault {
        name: "channels swapped",
        on: TwoBridges,
        made: OfCodes(|r, at| {
            let places = 2 * at.from as usize..2 * at.to as usize;
            r.codes[places].as_chunks_mut::<2>().0.iter_mut().for_each(|frame| frame.swap(0, 1));
        }),
        lasts: true,
        health: Health::ACQUISITION,
        faults: Faults::SWAPPED,
    },
    Fault {
        name: "sample lost",
        on: TwoBridges,
        made: OfCodes(|r, at| {
            r.numbers.remove(at.from as usize);
            r.codes.drain(2 * at.from as usize..2 * at.from as usize + 2);
        }),
        lasts: false,
        health: Health::ACQUISITION,
        faults: Faults::MISSED,
    },
    Fault {
        name: "sample twice",
        on: TwoBridges,
        made: OfCodes(|r, at| {
            let n = at.from as usize;
            r.numbers.insert(n, at.from);
            let frame = [r.codes[2 * n], r.codes[2 * n + 1]];
            r.codes.splice(2 * n..2 * n, frame);
        }),
        lasts: false,
        health: Health::ACQUISITION,
        faults: Faults::REPEATED,
    },
    Fault {
        name: "converter's clock 100 ppm off",
        on: TwoBridges,
        made: OfCodes(|r, at| r.ppm = vec![(at.from, 100.0), (at.to, 0.0)]),
        lasts: true,
        health: Health::ACQUISITION,
        faults: Faults::CLOCK,
    },
    Fault {
        name: "task late by eight blocks",
        on: TwoBridges,
        made: OfCodes(|r, at| {
            r.kinds = (0..8).map(|n| (at.from + n * 1024, Kind::HeldUp)).collect();
        }),
        lasts: false,
        health: Health::ACQUISITION,
        faults: Faults::LATE,
    },
    Fault {
        name: "brown-out in mid-block",
        on: TwoBridges,
        made: OfCodes(|r, at| {
            // The codes between are of nobody.
            r.kinds = vec![(at.from, Kind::Anew)];
            r.numbers.drain(at.from as usize..at.from as usize + 3000);
            r.codes.drain(2 * at.from as usize..2 * (at.from as usize + 3000));
        }),
        lasts: false,
        health: Health::SETTLING,
        faults: NONE,
    },
    Fault {
        name: "carrier off",
        on: SixAxes,
        made: OfBench(|file| file.carrier.injection_v = 1e-9),
        lasts: true,
        health: Health::CARRIER_LOST,
        faults: Faults::JUMPED,
    },
    Fault {
        name: "carrier slipped by a tenth of a turn",
        on: SixAxes,
        made: OfBench(|file| file.carrier.phase_rad += std::f64::consts::TAU / 10.0),
        lasts: true,
        health: Health::CARRIER_PHASE,
        faults: Faults::JUMPED,
    },
    Fault {
        name: "carrier reversed",
        on: SixAxes,
        made: OfBench(|file| file.carrier.phase_rad += std::f64::consts::PI),
        lasts: true,
        health: Health::CARRIER_PHASE,
        faults: Faults::JUMPED,
    },
    Fault {
        name: "monitor lost",
        on: SixAxes,
        made: OfBench(|file| file.monitor.iter_mut().for_each(|m| m.gain = 1e-9)),
        lasts: true,
        health: Health::CARRIER_LOST,
        faults: Faults::JUMPED,
    },
    Fault {
        name: "electrode open",
        on: SixAxes,
        made: OfBench(|file| file.electrodes[1].area_m2 *= 1e-3),
        lasts: true,
        health: Health::ACQUISITION,
        faults: Faults::JUMPED,
    },
    Fault {
        name: "electrode shorted: twenty times its capacitance",
        on: SixAxes,
        made: OfBench(|file| file.electrodes[1].area_m2 *= 20.0),
        lasts: true,
        health: Health::OVER_RANGE,
        faults: Faults::JUMPED,
    },
    Fault {
        name: "electrode half torn off",
        on: SixAxes,
        made: OfBench(|file| file.electrodes[0].area_m2 *= 0.5),
        lasts: true,
        health: Health::ACQUISITION,
        faults: Faults::JUMPED,
    },
];

/// Puts a channel's codes by the number of the frame.
fn of_channel(r: &mut Recording, channel: usize, at: At, mut code: impl FnMut(u64) -> i32) {
    for n in at.from..at.to {
        let place = n as usize * r.channels + channel;
        r.codes[place] = code(n);
    }
}
