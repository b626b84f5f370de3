//! `quietgap cycles`.

use super::{print_json, say};
use clap::Args;
use quietgap_sim::cycles::{Shape, cpu};
use quietgap_sim::error::{Error, Result};
use quietgap_sim::instrument::Sensor;
use serde_json::json;
use std::fmt::Write;

/// Arguments.
#[derive(Args, Debug)]
pub struct Options {
    /// Sensor file, or the name of a built-in sensor
    #[arg(default_value = "vault-two-bridge")]
    sensor: String,
    /// Clock of the microcontroller
    #[arg(long, value_name = "HZ", default_value_t = 200e6, allow_negative_numbers = true)]
    clock: f64,
    /// Core: m4, m7 or m33
    #[arg(long, value_name = "NAME", default_value = "m7")]
    cpu: String,
    /// One JSON object on standard output
    #[arg(long)]
    json: bool,
}

/// Slowest and fastest clock taken, Hz.
const CLOCKS_HZ: (f64, f64) = (1e3, 1e11);

pub(super) fn run(options: &Options) -> Result<bool> {
    let sensor = Sensor::load(&options.sensor)?;
    let cpu = cpu(&options.cpu).map_err(|known| {
        Error::new(format!("--cpu {}: no such core, allowed {known}", options.cpu))
    })?;
    let clock = options.clock;
    if !(clock >= CLOCKS_HZ.0 && clock <= CLOCKS_HZ.1) {
        let (least, most) = CLOCKS_HZ;
        return Err(Error::new(format!("--clock {clock}: allowed {least:e} to {most:e} Hz")));
    }
    let shape = sensor.settings.with_config(Shape::of);
    let needs = shape.register_bits().max(sensor.plan.register_bits);
    if needs > 64 {
        return Err(Error::new(format!(
            "{}: the CIC's register has {needs} bits; instruction counts are known for 64",
            options.sensor
        )));
    }
    let counts = shape.instructions(cpu.coefficients);
    let intervals_hz = sensor.rate_hz() / shape.ratio;
    let samples = shape.ratio * shape.channels;
    let (chain, busiest, worst) = (counts.chain(&shape), counts.busiest(), counts.worst());
    let available = clock / intervals_hz;
    let cycles = |instructions: f64| instructions * cpu.cycles_per_instruction;
    let (load, worst_load) = (cycles(chain) / available, cycles(worst) / available);
    let stages = [
        ("front end, blocks handed on", counts.front_end + counts.join),
        ("FIR stages", counts.firs),
        ("bridges, axes, health", counts.reading / shape.intervals()),
    ];
    // A worst interval longer than its own time only lets blocks wait.
    let pass = load < 1.0;
    if options.json {
        let stages: Vec<_> = stages
            .iter()
            .map(|(name, instructions)| {
                json!({"name": name, "instructions": instructions,
                       "instructions_per_sample": instructions / samples, "cycles": cycles(*instructions)})
            })
            .collect();
        print_json(&json!({
            "schema": 1, "command": "cycles", "sensor": sensor.file.name, "cpu": cpu.name,
            "clock_hz": clock, "rate_hz": sensor.rate_hz(), "channels": sensor.channels(),
            "interval_samples": shape.ratio, "intervals_per_s": intervals_hz, "stages": stages,
            "instructions_per_interval": chain, "instructions_per_sample": chain / samples,
            "cycles_per_instruction": cpu.cycles_per_instruction, "assumption": cpu.assumption,
            "cycles_per_interval": cycles(chain), "cycles_available": available, "load": load,
            "busiest": {"instructions": busiest, "cycles": cycles(busiest), "load": cycles(busiest) / available},
            "worst": {"instructions": worst, "cycles": cycles(worst), "load": worst_load},
            "left": 1.0 - load, "pass": pass,
        }));
    }
    let mut text = String::new();
    let _ = writeln!(
        text,
        "{} on a {} at {} MHz: {} channels at {} S/s, an interval of {} samples every {:.1} us\n",
        sensor.file.name,
        cpu.name,
        clock / 1e6,
        sensor.channels(),
        sensor.rate_hz(),
        shape.ratio,
        1e6 / intervals_hz,
    );
    let _ = writeln!(
        text,
        "{:<30} {:>14} {:>12} {:>10} {:>8}",
        "stage", "instructions", "per sample", "cycles", "load"
    );
    let mut row = |name: &str, instructions: f64| {
        let _ = writeln!(
            text,
            "{name:<30} {instructions:>14.0} {:>12.2} {:>10.0} {:>6.1} %",
            instructions / samples,
            cycles(instructions),
            100.0 * cycles(instructions) / available,
        );
    };
    stages.iter().for_each(|(name, instructions)| row(name, *instructions));
    row("all, mean of an interval", chain);
    row("all, busiest without reading", busiest);
    row("all, worst interval", worst);
    let _ = writeln!(
        text,
        "\nPer sample: per converter sample and channel. Worst: every stage gives an output, codes are\n\
         looked at twice, and the reading takes the most rounds.\n\
         {} cycles an instruction: {}.\n{}: {:.1} % of the core is left.",
        cpu.cycles_per_instruction,
        cpu.assumption,
        if pass { "Fits" } else { "MISSED" },
        100.0 * (1.0 - load),
    );
    if pass && worst_load > 1.0 {
        let _ = writeln!(
            text,
            "The worst interval takes {worst_load:.1} times its own length: let that many wait in a queue."
        );
    }
    say(options.json, &text);
    Ok(pass)
}
