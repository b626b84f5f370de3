//! Every refusal of a configuration, by pairs: the last value that passes, the first that does
//! not, with the stage, quantity, value and range that the error must name.

use quietgap_core::carrier::CarrierRatio;
use quietgap_core::config::*;
use quietgap_core::fold::FoldTables;
use quietgap_core::front_end::FrontEnd;
use quietgap_core::mixer::MixerTables;
use quietgap_core::section::{Folding, Sections};
use quietgap_core::word::{Coefficient, Fraction, Word};
use quietgap_core::{ConfigError, Readout, Stage};

mod rows;

use rows::{fir, fir_rows, front_end_rows, slow_rows};

/// A readout's settings, owned, so that a row of the table changes one thing.
#[derive(Clone)]
struct Setup {
    code_bits: u8,
    carrier: CarrierRatio,
    front_end: FrontEndConfig,
    /// Ratio, taps, scale.
    firs: Vec<(u16, Vec<i32>, u8)>,
    channels: usize,
    monitor: Option<MonitorConfig>,
    bridges: Vec<BridgeConfig>,
    cross_coupling: Vec<Fraction>,
    electrodes: Vec<ElectrodeConfig>,
    axes: u8,
    solve: usize,
    geometry: usize,
    /// All entries of either matrix.
    entries: [Coefficient; 2],
    residual_am: i64,
    /// Cosine of all alignments, their sine being zero.
    cosine: Fraction,
}

