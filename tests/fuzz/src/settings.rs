//! Settings of the core: any value of any field. What is taken runs on any codes; what is refused says
//! a range that the value is out of.

use quietgap_core::carrier::CarrierRatio;
use quietgap_core::config::*;
use quietgap_core::front_end::way::AnyWay;
use quietgap_core::word::{Coefficient, Fraction, Pruned, Register, Word};
use quietgap_core::{ConfigError, Readout};

/// Hands out the fuzzer's bytes, zeros behind their end.
struct Bytes<'a>(&'a [u8]);

impl Bytes<'_> {
    fn byte(&mut self) -> u8 {
        let (first, rest) = self.0.split_first().unwrap_or((&0, &[]));
        self.0 = rest;
        *first
    }

    fn long(&mut self) -> i64 {
        i64::from_le_bytes([0; 8].map(|_| self.byte()))
    }

    /// Any value, but more often than not one near what settings are: a byte says which.
    fn value(&mut self, usual: i64) -> i64 {
        match self.byte() {
            kind @ 0..=127 => usual.wrapping_add(i64::from(kind)),
            128..=191 => usual >> (self.byte() & 63),
            192..=223 => (self.long() & 1) << (self.byte() & 63),
            _ => self.long(),
        }
    }

    fn fraction(&mut self, usual: i64) -> Fraction {
        Fraction::from_bits(self.value(usual))
    }

    fn list<T>(&mut self, most: usize, mut one: impl FnMut(&mut Self) -> T) -> Vec<T> {
        let count = usize::from(self.byte()) % (most + 1);
        (0..count).map(|_| one(self)).collect()
    }
}

const ONE: i64 = 1 << 62;
const GAP_AM: i64 = 2_000_000_000_000_000;

fn bridge(bytes: &mut Bytes<'_>) -> BridgeConfig {
    let kind = if bytes.byte() & 1 == 0 {
        BridgeKind::Difference {
            channel: bytes.byte() & 7,
            full: Word::from_bits(bytes.value(1 << 52)),
        }
    } else {
        BridgeKind::Separate {
            channels: [0; 2].map(|_| bytes.byte() & 7),
            least_sum: Word::from_bits(bytes.value(1 << 50)),
        }
    };
    BridgeConfig {
        kind,
        strays: [0; 2].map(|_| bytes.fraction(ONE / 100)),
        weights: [0; 2].map(|_| bytes.fraction(ONE / 2)),
        gaps: [0; 2].map(|_| bytes.fraction(ONE)),
        gap_am: bytes.value(GAP_AM),
        offset_am: bytes.value(0),
        range: bytes.fraction(ONE / 2),
        quadrature: bytes.fraction(ONE / 10),
        phase: bytes.fraction(ONE / 10),
        floor: bytes.fraction(ONE / 100),
    }
}

fn electrode(bytes: &mut Bytes<'_>) -> ElectrodeConfig {
    let direction = usize::from(bytes.byte() % 3);
    let mut normal = [ONE, 0, 0];
    normal.rotate_right(direction);
    ElectrodeConfig {
        gap_am: bytes.value(GAP_AM),
        position_am: [0; 3].map(|_| bytes.value(GAP_AM * 10)),
        normal: normal.map(|usual| bytes.fraction(usual)),
        half_sides: [[0; 3]; 2]
            .map(|side| side.map(|_| HalfSide::from_bits(bytes.value(1 << 26) as i32))),
        total_share: bytes.fraction(ONE / 20),
        drive_share: bytes.fraction(0),
    }
}

