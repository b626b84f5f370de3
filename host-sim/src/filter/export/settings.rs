//! A sensor's settings behind its plan: alignment, monitor, bridges and axes as constants, and the
//! readout's plan, which the compiler checks and works out.

use crate::instrument::settings::Settings;
use quietgap_core::config::{Alignment, BridgeConfig, BridgeKind, MonitorConfig};
use quietgap_core::word::{Coefficient, Fraction, Word};
use std::fmt::{Result, Write};

/// What the constants take of the core beside what the plan's do.
pub const USES: &str = "\
use quietgap_core::plan::Plan;
use quietgap_core::readout::Readout;
use quietgap_core::word::{Coefficient, Fraction, Word};
";

/// Writes the constants.
pub fn write(text: &mut String, settings: &Settings) -> Result {
    let list = |text: &mut String, doc: &str, name: &str, kind: &str, items: Vec<String>| {
        writeln!(text, "/// {doc}")?;
        writeln!(text, "#[rustfmt::skip]")?;
        writeln!(text, "pub const {name}: [{kind}; {}] = [", items.len())?;
        items.iter().try_for_each(|item| writeln!(text, "    {item},"))?;
        writeln!(text, "];")
    };
    let alignments = settings.alignments.iter().map(alignment).collect();
    list(text, "Phase alignment of each channel.", "ALIGNMENTS", "Alignment", alignments)?;
    writeln!(text, "/// Injection monitor.\n#[rustfmt::skip]")?;
    let given = settings.monitor.as_ref().map_or("None".to_owned(), monitor);
    writeln!(text, "pub const MONITOR: Option<MonitorConfig> = {given};")?;
    let bridges = settings.bridges.iter().map(bridge).collect();
    list(text, "Bridges.", "BRIDGES", "BridgeConfig", bridges)?;
    let entries = |m: &[Coefficient]| m.iter().map(|c| bits("Coefficient", c.to_bits())).collect();
    let doc = "Bridges to axes, row by row.";
    list(text, doc, "SOLVE", "Coefficient", entries(&settings.solve))?;
    let doc = "Axes to bridges, row by row.";
    list(text, doc, "GEOMETRY", "Coefficient", entries(&settings.geometry))?;
    let (axes, residual_am) = (settings.axes, settings.residual_am);
    write!(
        text,
        "\
/// All settings of the readout.
#[rustfmt::skip]
pub const CONFIG: ReadoutConfig<'static> = ReadoutConfig {{
    code_bits: CODE_BITS,
    carrier: CARRIER,
    front_end: FRONT_END,
    firs: &FIRS,
    alignments: &ALIGNMENTS,
    monitor: MONITOR,
    bridges: &BRIDGES,
    axes: AxesConfig {{
        axes: {axes},
        solve: &SOLVE,
        geometry: &GEOMETRY,
        residual_am: {residual_am},
    }},
}};
/// The readout: a `static` is made of `Board::IDLE`, and started by `load(&PLAN)`.
pub type Board = Readout<ORDER, CHANNELS, COLUMNS, TAPS, OPEN, Register, Way>;
/// Its plan.
pub type BoardPlan = Plan<ORDER, CHANNELS, COLUMNS, TAPS, OPEN, Register, Way>;
/// Checked and worked out by the compiler: settings that are refused end the build.
pub static PLAN: BoardPlan = match BoardPlan::new(&CONFIG) {{
    Ok(plan) => plan,
    Err(error) => panic!(\"{{}}\", error.message().as_str()),
}};
"
    )
}

fn bits(kind: &str, bits: i64) -> String {
    format!("{kind}::from_bits({bits})")
}

fn word(word: Word) -> String {
    bits("Word", word.to_bits())
}

fn fraction(fraction: Fraction) -> String {
    bits("Fraction", fraction.to_bits())
}

fn alignment(alignment: &Alignment) -> String {
    let [cosine, sine] = [alignment.cosine, alignment.sine].map(fraction);
    format!("Alignment {{ cosine: {cosine}, sine: {sine} }}")
}

fn monitor(monitor: &MonitorConfig) -> String {
    let [calibration, weak, lost] = [monitor.calibration, monitor.weak, monitor.lost].map(word);
    let channel = monitor.channel;
    format!(
        "Some(MonitorConfig {{\n    channel: {channel},\n    calibration: {calibration},\n    \
         weak: {weak},\n    lost: {lost},\n}})"
    )
}

fn bridge(bridge: &BridgeConfig) -> String {
    let kind = match bridge.kind {
        BridgeKind::Difference { channel, full, imbalance, share } => {
            let (full, imbalance, share) = (word(full), fraction(imbalance), fraction(share));
            format!(
                "BridgeKind::Difference {{\n            channel: {channel},\n            \
                 full: {full},\n            imbalance: {imbalance},\n            \
                 share: {share},\n        }}"
            )
        }
        BridgeKind::Separate { channels, strays, least_sum } => {
            let ([a, b], [s1, s2], least_sum) = (channels, strays.map(word), word(least_sum));
            format!(
                "BridgeKind::Separate {{\n            channels: [{a}, {b}],\n            \
                 strays: [{s1}, {s2}],\n            least_sum: {least_sum},\n        }}"
            )
        }
    };
    let BridgeConfig { gap_am, offset_am, range, quadrature, .. } = *bridge;
    let [range, quadrature] = [range, quadrature].map(fraction);
    format!(
        "BridgeConfig {{\n        kind: {kind},\n        gap_am: {gap_am},\n        \
         offset_am: {offset_am},\n        range: {range},\n        quadrature: {quadrature},\n    }}"
    )
}
