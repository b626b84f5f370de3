//! A sensor's settings behind its plan: alignment, monitor, bridges and axes as constants, and the
//! readout's plan, which the compiler checks and works out.

use crate::instrument::settings::Settings;
use quietgap_core::config::{Alignment, BridgeConfig, BridgeKind, ElectrodeConfig, MonitorConfig};
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
    let shares = settings.cross_coupling.iter().map(|share| fraction(*share)).collect();
    let doc = "What bridges pick up of each other, row by row.";
    list(text, doc, "CROSS_COUPLING", "Fraction", shares)?;
    let electrodes = settings.electrodes.iter().map(electrode).collect();
    let doc = "Electrodes: those of the bridges, then all others that move.";
    list(text, doc, "ELECTRODES", "ElectrodeConfig", electrodes)?;
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
    cross_coupling: &CROSS_COUPLING,
    electrodes: &ELECTRODES,
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

fn fractions<const N: usize>(fractions: [Fraction; N]) -> String {
    format!("[{}]", fractions.map(fraction).join(", "))
}

fn alignment(alignment: &Alignment) -> String {
    let [cosine, sine] = [alignment.cosine, alignment.sine].map(fraction);
    format!("Alignment {{ cosine: {cosine}, sine: {sine} }}")
}

fn monitor(monitor: &MonitorConfig) -> String {
    let [calibration, weak, lost] = [monitor.calibration, monitor.weak, monitor.lost].map(word);
    let (channel, phase) = (monitor.channel, fraction(monitor.phase));
    format!(
        "Some(MonitorConfig {{\n    channel: {channel},\n    calibration: {calibration},\n    \
         weak: {weak},\n    lost: {lost},\n    phase: {phase},\n}})"
    )
}

fn bridge(bridge: &BridgeConfig) -> String {
    let kind = match bridge.kind {
        BridgeKind::Difference { channel, full } => {
            format!("Difference {{ channel: {channel}, full: {} }}", word(full))
        }
        BridgeKind::Separate { channels: [a, b], least_sum } => {
            format!("Separate {{ channels: [{a}, {b}], least_sum: {} }}", word(least_sum))
        }
    };
    let BridgeConfig { gap_am, offset_am, .. } = *bridge;
    let [strays, weights, gaps] = [bridge.strays, bridge.weights, bridge.gaps].map(fractions);
    let limits = [bridge.range, bridge.quadrature, bridge.phase, bridge.floor].map(fraction);
    let [range, quadrature, phase, floor] = limits;
    format!(
        "BridgeConfig {{\n        kind: BridgeKind::{kind},\n        strays: {strays},\n        \
         weights: {weights},\n        gaps: {gaps},\n        gap_am: {gap_am},\n        \
         offset_am: {offset_am},\n        range: {range},\n        quadrature: {quadrature},\n        \
         phase: {phase},\n        floor: {floor},\n    }}"
    )
}

fn electrode(electrode: &ElectrodeConfig) -> String {
    let ElectrodeConfig { gap_am, position_am, .. } = electrode;
    let normal = fractions(electrode.normal);
    let sides = electrode.half_sides.map(|side| {
        let parts = side.map(|part| format!("HalfSide::from_bits({})", part.to_bits()));
        format!("            [{}],\n", parts.join(", "))
    });
    let [total, drive] = [electrode.total_share, electrode.drive_share].map(fraction);
    format!(
        "ElectrodeConfig {{\n        gap_am: {gap_am},\n        position_am: {position_am:?},\n        \
         normal: {normal},\n        half_sides: [\n{}        ],\n        total_share: {total},\n        \
         drive_share: {drive},\n    }}",
        sides.concat()
    )
}