/// Any settings.
pub fn settings(data: &[u8]) {
    let bytes = &mut Bytes(data);
    let carrier = if bytes.byte() & 1 == 0 {
        CarrierRatio::coherent(bytes.byte().into(), bytes.byte().into())
    } else {
        CarrierRatio::from_step(bytes.value(1 << 60) as u64)
    };
    let Ok(carrier) = carrier.inspect_err(refused) else { return };
    let front_end = FrontEndConfig {
        order: bytes.byte() % 8,
        ratio: bytes.value(10) as u16,
        differential_delay: bytes.byte() % 4,
        path: [Path::Auto, Path::Coherent, Path::General][usize::from(bytes.byte() % 3)],
        pruned_bits: bytes.byte() % 40,
    };
    let taps: Vec<(u16, Vec<i32>, u8)> = bytes.list(7, |bytes| {
        let half = bytes.list(20, |bytes| bytes.value(1 << 20) as i32);
        let mut taps = half.clone();
        taps.extend(half.iter().rev().skip(usize::from(bytes.byte() & 1)));
        if bytes.byte() == 255 {
            taps.push(bytes.value(0) as i32);
        }
        (bytes.value(2) as u16, taps, bytes.byte() % 40)
    });
    let firs: Vec<FirConfig<'_>> = taps
        .iter()
        .map(|(ratio, taps, scale_bits)| FirConfig { ratio: *ratio, taps, scale_bits: *scale_bits })
        .collect();
    let alignments = bytes.list(8, |bytes| {
        let (cosine, sine) = quietgap_core::carrier::cos_sin(bytes.long() as u64);
        match bytes.byte() {
            255 => Alignment { cosine: bytes.fraction(ONE), sine: bytes.fraction(0) },
            _ => Alignment { cosine: Fraction::from_bits(cosine), sine: Fraction::from_bits(sine) },
        }
    });
    let bridges = bytes.list(MAX_BRIDGES + 1, bridge);
    let more = usize::from(bytes.byte() & 3);
    let electrodes = if bytes.byte() & 1 == 0 {
        Vec::new()
    } else {
        (0..2 * bridges.len() + more).map(|_| electrode(bytes)).collect()
    };
    let coupled = if bytes.byte() & 1 == 0 { 0 } else { bridges.len().pow(2) };
    let cross_coupling: Vec<Fraction> = (0..coupled).map(|_| bytes.fraction(0)).collect();
    let axes = bytes.byte();
    let cells = axes.count_ones() as usize * bridges.len() + usize::from(bytes.byte() == 255);
    let mut matrix =
        || (0..cells).map(|_| Coefficient::from_bits(bytes.value(1 << 40))).collect::<Vec<_>>();
    let (solve, geometry) = (matrix(), matrix());
    let monitor = (bytes.byte() & 1 == 1).then(|| MonitorConfig {
        channel: bytes.byte() & 7,
        calibration: Word::from_bits(bytes.value(1 << 51)),
        weak: Word::from_bits(bytes.value(1 << 50)),
        lost: Word::from_bits(bytes.value(1 << 48)),
        phase: bytes.fraction(ONE / 10),
    });
    let config = ReadoutConfig {
        code_bits: [24, 16, 32, 18, 8, 7, 33, 0][usize::from(bytes.byte() & 7)],
        carrier,
        front_end,
        firs: &firs,
        alignments: &alignments,
        monitor,
        bridges: &bridges,
        cross_coupling: &cross_coupling,
        electrodes: &electrodes,
        axes: AxesConfig {
            axes,
            solve: &solve,
            geometry: &geometry,
            residual_am: bytes.value(GAP_AM),
        },
    };
    let seek = bytes.long() as u64;
    let codes: Vec<i32> = (0..256).map(|_| bytes.value(1 << 22) as i32).collect();
    match front_end.order {
        1 => run::<1, i64>(&config, seek, &codes),
        3 => run::<3, i128>(&config, seek, &codes),
        4 => run::<4, Pruned>(&config, seek, &codes),
        _ => run::<2, i64>(&config, seek, &codes),
    }
}

fn run<const ORDER: usize, R: Register>(config: &ReadoutConfig<'_>, seek: u64, codes: &[i32]) {
    type Board<const ORDER: usize, R> = Readout<ORDER, 8, 256, 128, 64, R, AnyWay<ORDER, 8, 256>>;
    match Board::<ORDER, R>::new(config) {
        Ok(mut board) => {
            let mut readings = 0;
            for _ in 0..4 {
                board.push(codes, |_| readings += 1);
                board.push(&codes[..codes.len() / 3], |_| readings += 1);
            }
            board.seek(seek);
            board.push(codes, |_| readings += 1);
            assert!(board.counts().readings() >= readings, "{readings}");
        }
        Err(error) => refused(&error),
    }
}

fn refused(error: &ConfigError) {
    assert!(error.given < error.min || error.given > error.max, "{error:?}");
    assert!(error.to_string().len() <= 300);
}
