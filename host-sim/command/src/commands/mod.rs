//! **Commands**: arguments in, library calls, text or JSON out. Text goes to standard error
//! where `--json` asks for one object on standard output.

mod attribute;
mod budget;
mod calibrate;
mod campaign;
mod cycles;
mod demo;
mod demodulate;
mod events;
mod filter;
mod fringes;
mod listen;
mod marks;
mod outputs;
mod record;
mod recorded;
mod response;
mod separate;
mod simulate;
mod spectrum;
mod stability;
mod stand_in;
mod torque;
mod verify;

use clap::{Args, Subcommand, ValueEnum};
use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};
use quietgap_sim::error::{Error, Result};
use quietgap_sim::instrument::Sensor;
use quietgap_sim::output::{AtomicFile, without_nulls};
use quietgap_sim::readout::capture::{Wanted, Word};
use quietgap_sim::simulation::motion::Motion;
use quietgap_sim::simulation::phasor::outside::Disturbances;
use quietgap_sim::simulation::plant::{Parts, Plant};
use std::io::{IsTerminal, Write};
use std::path::{Path, PathBuf};

/// The commands.
#[derive(Subcommand, Debug)]
pub enum Command {
    /// The main job on the built-in vault sensor: simulate, read out, check, report
    Demo(demo::Options),
    /// Converter codes of a sensor whose mass moves as a motion file says
    Simulate(simulate::Options),
    /// Readings from a capture of converter codes, by the firmware's own code
    Demodulate(demodulate::Options),
    /// The firmware's code against the f64 twin and the truth, judged by limits
    Verify(verify::Options),
    /// Displacement and rotation from the detectors of a laser interferometer
    Fringes(fringes::Options),
    /// Amplitude spectral densities of readings, coherence and transfer functions
    Spectrum(spectrum::Options),
    /// Allan and other deviations of readings over averaging times
    Stability(stability::Options),
    /// Angle to torque and equivalent acceleration of the pendulum, free swing, thermal noise
    Torque(torque::Options),
    /// Noise budget: what each contributor adds, predicted and simulated
    Budget(budget::Options),
    /// Noise of each of two or three sensors that see one motion
    Separate(separate::Options),
    /// Steps, spikes and excursions of readings, with a stated rate of false alarms
    Events(events::Options),
    /// What a reading follows of auxiliary channels: coefficients, how sure, what is left
    Attribute(attribute::Options),
    /// What a drive of known frequency does to a reading: coefficient, charge, harmonics
    Response(response::Options),
    /// Bridges against a stage: gains, phases, strays with uncertainties, into a sensor file
    Calibrate(calibrate::Options),
    /// Readings of a board as they come, by its telemetry, onto the disk
    Listen(listen::Options),
    /// A capture as the board that records it would tell of it: frames of telemetry
    StandIn(stand_in::Options),
    /// A list of analyses, run where something has changed, and one page of all
    Campaign(campaign::Options),
    /// Decimation plans: design, check, compare, export for the firmware
    #[command(subcommand)]
    Filter(filter::Filter),
    /// Instructions, cycles and load of a sensor's plan on a microcontroller
    Cycles(cycles::Options),
}

/// Runs a command; `false` when a limit was missed.
///
/// # Errors
/// Bad usage or input.
pub fn run(command: Command) -> Result<bool> {
    match command {
        Command::Demo(options) => demo::run(&options),
        Command::Simulate(options) => simulate::run(&options),
        Command::Demodulate(options) => demodulate::run(&options),
        Command::Verify(options) => verify::run(&options),
        Command::Fringes(options) => fringes::run(&options),
        Command::Spectrum(options) => spectrum::run(&options),
        Command::Stability(options) => stability::run(&options),
        Command::Torque(options) => torque::run(&options),
        Command::Budget(options) => budget::run(&options),
        Command::Separate(options) => separate::run(&options),
        Command::Events(options) => events::run(&options),
        Command::Attribute(options) => attribute::run(&options),
        Command::Response(options) => response::run(&options),
        Command::Calibrate(options) => calibrate::run(&options),
        Command::Listen(options) => listen::run(&options),
        Command::StandIn(options) => stand_in::run(&options),
        Command::Campaign(options) => campaign::run(&options),
        Command::Filter(filter) => filter::run(&filter),
        Command::Cycles(options) => cycles::run(&options),
    }
}

