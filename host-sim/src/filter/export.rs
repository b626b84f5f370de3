//! **Export**: a plan, or all of a sensor's settings, as the constants that firmware compiles in,
//! with what it promises and a checksum in the header.

pub mod package;
mod settings;

use super::subject::Subject;
use crate::instrument::design::{CarrierRatio, carrier_ratio};
use quietgap_core::carrier::MAX_PERIOD;
use quietgap_core::config::Path;
use quietgap_core::front_end::{folding, section_length};
use quietgap_core::mixer;
use std::fmt::Write;

/// 64-bit FNV-1a (Fowler, Noll, Vo) of a text.
#[must_use]
pub fn fnv1a(text: &str) -> u64 {
    text.bytes().fold(0xcbf2_9ce4_8422_2325, |hash, byte| {
        (hash ^ u64::from(byte)).wrapping_mul(0x0100_0000_01b3)
    })
}

/// The plan as Rust.
#[must_use]
pub fn rust(subject: &Subject) -> String {
    let body = body(subject);
    let mut text = header(subject, fnv1a(&body));
    text += &body;
    text
}

fn header(subject: &Subject, checksum: u64) -> String {
    let mut text = String::new();
    let mut line = |s: String| {
        // A name may hold what would end the comment.
        let s = s.replace(char::is_control, " ");
        let _ = writeln!(text, "{}", format!("//! {s}").trim_end());
    };
    line(format!(
        "{}: {} S/s, carrier {} Hz, {}-bit codes, {}, to {} S/s.",
        subject.settings.as_ref().map_or("Decimation plan", |_| &subject.name),
        subject.rate_hz,
        subject.carrier_hz,
        subject.code_bits,
        if subject.channels == 1 {
            "1 channel".to_owned()
        } else {
            format!("{} channels", subject.channels)
        },
        subject.output_rate_hz()
    ));
    line(String::new());
    let source = if subject.settings.is_some() { "sensor file" } else { "plan" };
    line(format!("Made by `quietgap filter export`; change the {source}, not this file."));
    line(format!("Checksum (FNV-1a of all below these lines): {checksum:#018x}."));
    line(format!("Delay {} s.", subject.delay_s()));
    match &subject.plan.mask {
        Some(mask) => {
            line(format!(
                "Promises: 0 to {} Hz within {} dB; what folds onto 0 to {} Hz down by {} dB.",
                mask.pass_hz, mask.pass_db, mask.alias_into_hz, mask.alias_db
            ));
            if let Some(delay) = mask.delay_s {
                line(format!("Promises: delay at most {delay} s."));
            }
        }
        None => line("Promises nothing: the plan has no mask.".to_owned()),
    }
    for tone in subject.lines() {
        line(format!(
            "Promises: {} ({} Hz) down by {} dB.",
            tone.name, tone.frequency_hz, tone.reject_db
        ));
    }
    text
}

fn body(subject: &Subject) -> String {
    let mut text = String::new();
    write_body(&mut text, subject).expect("a string takes all");
    text
}

