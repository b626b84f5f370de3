//! `quietgap attribute`.

mod cleaned;
mod inputs;
mod page;
mod show;

use super::marks::MarkOptions;
use super::optional_sensor;
use super::outputs::Outputs;
use super::record::{RecordOptions, in_range};
use crate::page::figure::Marks;
use clap::{Args, ValueEnum};
use quietgap_sim::attribution::cells::{Bent, Cells, bent};
use quietgap_sim::attribution::choose::{Choice, Rules, attribute};
use quietgap_sim::attribution::fit::Fit;
use quietgap_sim::attribution::judge::{Band, alike, bands, crossed, explained};
use quietgap_sim::attribution::predicted::predicted;
use quietgap_sim::attribution::term::Family;
use quietgap_sim::attribution::together::Together;
use quietgap_sim::error::{Error, Result};
use quietgap_sim::records::{LeftOut, unit};
use std::collections::BTreeSet;
use std::ops::Range;
use std::path::{Path, PathBuf};

/// Arguments.
#[derive(Args, Debug)]
pub struct Options {
    #[command(flatten)]
    record: RecordOptions,
    /// Records of auxiliary channels: CSV or Parquet with times, npy with --auxiliary-rate; the readings' own file may
    /// be one
    #[arg(required = true, value_name = "AUXILIARY")]
    auxiliary: Vec<PathBuf>,
    /// Auxiliary column to look at, again for more; all when absent
    #[arg(long, value_name = "NAME")]
    channel: Vec<String>,
    /// Auxiliary column that enters squared as well, as a voltage's pull does; again for more
    #[arg(long, value_name = "NAME")]
    square: Vec<String>,
    /// Rows a second of auxiliary files without times
    #[arg(long, value_name = "HZ", allow_negative_numbers = true)]
    auxiliary_rate: Option<f64>,
    /// What a channel may do to the reading, separated by commas
    #[arg(long, value_enum, value_delimiter = ',', default_value = "plain,rate,lag")]
    form: Vec<FormOption>,
    /// Largest expected share of false couplings among those found
    #[arg(long, value_name = "Q", default_value_t = 0.05, allow_negative_numbers = true)]
    false_share: f64,
    /// All channels in all forms enter: nothing is chosen
    #[arg(long)]
    all: bool,
    /// Largest delay between channel and reading that is fitted
    #[arg(long, value_name = "S", default_value_t = 0.0, allow_negative_numbers = true)]
    within: f64,
    /// Highest frequency; 0.35 of the lowest rate when absent
    #[arg(long, value_name = "HZ", allow_negative_numbers = true)]
    to_hz: Option<f64>,
    /// Sensor file whose couplings are told beside those found, or the name of a built-in sensor
    #[arg(long, value_name = "SENSOR")]
    sensor: Option<String>,
    /// Reading without what is explained, to write: CSV, npy or Parquet
    #[arg(long, value_name = "FILE")]
    cleaned: Option<PathBuf>,
    #[command(flatten)]
    marks: MarkOptions,
    #[command(flatten)]
    outputs: Outputs,
}

/// What a channel may do.
#[derive(ValueEnum, Debug, Clone, Copy, PartialEq, Eq)]
enum FormOption {
    /// The reading follows at once.
    Plain,
    /// It follows the channel's rate of change.
    Rate,
    /// It follows as a body warms.
    Lag,
}

impl FormOption {
    fn family(self) -> Family {
        match self {
            Self::Plain => Family::Plain,
            Self::Rate => Family::Rate,
            Self::Lag => Family::Lag,
        }
    }
}

/// What was found.
struct Found {
    reading: String,
    unit: &'static str,
    together: Together,
    cells: Cells,
    choice: Choice,
    fit: Fit,
    rules: Rules,
    /// Contributions of the terms, at the common instants.
    parts: Vec<Vec<f64>>,
    left: Vec<f64>,
    bands: Vec<Band>,
    crossed: Option<[f64; 2]>,
    predicted: Vec<Option<f64>>,
    warnings: Vec<String>,
    marks: Vec<Marks>,
    left_out: LeftOut,
    confidence: f64,
}