/// Words of a capture without a header, or of one whose header does not settle it.
#[derive(ValueEnum, Debug, Clone, Copy, PartialEq, Eq)]
enum Words {
    /// 16 bits, little-endian, codes as they are.
    I16,
    /// 24 bits, little-endian, packed.
    I24,
    /// 32 bits, little-endian, codes in the lower bits.
    I32,
}

impl Words {
    fn word(self) -> Word {
        match self {
            Self::I16 => Word::Int16,
            Self::I24 => Word::Int24,
            Self::I32 => Word::Int32,
        }
    }
}

/// What a sensor wants of its captures.
fn wanted(sensor: &Sensor, words: Option<Words>) -> Wanted {
    Wanted {
        channels: sensor.channels(),
        bits: sensor.file.converter.bits,
        rate_hz: sensor.rate_hz(),
        words: words.map(Words::word),
    }
}

/// Says of channels whose codes never change that they do not.
fn unchanging_text(channels: &[usize]) -> String {
    let list: Vec<String> = channels.iter().map(usize::to_string).collect();
    match channels {
        [] => String::new(),
        [_] => format!("FAULT: the codes of channel {} never change\n", list[0]),
        _ => format!("FAULT: the codes of channels {} never change\n", list.join(", ")),
    }
}

/// A switch with words.
#[derive(ValueEnum, Debug, Clone, Copy, PartialEq, Eq)]
enum Switch {
    /// At work.
    On,
    /// Not at work.
    Off,
}

/// Options of the simulated plant.
#[derive(Args, Debug, Clone)]
struct PlantOptions {
    /// Random parts of the plant: noises and jitter
    #[arg(long, value_enum, default_value = "on")]
    noise: Switch,
    /// Switch parts of the plant off, by name, separated by commas
    #[arg(long, value_name = "PART", value_delimiter = ',')]
    without: Vec<String>,
    /// Seed of all random streams
    #[arg(long, default_value_t = 1)]
    seed: u64,
}

impl PlantOptions {
    /// Parts of the plant and what acts on the mass from outside; the latter cannot be named where nothing does.
    fn switched(&self, outside: bool) -> Result<(Parts, Disturbances)> {
        let on = self.noise == Switch::On;
        let mut parts = if on { Parts::ALL } else { Parts::ALL.quiet() };
        let mut others = if on { Disturbances::ALL } else { Disturbances::NONE };
        for name in &self.without {
            let other = if outside { others.switch(name) } else { None };
            *parts.switch(name).or(other).ok_or_else(|| {
                let more: &[&str] = if outside { &Disturbances::NAMES } else { &[] };
                let known = [Parts::NAMES.as_slice(), more].concat().join(", ");
                Error::new(format!("--without {name}: no such part, allowed {known}"))
            })? = false;
        }
        Ok((parts, others))
    }

    fn plant(&self, sensor: &Sensor, motion: Motion) -> Result<Plant> {
        Ok(Plant::new(sensor, motion, self.switched(false)?.0, self.seed))
    }
}

/// Longest run, s; a scenario's table of motion is kept in memory.
const LONGEST_S: f64 = 1e5;

/// Whole frames in a time that `origin` gave (an option, or a motion file's last row); refuses
/// times that make no reading and those beyond a day.
fn frames(sensor: &Sensor, seconds: f64, origin: &str) -> Result<u64> {
    let least = sensor.settings.span() as f64 / sensor.rate_hz();
    if !(seconds >= least && seconds <= LONGEST_S) {
        let name = &sensor.file.name;
        return Err(Error::new(format!(
            "{origin}: a run of {seconds} s, allowed {least} s (the filters of {name}) to {LONGEST_S} s"
        )));
    }
    Ok((seconds * sensor.rate_hz()).round() as u64)
}