type Change = fn(&mut Setup);
type Build = fn(&Setup) -> Option<ConfigError>;
type Row = (Build, Change, Change, (Stage, &'static str, i64, i64, i64));

fn build<const ORDER: usize, const CHANNELS: usize, const COLUMNS: usize>(
    setup: &Setup,
) -> Option<ConfigError> {
    let fir =
        |(ratio, taps, scale_bits): &'_ (u16, Vec<i32>, u8)| (*ratio, taps.clone(), *scale_bits);
    let owned: Vec<(u16, Vec<i32>, u8)> = setup.firs.iter().map(fir).collect();
    let firs: Vec<FirConfig> = owned
        .iter()
        .map(|(ratio, taps, scale_bits)| FirConfig { ratio: *ratio, taps, scale_bits: *scale_bits })
        .collect();
    let config = ReadoutConfig {
        code_bits: setup.code_bits,
        carrier: setup.carrier,
        front_end: setup.front_end,
        firs: &firs,
        alignments: &vec![Alignment { cosine: setup.cosine, sine: Fraction::ZERO }; setup.channels],
        monitor: setup.monitor,
        bridges: &setup.bridges,
        cross_coupling: &setup.cross_coupling,
        electrodes: &setup.electrodes,
        axes: AxesConfig {
            axes: setup.axes,
            solve: &vec![setup.entries[0]; setup.solve],
            geometry: &vec![setup.entries[1]; setup.geometry],
            residual_am: setup.residual_am,
        },
    };
    Readout::<ORDER, CHANNELS, COLUMNS, 12288, 24, i128>::new(&config).err()
}

/// The usual board: order 2, 3 channels, 8 columns.
const BOARD: Build = build::<2, 3, 128>;

fn good() -> Setup {
    Setup {
        code_bits: 24,
        carrier: CarrierRatio::coherent(1, 4).unwrap(),
        front_end: FrontEndConfig {
            order: 2,
            ratio: 8,
            differential_delay: 1,
            path: Path::Auto,
            pruned_bits: 0,
        },
        firs: Vec::new(),
        channels: 3,
        monitor: Some(MonitorConfig {
            channel: 2,
            calibration: Word::ONE,
            weak: Word::lit("0.5"),
            lost: Word::lit("0.1"),
            phase: Fraction::lit("0.1"),
        }),
        bridges: vec![bridge(difference()), bridge(separate())],
        cross_coupling: Vec::new(),
        electrodes: Vec::new(),
        axes: 1,
        solve: 2,
        geometry: 2,
        entries: [Coefficient::ONE; 2],
        residual_am: 1,
        cosine: Fraction::ONE,
    }
}

fn difference() -> BridgeKind {
    BridgeKind::Difference { channel: 0, full: Word::ONE }
}
fn separate() -> BridgeKind {
    BridgeKind::Separate { channels: [1, 2], least_sum: Word::ONE }
}
fn bridge(kind: BridgeKind) -> BridgeConfig {
    BridgeConfig::plain(kind, 1000)
}
fn electrode() -> ElectrodeConfig {
    ElectrodeConfig {
        gap_am: 1000,
        position_am: [0; 3],
        normal: [Fraction::ONE, Fraction::ZERO, Fraction::ZERO],
        half_sides: [[HalfSide::ZERO; 3]; 2],
        total_share: Fraction::ZERO,
        drive_share: Fraction::ZERO,
    }
}

fn refusals() -> Vec<ConfigError> {
    let mut refusals = Vec::new();
    for (build, pass, fail, (stage, quantity, given, min, max)) in
        front_end_rows().into_iter().chain(fir_rows()).chain(slow_rows())
    {
        let (mut last_good, mut first_bad) = (good(), good());
        pass(&mut last_good);
        fail(&mut first_bad);
        assert_eq!(build(&last_good), None, "the good side of {quantity}");
        let error = build(&first_bad).unwrap_or_else(|| panic!("{quantity} {given} passed"));
        let is = (error.stage, error.quantity, error.given, error.min, error.max);
        assert_eq!(is, (stage, quantity, given, min, max));
        refusals.push(error);
    }
    refusals
}

#[test]
fn boundary_pairs() {
    assert_eq!(BOARD(&good()), None);
    assert_eq!(refusals().len(), 105);
}

/// Pairs in the readout's capacities, which are types: order 0 and 7, no columns at all.
#[test]
fn capacities() {
    let order = |order| {
        let mut setup = good();
        setup.front_end.order = order;
        setup
    };
    let refused = |given, min, max, quantity| ConfigError {
        stage: Stage::FrontEnd,
        quantity,
        given,
        min,
        max,
    };
    assert_eq!(build::<1, 3, 8>(&order(1)), None);
    assert_eq!(build::<0, 3, 8>(&order(0)), Some(refused(0, 1, 6, "order")));
    assert_eq!(build::<6, 3, 8>(&order(6)), None);
    assert_eq!(build::<7, 3, 8>(&order(7)), Some(refused(7, 1, 6, "order")));
    // Three channels of two phases fill six columns.
    assert_eq!(build::<2, 3, 6>(&good()), None);
    let quantity = "channels x carrier phases, for which there are COLUMNS";
    assert_eq!(build::<2, 3, 5>(&good()), Some(refused(6, 1, 5, quantity)));
}

/// A board's 64-bit register: 24 bits of code, 22 of the carrier and 2 x 9 of growth fill it; one
/// bit more of growth leaves too few for the carrier, which then takes all it may (29, as K = 2).
#[test]
fn a_register_of_64_bits() {
    let carrier = CarrierRatio::coherent(1, 4).unwrap();
    let front_end = |ratio| {
        let config = FrontEndConfig { ratio, path: Path::Coherent, ..good().front_end };
        FrontEnd::<i64, 2, 1, 16>::new(carrier, config, 1, 24).err()
    };
    assert_eq!(front_end(512), None);
    let bits = (24 + 29 + 19, "CIC register bits");
    assert_eq!(front_end(516).map(|e| (e.given, e.quantity, e.max)), Some((bits.0, bits.1, 64)));
}

/// A pruned plan folds by half periods, in pairs of rows: of 31-bit codes one pair fits, of 32-bit codes
/// none, and what asks to be folded is refused, not mixed.
#[test]
fn a_pruned_plan_that_cannot_be_folded() {
    let carrier = CarrierRatio::coherent(1, 10).unwrap();
    let config = |path| FrontEndConfig { ratio: 10, path, pruned_bits: 2, ..good().front_end };
    let new = |path, bits| FrontEnd::<i128, 2, 1, 16>::new(carrier, config(path), 1, bits);
    assert!(new(Path::Coherent, 31).unwrap().is_folded());
    let quantity = "samples of codes so wide in a folded section";
    let refused = ConfigError { stage: Stage::FrontEnd, quantity, given: 0, min: 1, max: 10 };
    assert_eq!(new(Path::Coherent, 32).err(), Some(refused));
    assert!(!new(Path::Auto, 32).unwrap().is_folded());
}

/// The stages of the front end, set up without a readout around them.
#[test]
fn stages_by_themselves() {
    let (coherent, other) =
        (CarrierRatio::coherent(1, 6).unwrap(), CarrierRatio::from_step(5).unwrap());
    let refused = |stage, quantity, given, max| ConfigError { stage, quantity, given, min: 1, max };
    let sections = |carrier: CarrierRatio, channels, whole| Sections {
        carrier,
        channels,
        folded: carrier.period().and_then(|period| Folding::new(period, whole, 2, 24)),
        fraction_bits: 24,
        order: 2,
        whole,
        last: whole,
    };
    let fold = |carrier, channels| {
        FoldTables::<2, 3, 6, false>::new(&sections(carrier, channels, 12)).err()
    };
    assert_eq!(fold(coherent, 2), None);
    let quantity = "carrier period within the ratio, which Fold needs (Mixer does not)";
    assert_eq!(fold(other, 2), Some(refused(Stage::FrontEnd, quantity, 0, 6)));
    let quantity = "channels x carrier phases, for which there are COLUMNS";
    assert_eq!(fold(coherent, 3), Some(refused(Stage::FrontEnd, quantity, 9, 6)));
    let mixer = |carrier, channels, whole| {
        MixerTables::<2, 6>::new(&sections(carrier, channels, whole)).err()
    };
    assert_eq!(mixer(other, 2, 11), None);
    let quantity = "samples in half a section, for which there are COLUMNS";
    assert_eq!(mixer(other, 2, 12), Some(refused(Stage::FrontEnd, quantity, 7, 6)));
    assert_eq!(mixer(other, 3, 6), Some(refused(Stage::Converter, "channels", 3, 2)));
    let quantity = "columns that the plan folds by (Fold does, Mixer does not)";
    let folds = ConfigError { min: 0, ..refused(Stage::FrontEnd, quantity, 3, 0) };
    assert_eq!(mixer(coherent, 2, 6), Some(folds));
}

/// The words that the compiler can make, too, are those of the formatter.
#[test]
fn words_of_a_refusal() {
    let stages = [
        (Stage::Converter, "converter"),
        (Stage::FrontEnd, "front end"),
        (Stage::Fir(6), "FIR stage 6"),
        (Stage::Bridge(255), "bridge 255"),
        (Stage::Housing, "housing"),
    ];
    let numbers = [i64::MIN, -10, -9, -1, 0, 1, 9, 10, 99, 100, 1_234_567_890, i64::MAX];
    for (stage, words) in stages {
        for (given, min, max) in numbers.map(|n| (n, n.wrapping_neg(), n / 10)) {
            let error = ConfigError { stage, quantity: "share, Q2.62", given, min, max };
            let expected = format!("{words}: share, Q2.62 is {given}, allowed {min} to {max}");
            assert_eq!(error.to_string(), expected);
            assert_eq!(error.message().as_str(), expected);
        }
    }
    // Longer than any of ours: cut, no panic.
    let quantity = "0123456789 ".repeat(30).leak();
    let error = ConfigError { stage: Stage::Axes, quantity, given: 1, min: 0, max: 0 };
    let expected = format!("axes: {quantity}");
    assert_eq!(error.message().as_str(), &expected[..192]);
}

#[test]
fn carriers() {
    let most = 1 << 20;
    let refused = |quantity, given, min, max| ConfigError {
        stage: Stage::Carrier,
        quantity,
        given,
        min,
        max,
    };
    let coherent = |cycles, samples| CarrierRatio::coherent(cycles, samples).unwrap_err();
    let samples = "samples in the carrier's period";
    let cycles = "cycles in the carrier's period";
    for (good_cycles, good_samples) in
        [(1, 3), (1, 1 << 20), (1, 5), (2, 5), (1, 4), ((1 << 19) - 1, 1 << 20)]
    {
        assert!(CarrierRatio::coherent(good_cycles, good_samples).is_ok());
    }
    assert_eq!(coherent(1, 0), refused(samples, 0, 1, most));
    assert_eq!(coherent(1, (1 << 20) + 1), refused(samples, most + 1, 1, most));
    assert_eq!(coherent(0, 5), refused(cycles, 0, 1, 2));
    assert_eq!(coherent(3, 5), refused(cycles, 3, 1, 2));
    assert_eq!(coherent(2, 4), refused(cycles, 2, 1, 1));
    assert_eq!(coherent(1 << 19, 1 << 20), refused(cycles, 1 << 19, 1, (1 << 19) - 1));
    assert!(CarrierRatio::from_step(1).is_ok() && CarrierRatio::from_step((1 << 63) - 2).is_ok());
    assert_eq!(CarrierRatio::from_step(0).err().map(|e| e.stage), Some(Stage::Carrier));
    // What does not fit the error's i64 is told as the largest one.
    for step in [(1 << 63) - 1, 1 << 63, u64::MAX] {
        let error = CarrierRatio::from_step(step).unwrap_err();
        assert_eq!(error, refused("step", i64::MAX, 1, i64::MAX - 1));
    }
}

/// Whoever reads the message must not find the refused value within what it says is allowed.
#[test]
fn refused_values_are_outside_the_range_they_name() {
    let carriers = [
        CarrierRatio::coherent(0, 5).err(),
        CarrierRatio::from_step(0).err(),
        CarrierRatio::from_step(1 << 63).err(),
    ];
    for error in refusals().into_iter().chain(carriers.into_iter().flatten()) {
        assert!(error.given < error.min || error.given > error.max, "{error}");
    }
}

/// Sample numbers are 64 bits: a plan of a longer interval than that must not be built.
#[test]
fn interval_beyond_64_bits() {
    let mut setup = good();
    setup.front_end.ratio = 4096;
    (0..5).for_each(|_| fir(&mut setup, 4096, &[1], 0));
    let outcome = std::panic::catch_unwind(|| BOARD(&setup)).expect("no panic");
    assert!(matches!(outcome.expect("refused").stage, Stage::Fir(1..=5)));
}

#[test]
fn message() {
    let mut setup = good();
    setup.front_end.ratio = 1;
    let text = BOARD(&setup).expect("refused").to_string();
    assert_eq!(text, "front end: ratio is 1, allowed 2 to 4096");
    let stages = [
        (Stage::Converter, "converter"),
        (Stage::Fir(2), "FIR stage 2"),
        (Stage::Bridge(12), "bridge 12"),
    ];
    for (stage, text) in stages.into_iter().chain([
        (Stage::Carrier, "carrier"),
        (Stage::Monitor, "monitor"),
        (Stage::Axes, "axes"),
    ]) {
        assert_eq!(stage.to_string(), text);
    }
}
