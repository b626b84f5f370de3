//! **Events** in readings: steps, and excursions that return, from one row long to hundreds.
//!
//! For widths w of 1, 2, 4, ... rows two statistics are taken at every row: the mean of w rows less that of the w before (a
//! step), and the mean of w rows less that of the w rows on each side of them (an excursion). Each is judged by
//! its own spread over the record, 1.4826 times the median of its size, which a few events do not move and which holds
//! the noise of any colour as it is at that width. Looks overlap: of white noise, N of them at a width w go beyond a
//! threshold z in 2 N (a/w) z phi(z) nu(z sqrt(2 a/w)) places, with 1 - a t/w the correlation of looks t rows apart, a = 3/2 for steps
//! and 5/3 for excursions, and nu what being looked at row by row takes off (D. Siegmund, B. Yakir, The Statistics of
//! Gene Mapping, 2007, ch. 5, recalled). The threshold makes these as rare as is stated, all widths and both kinds together; a
//! spread told from few looks widens it, as Student's distribution does. Wandering noise has fewer.

use crate::analysis::series::Series;
use statrs::distribution::{Continuous, ContinuousCDF, Normal, StudentsT};
use std::ops::Range;

/// What happened.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// The level before is not the level behind.
    Step,
    /// One row is beside all others.
    Spike,
    /// Some rows are, and the level returns.
    Excursion,
}

impl Kind {
    /// Its name.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Step => "step",
            Self::Spike => "spike",
            Self::Excursion => "excursion",
        }
    }
}

/// An event.
#[derive(Debug, Clone, PartialEq)]
pub struct Event {
    /// What it is.
    pub kind: Kind,
    /// Rows that are beside the others; of a step the rows over which its level was told, behind it.
    pub rows: Range<usize>,
    /// By how much.
    pub size: f64,
    /// Its size over the spread of such sizes.
    pub sigma: f64,
    /// What that is allowed to be by chance.
    pub threshold: f64,
}

impl Event {
    /// Rows that tell of it: what was compared.
    #[must_use]
    pub fn reach(&self) -> Range<usize> {
        let width = self.rows.len();
        match self.kind {
            // Where between two rows a step lies is known to some of them.
            Kind::Step => self.rows.start.saturating_sub(2)..self.rows.start + 2,
            _ => self.rows.start.saturating_sub(width)..self.rows.end + width,
        }
    }
}

/// One statistic at one place.
#[derive(Debug, Clone, Copy)]
struct Look {
    place: usize,
    value: f64,
}

/// Looks of one kind and width.
struct Looks {
    width: usize,
    step: bool,
    all: Vec<Look>,
}

/// Finds events. `false_alarms` are expected in the whole record where nothing happened; events are looked for up to
/// `longest` rows.
#[must_use]
pub fn find(series: &Series<'_>, false_alarms: f64, longest: usize) -> Vec<Event> {
    let sums: Vec<Sums> = series.runs.iter().map(|run| Sums::new(series.values, run)).collect();
    let mut looks = Vec::new();
    let mut width = 1;
    while width <= longest.max(1) {
        for step in [true, false] {
            // A single row tells no step from an excursion.
            if step && width == 1 {
                continue;
            }
            let all: Vec<Look> = sums.iter().flat_map(|sums| sums.looks(width, step)).collect();
            if all.len() >= LEAST {
                looks.push(Looks { width, step, all });
            }
        }
        width *= 2;
    }
    let share = false_alarms / looks.len().max(1) as f64;
    let mut found: Vec<Event> = looks.iter().flat_map(|looks| looks.events(share)).collect();
    // The clearest first; what else is seen of the same rows is the same event.
    found.sort_by(|a, b| (b.sigma / b.threshold).total_cmp(&(a.sigma / a.threshold)));
    let mut out: Vec<Event> = Vec::new();
    for event in found {
        let near = |other: &Event| {
            let wide = other.rows.len().max(event.rows.len());
            event.rows.start < other.rows.end + wide && other.rows.start < event.rows.end + wide
        };
        if !out.iter().any(near) {
            out.push(event);
        }
    }
    out.sort_by_key(|event| event.rows.start);
    out
}

