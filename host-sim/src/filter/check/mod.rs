//! **Check**: everything that a plan's integers do, and whether that keeps the plan's mask.
//!
//! [`bands`] finds the worst gains, [`settling`] the responses in time, [`words`] the worst of every
//! word, [`noise`] the rounding's ([`pruning`] that of a CIC's stages), [`rest`] runs the integers, [`cost`] counts instructions and
//! memory; [`limits`] judges.

pub mod bands;
pub mod cost;
pub mod limits;
pub mod noise;
pub mod pruning;
pub mod rest;
pub mod settling;
pub mod show;
pub mod words;

use super::response::{Response, db};
use super::subject::{Subject, stage_name};
use crate::cycles::{self, Cpu};
use crate::instrument::file::MaskFile;
use bands::Worst;
use cost::Cost;
use limits::Limit;
use noise::Rounding;
use quietgap_core::ConfigError;
use rest::Rest;
use settling::Settling;
use words::WordUse;

/// A band that folds onto the mask's band.
#[derive(Debug, Clone, PartialEq)]
pub struct Alias {
    /// Worst gain in it.
    pub worst: Worst,
    /// Distance of that from the carrier.
    pub offset_hz: f64,
    /// Stage behind which it folds, 0 the CIC.
    pub stage: usize,
}

/// A tone at the converter and what is left of it.
#[derive(Debug, Clone, PartialEq)]
pub struct Tone {
    /// Name.
    pub name: String,
    /// Frequency at the converter.
    pub frequency_hz: f64,
    /// Rejection, decibels.
    pub rejection_db: f64,
    /// Where it comes out.
    pub lands_hz: f64,
    /// What the plan promises; none for a tone that is only shown.
    pub reject_db: Option<f64>,
}

/// All findings about a plan.
#[derive(Debug, Clone)]
pub struct Check {
    /// The plan.
    pub subject: Subject,
    /// Its response.
    pub response: Response,
    /// Why the core does not take it.
    pub refused: Option<ConfigError>,
    /// Largest and smallest gain of the pass band, where there is a mask.
    pub pass_band: Option<[Worst; 2]>,
    /// Least and most group delay in the pass band, s, where there is a mask and it varies.
    pub delays_s: Option<[f64; 2]>,
    /// All bands that fold onto the mask's band, by frequency.
    pub aliases: Vec<Alias>,
    /// Tones of the plan, then the converter's offset, the carrier's image, and that image's sidebands as
    /// the mass moves within the mask's pass band.
    pub tones: Vec<Tone>,
    /// Responses in time.
    pub settling: Settling,
    /// Words.
    pub words: Vec<WordUse>,
    /// Rounding.
    pub roundings: Vec<Rounding>,
    /// How the integers come to rest; none where the core does not take the plan.
    pub rest: Option<Rest>,
    /// Cost.
    pub cost: Cost,
    /// Verdicts.
    pub limits: Vec<Limit>,
}

/// Core that a plan's cost is counted on: the mask's, else the M7.
#[must_use]
pub fn cpu(mask: Option<&MaskFile>) -> &'static Cpu {
    let name = mask.and_then(|m| m.cpu.as_deref());
    name.and_then(|name| cycles::cpu(name).ok()).unwrap_or(&cycles::CPUS[1])
}

/// Points of the pass band at which the delay is looked at.
const DELAYS: usize = 500;

/// Least and most group delay in the pass band, s.
fn delays(response: &Response, pass_hz: f64) -> [f64; 2] {
    let at = |n: usize| response.delay_s(pass_hz * n as f64 / DELAYS as f64);
    let all = (0..=DELAYS).map(at);
    all.fold([f64::INFINITY, 0.0], |[least, most], s| [least.min(s), most.max(s)])
}