/// Equations to a coefficient below which a warning is due.
const FEW: f64 = 10.0;
/// Correlation of two terms at which one is due.
const ALIKE: f64 = 0.9;
/// Share of a coefficient's information in the lowest frequencies at which one is due.
const LOWEST: f64 = 0.5;
/// Share that one half of the record loses to the other's coefficients at which one is due.
const LOST: f64 = 0.1;

pub(super) fn run(options: &Options) -> Result<bool> {
    in_range("--within", options.within, 0.0, 1e6)?;
    in_range("--false-share", options.false_share, 1e-6, 0.5)?;
    let (sensor, files) = optional_sensor(options.sensor.as_deref())?;
    let given = std::iter::once(&options.record.file)
        .chain(&options.auxiliary)
        .chain(&files)
        .chain(options.marks.file());
    let inputs: Vec<&Path> = given.map(PathBuf::as_path).collect();
    let beside: Vec<&Path> = options.cleaned.iter().map(PathBuf::as_path).collect();
    options.outputs.check(&inputs, &beside)?;
    let marks = options.marks.read()?;
    let source = options.record.open()?;
    let column = options.record.one(&source, "the reading to explain")?;
    let reading = options.record.read(&source, std::slice::from_ref(&column))?;
    let (others, constant) = inputs::auxiliary(options, &column)?;
    let together = Together::new(&reading, &others, options.to_hz, options.within)?;
    let rules = Rules {
        families: options.form.iter().map(|form| form.family()).collect(),
        false_share: options.false_share,
        within_s: options.within,
        all: options.all,
    };
    let rows = together.runs.iter().map(Range::len).max().unwrap_or(0);
    let lowest = together.rate_hz / rows.max(1) as f64;
    // Three frequencies of all tapers.
    if lowest * 18.0 > together.to_hz {
        return Err(Error::new(format!(
            "the longest stretch that all have is {:.0} s, {rows} rows: too short to tell anything up to {} Hz",
            rows as f64 / together.rate_hz,
            together.to_hz
        )));
    }
    let (cells, choice, fit) = attribute(&together, &rules).map_err(|not_told| {
        // Beyond the terms come their lags and delays, which count as those terms.
        let names: BTreeSet<&str> = not_told
            .0
            .iter()
            .filter_map(|n| together.channels.get(n / rules.families.len().max(1)))
            .map(|c| c.name.as_str())
            .collect();
        let names: Vec<&str> = names.into_iter().collect();
        Error::new(format!(
            "--all: these channels are made of each other, or one does not change: {}; allowed channels that can be told \
             apart, or a choice without --all",
            names.join(", ")
        ))
    })?;
    let mut found =
        Found::new(column, (together, cells, choice, fit), rules, options.outputs.confidence);
    found.left_out = reading.left_out;
    found.marks = marks;
    if !constant.is_empty() {
        found.warnings.push(format!("never changes, not looked at: {}", constant.join(", ")));
    }
    if let Some(sensor) = &sensor {
        let of = |term: &quietgap_sim::attribution::term::Term| {
            let channel = &found.together.channels[term.channel].name;
            let plain = term.form != quietgap_sim::attribution::term::Form::Rate;
            predicted(sensor, &found.reading, channel).filter(|_| plain)
        };
        found.predicted = found.choice.terms.iter().map(of).collect();
    }
    if let Some(path) = &options.cleaned {
        found.write_cleaned(path, &source, options, &reading)?;
    }
    options.outputs.finish(
        |path| found.write(path),
        || found.html(),
        || found.json(),
        &found.text(),
    )?;
    Ok(true)
}