/// Fewest looks that a spread is told from.
const LEAST: usize = 100;

/// Sums of a run up to each row, about its first value.
struct Sums {
    start: usize,
    up_to: Vec<f64>,
}

impl Sums {
    fn new(values: &[f64], run: &Range<usize>) -> Self {
        let about = values[run.start];
        let mut sum = 0.0;
        let up_to = std::iter::once(0.0).chain(values[run.clone()].iter().map(|x| {
            sum += x - about;
            sum
        }));
        Self { start: run.start, up_to: up_to.collect() }
    }

    fn mean(&self, from: usize, to: usize) -> f64 {
        (self.up_to[to] - self.up_to[from]) / (to - from) as f64
    }

    /// The statistic wherever the run holds all of it; the place is the first row of what is beside the others.
    fn looks(&self, width: usize, step: bool) -> Vec<Look> {
        let count = self.up_to.len() - 1;
        let behind = if step { width } else { 2 * width };
        (width..(count + 1).saturating_sub(behind))
            .map(|n| {
                let own = self.mean(n, n + width);
                let before = self.mean(n - width, n);
                let value = if step {
                    own - before
                } else {
                    own - f64::midpoint(before, self.mean(n + width, n + 2 * width))
                };
                Look { place: self.start + n, value }
            })
            .collect()
    }
}

impl Looks {
    /// Spreads that as many looks as these go beyond `false_alarms` times by chance.
    fn threshold(&self, false_alarms: f64) -> f64 {
        let (normal, looks, width) = (Normal::standard(), self.all.len() as f64, self.width as f64);
        let slope = if self.step { 1.5 } else { 5.0 / 3.0 } / width;
        let expected = |z: f64| {
            let half = z * (2.0 * slope).sqrt() / 2.0;
            let below = normal.cdf(half);
            let nu = (below - 0.5) / half / (half * below + normal.pdf(half));
            2.0 * looks * slope * z * normal.pdf(z) * nu
        };
        let (mut low, mut high) = (1.0, 30.0);
        for _ in 0..60 {
            let middle = f64::midpoint(low, high);
            if expected(middle) > false_alarms { low = middle } else { high = middle }
        }
        // Relative variance of a median of m sizes is 1.36 times that of their root mean square.
        let degrees = (looks / width / 1.36).max(3.0);
        let tail = normal.sf(high).max(1e-300);
        StudentsT::new(0.0, 1.0, degrees).map_or(high, |t| -t.inverse_cdf(tail)).max(high)
    }

    fn events(&self, false_alarms: f64) -> Vec<Event> {
        let mut sizes: Vec<f64> = self.all.iter().map(|look| look.value.abs()).collect();
        let middle = sizes.len() / 2;
        let (_, median, _) = sizes.select_nth_unstable_by(middle, f64::total_cmp);
        let spread = 1.4826 * *median;
        // A record that hardly ever changes: any change is an event, as large as it is.
        let spread = if spread > 0.0 { spread } else { f64::MIN_POSITIVE };
        let threshold = self.threshold(false_alarms);
        let mut out: Vec<Event> = Vec::new();
        for look in self.all.iter().filter(|look| look.value.abs() > threshold * spread) {
            let event = Event {
                kind: match (self.step, self.width) {
                    (true, _) => Kind::Step,
                    (false, 1) => Kind::Spike,
                    (false, _) => Kind::Excursion,
                },
                rows: look.place..look.place + self.width,
                size: look.value,
                sigma: look.value.abs() / spread,
                threshold,
            };
            match out.last_mut() {
                Some(last) if look.place < last.rows.start + 2 * self.width => {
                    if event.sigma > last.sigma {
                        *last = event;
                    }
                }
                _ => out.push(event),
            }
        }
        out
    }
}