fn write_body(text: &mut String, subject: &Subject) -> std::fmt::Result {
    let (plan, front) = (&subject.plan, subject.front_end());
    let folded = folding(subject.carrier, front, subject.code_bits);
    writeln!(text, "\nuse quietgap_core::carrier::CarrierRatio;")?;
    let all = subject.settings.is_some();
    let config = if all { "*" } else { "{FirConfig, FrontEndConfig, Path}" };
    writeln!(text, "use quietgap_core::config::{config};")?;
    let way = if folded.is_some() { "fold::Fold" } else { "mixer::Mixer" };
    writeln!(text, "use quietgap_core::{way};")?;
    writeln!(text, "{}", if all { settings::USES } else { "" })?;
    let mut constant = |doc: &str, name: &str, kind: &str, value: String| {
        writeln!(text, "/// {doc}\npub const {name}: {kind} = {value};")
    };
    let (columns, phases) = match folded {
        Some(folding) => (subject.channels * folding.columns as usize, Some(folding.columns)),
        None => {
            let section = section_length(front, subject.code_bits, None);
            (mixer::table_length(section) as usize, None)
        }
    };
    let open = |taps: usize, ratio: u16| taps.div_ceil(ratio.into());
    let firs = || plan.firs.iter().map(|f| (open(f.taps.len(), f.ratio), usize::from(f.ratio)));
    let taps: usize = firs().map(|(open, ratio)| open * ratio).sum();
    let sums: usize = firs().map(|(open, _)| open * subject.channels).sum();
    let number = |n: usize| n.to_string();
    constant("Bits of a code.", "CODE_BITS", "u8", subject.code_bits.to_string())?;
    constant("Order of the CIC.", "ORDER", "usize", plan.order.to_string())?;
    constant("Channels.", "CHANNELS", "usize", number(subject.channels))?;
    constant("Columns of the front end, all channels.", "COLUMNS", "usize", number(columns))?;
    if let Some(phases) = phases {
        constant("Columns of a channel.", "PHASES", "usize", phases.to_string())?;
    }
    constant("Room for taps.", "TAPS", "usize", number(taps))?;
    constant("Room for open sums.", "OPEN", "usize", number(sums))?;
    let register = match (plan.register_bits, plan.pruned_bits) {
        (64, 0) => "i64",
        (64, _) => "quietgap_core::word::Pruned",
        _ => "i128",
    };
    let way = match folded {
        Some(_) => "Fold<ORDER, CHANNELS, COLUMNS, true, PHASES>",
        None => "Mixer<ORDER, CHANNELS, COLUMNS>",
    };
    writeln!(text, "/// Register of the CIC.\npub type Register = {register};")?;
    writeln!(text, "/// Way of the front end.\npub type Way = {way};")?;
    writeln!(text, "/// Carrier over sample rate.")?;
    writeln!(text, "pub const CARRIER: CarrierRatio = match {} {{", carrier(subject))?;
    writeln!(text, "    Ok(carrier) => carrier,")?;
    writeln!(text, "    Err(error) => panic!(\"{{}}\", error.message().as_str()),\n}};")?;
    writeln!(text, "/// First decimation.\n#[rustfmt::skip]")?;
    writeln!(text, "pub const FRONT_END: FrontEndConfig = FrontEndConfig {{")?;
    writeln!(text, "    order: {},", plan.order)?;
    writeln!(text, "    ratio: {},", plan.ratio)?;
    writeln!(text, "    differential_delay: {},", plan.differential_delay)?;
    let path = match front.path {
        Path::Auto => "Auto",
        Path::Coherent => "Coherent",
        Path::General => "General",
    };
    writeln!(text, "    path: Path::{path},")?;
    writeln!(text, "    pruned_bits: {},\n}};", front.pruned_bits)?;
    writeln!(text, "/// FIR stages.\n#[rustfmt::skip]")?;
    writeln!(text, "pub const FIRS: [FirConfig<'static>; {}] = [", plan.firs.len())?;
    for (n, f) in plan.firs.iter().enumerate() {
        writeln!(
            text,
            "    FirConfig {{ ratio: {}, taps: &FIR_{}_TAPS, scale_bits: {} }},",
            f.ratio,
            n + 1,
            f.scale_bits
        )?;
    }
    writeln!(text, "];")?;
    for (n, f) in plan.firs.iter().enumerate() {
        let (number, length) = (n + 1, f.taps.len());
        writeln!(text, "/// Taps of FIR stage {number}, of weight 2^-{}.", f.scale_bits)?;
        writeln!(text, "#[rustfmt::skip]")?;
        writeln!(text, "pub const FIR_{number}_TAPS: [i32; {length}] = [")?;
        for taps in f.taps.chunks(8) {
            let taps: Vec<String> = taps.iter().map(i32::to_string).collect();
            writeln!(text, "    {},", taps.join(", "))?;
        }
        writeln!(text, "];")?;
    }
    match &subject.settings {
        Some(settings) => settings::write(text, settings),
        None => Ok(()),
    }
}

/// The carrier as an expression: exact where the core takes it so.
fn carrier(subject: &Subject) -> String {
    let CarrierRatio { cycles, samples } = carrier_ratio(subject.carrier_hz, subject.rate_hz);
    if samples <= MAX_PERIOD {
        format!("CarrierRatio::coherent({cycles}, {samples})")
    } else {
        let turns = ((u128::from(cycles) << 64) + u128::from(samples) / 2) / u128::from(samples);
        format!("CarrierRatio::from_step({turns})")
    }
}

/// First line, from 1, in which two texts differ, and both lines.
#[must_use]
pub fn first_difference<'a>(is: &'a str, should: &'a str) -> Option<(usize, &'a str, &'a str)> {
    let (mut is, mut should) = (is.lines(), should.lines());
    for line in 1.. {
        match (is.next(), should.next()) {
            (None, None) => return None,
            (a, b) if a == b => {}
            (a, b) => return Some((line, a.unwrap_or("(end)"), b.unwrap_or("(end)"))),
        }
    }
    None
}