/// Where the length of a run comes from, and what it is.
fn run_length(seconds: Option<f64>, motion: &Motion, path: &Path) -> (f64, String) {
    match seconds {
        Some(seconds) => (seconds, "--seconds".to_owned()),
        None => (motion.end_s(), format!("{}: its last time", path.display())),
    }
}

/// A bar on a terminal, nothing elsewhere.
fn progress(frames: u64) -> ProgressBar {
    let target = if std::io::stderr().is_terminal() {
        ProgressDrawTarget::stderr()
    } else {
        ProgressDrawTarget::hidden()
    };
    let bar = ProgressBar::with_draw_target(Some(frames), target);
    bar.set_style(
        ProgressStyle::with_template("{bar:30} {percent:>3} %  {eta} left")
            .expect("a fixed template"),
    );
    bar
}

/// Result of a command for people: to standard output, or to standard error beside JSON.
fn say(json: bool, text: &str) {
    if json {
        let _ = std::io::stderr().write_all(text.as_bytes());
    } else {
        // A closed pipe is no fault of the run.
        let _ = std::io::stdout().write_all(text.as_bytes());
    }
}

/// One object on standard output; a figure that has no value is left out.
fn print_json(value: &serde_json::Value) {
    let _ = writeln!(std::io::stdout(), "{}", without_nulls(value));
}

/// Refuses JSON and an output that both want standard output.
fn one_standard(json: bool, out: Option<&Path>) -> Result<()> {
    if json && out == Some(Path::new("-")) {
        return Err(Error::new("--json and --out -: both want standard output, allowed one"));
    }
    Ok(())
}

/// Writes a page that was opened, and puts it in its place.
fn put_page(page: Option<AtomicFile>, html: impl FnOnce() -> String) -> Result<()> {
    let Some(mut page) = page else { return Ok(()) };
    page.write(|file| file.write_all(html().as_bytes()))?;
    page.finish()
}

/// Refuses an output that is an input or another output: they would overwrite each other. Standard input
/// and output, both `-`, are two things.
fn distinct(inputs: &[&Path], outputs: &[&Path]) -> Result<()> {
    for (n, output) in outputs.iter().enumerate() {
        let others = inputs.iter().chain(&outputs[..n]);
        if *output != Path::new("-")
            && others.into_iter().any(|other| whole(other) == whole(output))
        {
            return Err(Error::in_file(output, None, "is an input or another output, too"));
        }
    }
    Ok(())
}

/// A path without links and dots, as far as it exists.
fn whole(path: &Path) -> PathBuf {
    if let Ok(whole) = path.canonicalize() {
        return whole;
    }
    let folder = path.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new("."));
    match (folder.canonicalize(), path.file_name()) {
        (Ok(folder), Some(name)) => folder.join(name),
        _ => path.to_owned(),
    }
}

/// A sensor that may be given, with its files.
fn optional_sensor(name: Option<&str>) -> Result<(Option<Sensor>, Vec<PathBuf>)> {
    let Some(name) = name else { return Ok((None, Vec::new())) };
    let sensor = Sensor::load(name)?;
    let files = sensor_files(name, &sensor);
    Ok((Some(sensor), files))
}

/// Files that a sensor's name stands for: none for a built-in one.
fn sensor_files(name: &str, sensor: &Sensor) -> Vec<PathBuf> {
    if quietgap_sim::instrument::BUILT_IN.iter().any(|(built_in, _)| *built_in == name) {
        return Vec::new();
    }
    let file = PathBuf::from(name);
    let plan = sensor.file.plan_file.as_ref();
    let plan = plan.map(|plan| file.parent().unwrap_or(Path::new("")).join(plan));
    std::iter::once(file).chain(plan).collect()
}
