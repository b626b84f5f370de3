//! The `quietgap` command. Exit codes: 0 done, within limits; 1 done, a limit missed; 2 bad
//! usage or input, nothing written.

mod commands;
mod live;
mod page;

use clap::Parser;
use commands::{Command, run};
use std::io::Write;
use std::process::ExitCode;

/// Readout of capacitive inertial sensors: simulate, read out, design filters, calibrate, find the noise.
#[derive(Parser, Debug)]
#[command(name = "quietgap", version, max_term_width = 100)]
struct Arguments {
    #[command(subcommand)]
    command: Command,
}

fn main() -> ExitCode {
    match run(Arguments::parse().command) {
        Ok(true) => ExitCode::SUCCESS,
        Ok(false) => ExitCode::from(1),
        Err(error) => {
            // Standard error may be a closed pipe: the exit code still tells.
            let _ = writeln!(std::io::stderr(), "error: {error}");
            ExitCode::from(2)
        }
    }
}
