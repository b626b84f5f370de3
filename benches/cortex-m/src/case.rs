//! **Cases**: a plan and its codes, written by the host, read through the debugger's channel.
//!
//! All numbers are little-endian `i64` words but for the codes, `i32`, behind them.

use core::ffi::CStr;
use heapless::Vec;
use quietgap_core::CarrierRatio;
use quietgap_core::config::*;
use quietgap_core::word::{Coefficient, Fraction, Word};
use semihosting::fs::File;
use semihosting::io::Read;

/// Room for a case's file.
pub const ROOM: usize = 1 << 18;
static mut FILE: [u8; ROOM] = [0; ROOM];

/// Reads the file `name` into the one buffer there is.
pub fn read(name: &CStr) -> &'static [u8] {
    // Safety: called once at a time, from the main loop; the buffer is used nowhere else.
    let buffer = unsafe { &mut *core::ptr::addr_of_mut!(FILE) };
    let mut file = File::open(name).expect("a case's file");
    let mut length = 0;
    while let Ok(more @ 1..) = file.read(&mut buffer[length..]) {
        length += more;
    }
    &buffer[..length]
}

/// Words of a case, one after the other.
pub struct Words<'a>(pub &'a [u8]);

impl Words<'_> {
    pub fn next(&mut self) -> i64 {
        let (first, rest) = self.0.split_first_chunk().expect("a word");
        self.0 = rest;
        i64::from_le_bytes(*first)
    }
}

/// A plan's settings, owned.
pub struct Settings {
    code_bits: u8,
    carrier: CarrierRatio,
    front_end: FrontEndConfig,
    firs: Vec<(u16, u8, Vec<i32, 256>), MAX_FIRS>,
    alignments: Vec<Alignment, 8>,
    monitor: Option<MonitorConfig>,
    bridges: Vec<BridgeConfig, MAX_BRIDGES>,
    cross_coupling: Vec<Fraction, { MAX_BRIDGES * MAX_BRIDGES }>,
    electrodes: Vec<ElectrodeConfig, 24>,
    axes: u8,
    solve: Vec<Coefficient, 72>,
    geometry: Vec<Coefficient, 72>,
    residual_am: i64,
}

impl Settings {
    /// In the order the host writes them.
    pub fn read(words: &mut Words<'_>) -> Self {
        let code_bits = words.next() as u8;
        let (cycles, samples) = (words.next(), words.next());
        let carrier = if samples > 0 {
            CarrierRatio::coherent(cycles as u32, samples as u32)
        } else {
            CarrierRatio::from_step(cycles as u64)
        };
        let front_end = FrontEndConfig {
            order: words.next() as u8,
            ratio: words.next() as u16,
            differential_delay: words.next() as u8,
            path: [Path::Auto, Path::Coherent, Path::General][words.next() as usize],
            pruned_bits: words.next() as u8,
        };
        let mut firs = Vec::new();
        for _ in 0..words.next() {
            let (ratio, scale) = (words.next() as u16, words.next() as u8);
            let count = words.next();
            let taps = (0..count).map(|_| words.next() as i32).collect();
            assert!(firs.push((ratio, scale, taps)).is_ok());
        }
        let fraction = |words: &mut Words<'_>| Fraction::from_bits(words.next());
        let word = |words: &mut Words<'_>| Word::from_bits(words.next());
        let alignments = (0..words.next())
            .map(|_| Alignment { cosine: fraction(words), sine: fraction(words) })
            .collect();
        let monitor = (words.next() != 0).then(|| MonitorConfig {
            channel: words.next() as u8,
            calibration: word(words),
            weak: word(words),
            lost: word(words),
            phase: fraction(words),
        });
        let bridges = (0..words.next())
            .map(|_| BridgeConfig {
                kind: if words.next() == 0 {
                    BridgeKind::Difference { channel: words.next() as u8, full: word(words) }
                } else {
                    BridgeKind::Separate {
                        channels: [words.next() as u8, words.next() as u8],
                        least_sum: word(words),
                    }
                },
                strays: [fraction(words), fraction(words)],
                weights: [fraction(words), fraction(words)],
                gaps: [fraction(words), fraction(words)],
                gap_am: words.next(),
                offset_am: words.next(),
                range: fraction(words),
                quadrature: fraction(words),
                phase: fraction(words),
                floor: fraction(words),
            })
            .collect();
        let cross_coupling = (0..words.next()).map(|_| fraction(words)).collect();
        let three = |words: &mut Words<'_>| [(); 3].map(|()| words.next());
        let electrodes = (0..words.next())
            .map(|_| ElectrodeConfig {
                gap_am: words.next(),
                position_am: three(words),
                normal: three(words).map(Fraction::from_bits),
                half_sides: [(); 2].map(|()| three(words).map(|x| HalfSide::from_bits(x as i32))),
                total_share: fraction(words),
                drive_share: fraction(words),
            })
            .collect();
        let axes = words.next() as u8;
        let mut matrix = || {
            (0..words.next()).map(|_| Coefficient::from_bits(words.next())).collect::<Vec<_, 72>>()
        };
        let (solve, geometry) = (matrix(), matrix());
        let residual_am = words.next();
        let carrier = carrier.expect("the host checked it");
        Self {
            code_bits,
            carrier,
            front_end,
            firs,
            alignments,
            monitor,
            bridges,
            cross_coupling,
            electrodes,
            axes,
            solve,
            geometry,
            residual_am,
        }
    }

    /// Lends the settings to `build`; `firs` tells whether with the FIR stages.
    pub fn with_config<T>(&self, firs: bool, build: impl FnOnce(&ReadoutConfig<'_>) -> T) -> T {
        let stages: Vec<FirConfig<'_>, MAX_FIRS> = self
            .firs
            .iter()
            .map(|(ratio, scale_bits, taps)| FirConfig {
                ratio: *ratio,
                taps,
                scale_bits: *scale_bits,
            })
            .collect();
        build(&ReadoutConfig {
            code_bits: self.code_bits,
            carrier: self.carrier,
            front_end: self.front_end,
            firs: if firs { &stages } else { &[] },
            alignments: &self.alignments,
            monitor: self.monitor,
            bridges: &self.bridges,
            cross_coupling: &self.cross_coupling,
            electrodes: &self.electrodes,
            axes: AxesConfig {
                axes: self.axes,
                solve: &self.solve,
                geometry: &self.geometry,
                residual_am: self.residual_am,
            },
        })
    }
}