impl Found {
    fn new(
        reading: String,
        (together, cells, choice, fit): (Together, Cells, Choice, Fit),
        rules: Rules,
        confidence: f64,
    ) -> Self {
        let count = choice.terms.len();
        let mut parts: Vec<Vec<f64>> =
            choice.terms.iter().map(|term| term.values(&together)).collect();
        for (part, b) in parts.iter_mut().zip(&fit.values) {
            part.iter_mut().for_each(|x| *x *= b);
        }
        let of_terms = |n: usize| parts.iter().map(|part| part[n]).sum::<f64>();
        let left: Vec<f64> =
            (0..together.reading.len()).map(|n| together.reading[n] - of_terms(n)).collect();
        let plain = [&together.reading, &left].map(|values| cells.places.cells(values));
        let bands = bands(&cells, [&plain[0], &plain[1]], confidence);
        let crossed =
            if count == 0 { None } else { crossed(&together, &choice.terms, &cells, &fit.density) };
        let mut found = Self {
            unit: unit(&reading),
            predicted: vec![None; count],
            warnings: Vec::new(),
            marks: Vec::new(),
            left_out: LeftOut::default(),
            reading,
            together,
            cells,
            choice,
            fit,
            rules,
            parts,
            left,
            bands,
            crossed,
            confidence,
        };
        found.warnings = found.warn();
        found
    }

    fn warn(&self) -> Vec<String> {
        let mut out = Vec::new();
        let columns = self.cells.terms(&self.together, &self.choice.terms);
        for (n, term) in self.choice.terms.iter().enumerate() {
            let name = self.term_name(term);
            if self.fit.degrees[n] < FEW {
                out.push(format!(
                    "{name}: rests on {:.1} degrees of freedom, too little data for more",
                    self.fit.degrees[n]
                ));
            }
            if self.fit.lowest[n] > LOWEST {
                out.push(format!(
                    "{name}: {:.0} % of what tells it lies in the slowest frequencies of the record: a common trend would look \
                     the same",
                    100.0 * self.fit.lowest[n]
                ));
            }
        }
        for (a, b, r) in alike(&columns, &self.fit.density, ALIKE) {
            let [a, b] = [a, b].map(|n| self.term_name(&self.choice.terms[n]));
            out.push(format!(
                "{a} and {b} are alike: correlation {r:.3}; only their sum is told well"
            ));
        }
        // Channels that are alike, of which one entered, as well.
        for (a, b, r) in alike(&self.cells.channels, &self.fit.density, ALIKE) {
            let entered = |n: usize| self.choice.terms.iter().any(|t| t.channel == n);
            if entered(a) != entered(b) {
                let [a, b] = if entered(a) { [a, b] } else { [b, a] };
                let [a, b] = [a, b].map(|n| &self.together.channels[n].name);
                out.push(format!("{b} is like {a} (correlation {r:.3}): it could be either"));
            }
        }
        if let Some(shares) = self.crossed {
            let whole = self.explained_weighed();
            if shares.iter().any(|share| *share < whole - LOST) {
                out.push(format!(
                    "one half's coefficients explain {:.3} and {:.3} of the other, {whole:.3} of their own: they do not last",
                    shares[0], shares[1]
                ));
            }
        }
        out
    }

    /// Share of the weighed power of all cells that the terms explain.
    fn explained_weighed(&self) -> f64 {
        explained(&self.cells.reading, &self.fit.residual, &self.fit.density)
    }

    /// Where the step of a number beside the coefficients stands in the fit.
    fn beside(&self, term: usize, what: Bent) -> Option<f64> {
        let place =
            bent(&self.choice.terms, &self.rules).iter().position(|b| *b == (term, what))?;
        let k = self.choice.terms.len() + place;
        Some(self.fit.uncertainty(k) / self.fit.values[term].abs())
    }

    /// Rms of rows about their runs' straight lines.
    fn rms(&self, values: &[f64]) -> f64 {
        let (mut sum, mut count) = (0.0, 0);
        for run in &self.together.runs {
            let lineless = quietgap_sim::analysis::tapers::without_line(&values[run.clone()]);
            sum += lineless.iter().map(|x| x * x).sum::<f64>();
            count += run.len();
        }
        (sum / count as f64).sqrt()
    }
}