impl Check {
    /// Works everything out.
    #[must_use]
    pub fn new(subject: Subject) -> Self {
        let response = Response::new(&subject.plan, subject.rate_hz);
        let seconds = subject.span() as f64 / subject.rate_hz;
        let mask = subject.plan.mask.clone();
        let pass_band = mask.as_ref().map(|m| bands::pass_band(&response, m.pass_hz, seconds));
        let aliases = mask.as_ref().map_or(Vec::new(), |m| {
            let of = |worst: Worst| {
                let offset_hz = worst.frequency_hz(&response);
                Alias { worst, offset_hz, stage: folding_stage(&subject, worst.multiple) }
            };
            let worst = bands::aliases(&response, m.alias_into_hz, seconds);
            worst.into_iter().map(of).collect()
        });
        let rest = Rest::new(&subject);
        let cost = Cost::new(&subject, cpu(mask.as_ref()));
        let mut check = Self {
            pass_band,
            delays_s: mask
                .as_ref()
                .filter(|_| subject.delay_varies())
                .map(|m| delays(&response, m.pass_hz)),
            aliases,
            tones: tones(&subject, &response),
            settling: Settling::new(&subject.plan, subject.rate_hz),
            words: words::words(&subject),
            roundings: noise::roundings(&subject),
            refused: rest.as_ref().err().copied(),
            rest: rest.ok(),
            cost,
            limits: Vec::new(),
            response,
            subject,
        };
        check.limits = limits::judge(&check);
        check
    }

    /// Whether all limits hold.
    #[must_use]
    pub fn pass(&self) -> bool {
        self.limits.iter().all(|l| l.pass)
    }

    /// The alias band with the least rejection.
    #[must_use]
    pub fn worst_alias(&self) -> Option<&Alias> {
        self.aliases.iter().max_by(|a, b| a.worst.gain.total_cmp(&b.worst.gain))
    }

    /// Frequency at the converter of an offset from the carrier.
    #[must_use]
    pub fn at_converter_hz(&self, offset_hz: f64) -> f64 {
        let rate = self.subject.rate_hz;
        let f = (self.subject.carrier_hz + offset_hz).rem_euclid(rate);
        f.min(rate - f)
    }

    /// Gain of every stage at a frequency off the carrier, decibels.
    #[must_use]
    pub fn by_stage(&self, worst: &Worst) -> String {
        let gain = |n| db(self.response.stage_gain(n, worst.multiple, worst.offset_hz));
        let parts =
            (0..self.response.stages()).map(|n| format!("{} {:.4}", stage_name(n), gain(n)));
        parts.collect::<Vec<_>>().join(", ") + " dB"
    }
}

/// Stage behind which the band around `multiple` output rates folds onto zero: the first whose output
/// rate divides it.
#[must_use]
pub fn folding_stage(subject: &Subject, multiple: i64) -> usize {
    let firs = &subject.plan.firs;
    let mut rate: i64 = firs.iter().map(|f| i64::from(f.ratio)).product();
    let mut stage = 0;
    while multiple % rate != 0 && stage < firs.len() {
        rate /= i64::from(firs[stage].ratio);
        stage += 1;
    }
    stage
}

/// The plan's tones, and those that every converter has.
fn tones(subject: &Subject, response: &Response) -> Vec<Tone> {
    let carrier = subject.carrier_hz;
    let found = |name: &str, frequency_hz: f64, reject_db, (offset, gain): (f64, f64)| {
        let lands_hz = response.split(offset).1.abs();
        Tone { name: name.to_owned(), frequency_hz, rejection_db: -db(gain), lands_hz, reject_db }
    };
    let tone = |name: &str, frequency_hz: f64, reject_db, offsets: &[f64]| {
        let gains = offsets.iter().map(|o| (*o, response.gain_at(*o).abs()));
        let most = gains.max_by(|a, b| a.1.total_cmp(&b.1)).expect("one offset at least");
        found(name, frequency_hz, reject_db, most)
    };
    let mut out: Vec<Tone> = subject
        .lines()
        .iter()
        .map(|l| tone(&l.name, l.frequency_hz, Some(l.reject_db), &l.offsets_hz(carrier)))
        .collect();
    out.push(tone("converter offset", 0.0, None, &[-carrier]));
    out.push(tone("carrier's image", carrier, None, &[-2.0 * carrier]));
    if let Some(mask) = &subject.plan.mask {
        // A moving mass has sidebands, and so has the image: the worst of them.
        let seconds = subject.span() as f64 / subject.rate_hz;
        let worst = bands::around(response, -2.0 * carrier, mask.pass_hz, seconds);
        let frequency_hz = (worst.0 + carrier).abs();
        out.push(found("image of a moving mass", frequency_hz, None, worst));
    }
    out
}
