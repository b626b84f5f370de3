//! **Bridges against a reference**: what each bridge's balance should be at a place (the twin's housing, polarisation
//! and all), what it was said to be by the readings, and the line between them.
//!
//! With R_b the balance that the geometry gives at the reference's place, a bridge that is off by a gain k, a
//! difference of strays s and what the others leave in it reads k R_b + s/p + sum c_j R_j, p being how the carrier on the
//! mass has changed. Its phase is off by the angle in which the phasor moves: quadrature over in-phase.

use super::regression::{Refusal, Regression, regress};
use crate::error::{Error, Result};
use crate::instrument::coupling::shares;
use crate::instrument::design::is_difference;
use crate::instrument::{AXES, Design, Sensor};
use crate::readout::ideal::housing::{Housing, Place};
use nalgebra::{DMatrix, DVector};
use std::collections::BTreeMap;

/// A place, what was read there, and how much it counts.
#[derive(Debug, Clone)]
pub struct Point {
    /// Axes of the sensor by the reference.
    pub place: Vec<f64>,
    /// Axes as read.
    pub read: Vec<f64>,
    /// Quadrature of each bridge as read, over a0.
    pub quadrature: Vec<f64>,
    /// Standard uncertainties of the axes as read, by the readings' own noise, where that is known.
    pub noise: Option<Vec<f64>>,
}

/// What was found of a bridge.
#[derive(Debug, Clone)]
pub struct Found {
    /// Line of the balance: gain, strays' difference over C01 + C02 beside [`Self::known_share`], then the others'
    /// shares in the order of bridges.
    pub line: Regression,
    /// Strays' difference that earlier rounds found, over C01 + C02.
    pub known_share: f64,
    /// Phase that the alignment is off by, and its standard uncertainty.
    pub phase_rad: [f64; 2],
    /// Quadrature that does not move, over a0.
    pub still_quadrature: f64,
    /// What of the balance's square and cube is left beside the exact inverse, over the gain, with standard uncertainties;
    /// none where there are too few places to tell.
    pub bent: Option<[[f64; 2]; 2]>,
}

impl Found {
    /// a0 in codes over the one that the readings were made with.
    #[must_use]
    pub fn gain(&self) -> f64 {
        self.line.values[0]
    }

    /// (s1 - s2)/(C01 + C02) that the readings did not know of.
    #[must_use]
    pub fn stray_share(&self) -> f64 {
        self.known_share + self.line.ratio(1)[0]
    }

    /// Largest share of another bridge: which of the others, and what.
    #[must_use]
    pub fn largest_coupling(&self) -> Option<(usize, f64)> {
        let others = self.line.values[2..].iter().map(|c| c / self.gain());
        others.enumerate().max_by(|a, b| a.1.abs().total_cmp(&b.1.abs()))
    }
}

/// How the bridges' balances R become what is read of them, over the file's a0 and with its coupling counted: a gain
/// of each, times (1 + C).
#[derive(Debug, Clone)]
pub struct Mixing {
    /// a0 over the one that the readings were made with.
    pub gains: Vec<f64>,
    /// C: share of bridge j in bridge i, zero on the diagonal.
    pub shares: DMatrix<f64>,
}

impl Mixing {
    /// Of what was found of all bridges, behind the coupling that the file takes off already.
    #[must_use]
    pub fn new(sensor: &Sensor, found: &[Found]) -> Self {
        let count = found.len();
        let line = DMatrix::from_fn(count, count, |i, j| {
            let values = &found[i].line.values;
            if i == j { values[0] } else { values[2 + j - usize::from(j > i)] }
        });
        let all = match shares(&sensor.file) {
            Some(shares) => (shares + DMatrix::identity(count, count)) * line,
            None => line,
        };
        let gains: Vec<f64> = all.diagonal().iter().copied().collect();
        let share = |i: usize, j: usize| if i == j { 0.0 } else { all[(i, j)] / gains[i] };
        Self { shares: DMatrix::from_fn(count, count, share), gains }
    }

    /// Shares of all others in bridge `b`, by name.
    #[must_use]
    pub fn by_name(&self, sensor: &Sensor, b: usize) -> BTreeMap<String, f64> {
        let row = self.shares.row(b);
        let named = sensor.file.bridges.iter().zip(row.iter()).enumerate();
        named.filter(|(n, _)| *n != b).map(|(_, (of, share))| (of.name.clone(), *share)).collect()
    }
}

/// What the geometry gives at a place: balance of each bridge, strays known to the file counted, and the carrier on
/// the mass at rest over now.
#[derive(Debug)]
pub struct Forward<'a> {
    sensor: &'a Sensor,
    housing: Housing,
}

/// Rounds in which strays that were found count in the carrier on the mass; three are usual.
const ROUNDS: usize = 6;
/// Part of a gap that a place may take.
const REACH: f64 = 0.9;
/// Strays' difference over C01 + C02 beyond which it is no stray.
pub const MOST_STRAYS: f64 = 0.2;
/// Part of a gap by which an axis that is moved moves some bridge.
const STILL: f64 = 1e-6;
/// Strays' share that is no change.
const SETTLED: f64 = 1e-10;

impl<'a> Forward<'a> {
    /// Of a sensor whose bridges can be told from its axes.
    ///
    /// # Errors
    /// More bridges than axes, or separate electrodes: which, and what is allowed.
    pub fn new(sensor: &'a Sensor) -> Result<Self> {
        let (file, name) = (&sensor.file, &sensor.file.name);
        let (bridges, axes) = (file.bridges.len(), sensor.axes().len());
        if bridges != axes {
            return Err(Error::new(format!(
                "{name}: {bridges} bridges and {axes} axes, allowed as many: readings would not tell what each bridge saw"
            )));
        }
        if let Some(b) = (0..bridges).find(|b| !is_difference(file, *b)) {
            let bridge = &file.bridges[b].name;
            return Err(Error::new(format!(
                "{name}: bridge {bridge} has separate electrodes, allowed difference bridges"
            )));
        }
        Ok(Self { sensor, housing: Housing::new(sensor) })
    }

    /// Balances as a readout with the file's constants has them at a place, over a0; and the carrier's change.
    #[must_use]
    pub fn balances(&self, place: &[f64]) -> (Vec<f64>, f64) {
        let design = &self.sensor.design;
        let own = &design.geometry * DVector::from_column_slice(place);
        let at = Place::new(self.sensor.axes(), place);
        let polarisation = self.housing.polarisation(&at);
        let balance = |b: usize| {
            let strays = design.stray_shares(&self.sensor.file, b);
            let x = own[b] + self.sensor.file.bridges[b].offset_m;
            let [c1, c2] = self.housing.pair(b, &at, own[b]).capacitances(x);
            (c1 - c2 + strays[0] - strays[1]) / polarisation
        };
        ((0..own.len()).map(balance).collect(), polarisation)
    }
}

/// Fits all bridges of the sensor that the readings were made with. Points that follow each other, as those of a sweep do,
/// tell uncertainties from so many `stretches` of them.
///
/// # Errors
/// See [`Forward::new`]. An axis that was not moved, or moved with another only: by name. Too few places.
pub fn fit(sensor: &Sensor, points: &[Point], stretches: Option<usize>) -> Result<Vec<Found>> {
    let forward = Forward::new(sensor)?;
    for (n, point) in points.iter().enumerate() {
        let own = &sensor.design.geometry * DVector::from_column_slice(&point.place);
        let gaps = &sensor.design.gap_m;
        if let Some(b) = (0..gaps.len()).find(|b| own[*b].abs() >= REACH * gaps[*b]) {
            return Err(Error::new(format!(
                "place {}: moves bridge {} by {:e} m, its gap is {:e} m, allowed {REACH} of that: is the reference in \
                 another unit?",
                n + 1,
                sensor.file.bridges[b].name,
                own[b],
                gaps[b]
            )));
        }
    }
    // Of too few places the fit itself says how many it takes.
    if points.len() > sensor.file.bridges.len() + 1 {
        still(sensor, points)?;
    }
    let said: Vec<Vec<f64>> = points.iter().map(|p| forward.balances(&p.read).0).collect();
    let mut known = vec![0.0; sensor.file.bridges.len()];
    let mut round = 0;
    loop {
        // Strays load the mass, too: what was found of them counts in the next round.
        let with = with_strays(sensor, &known);
        let fits = round_of(&forward, &Forward::new(&with)?, points, &said, &known, stretches)?;
        let shares: Vec<f64> = fits.iter().map(|fit| fit.found.stray_share()).collect();
        let moved = shares.iter().zip(&known).fold(0.0, |m: f64, (a, b)| m.max((a - b).abs()));
        round += 1;
        // Of strays like these something else is wrong: the caller says what.
        let beyond = shares.iter().any(|share| share.abs() > MOST_STRAYS);
        if moved < SETTLED || round == ROUNDS || beyond {
            let whole = |fit: Fitted| Found { bent: fit.bent(stretches), ..fit.found };
            return Ok(fits.into_iter().map(whole).collect());
        }
        known = shares;
    }
}

/// Refuses a reference that leaves an axis where it is.
fn still(sensor: &Sensor, points: &[Point]) -> Result<()> {
    let design = &sensor.design;
    for (n, axis) in sensor.axes().iter().enumerate() {
        let places = points.iter().map(|p| p.place[n]);
        let [low, high] =
            places.fold([f64::INFINITY, f64::NEG_INFINITY], |[a, b], x| [a.min(x), b.max(x)]);
        let moved = (0..design.gap_m.len())
            .map(|b| (design.geometry[(b, n)] * (high - low)).abs() / design.gap_m[b]);
        if moved.fold(0.0, f64::max) < STILL {
            return Err(Error::new(format!(
                "{}: the reference does not move it, allowed places that move every axis",
                AXES[*axis].1
            )));
        }
    }
    Ok(())
}

/// The sensor with more strays, on the side of each bridge that has more.
#[must_use]
pub fn with_strays(sensor: &Sensor, shares: &[f64]) -> Sensor {
    let mut with = sensor.clone();
    for (b, share) in shares.iter().enumerate() {
        let added = share * sensor.design.c0_f[b].iter().sum::<f64>();
        let stray_f = &mut with.file.bridges[b].stray_f;
        *stray_f = [stray_f[0] + added.max(0.0), stray_f[1] + (-added).max(0.0)];
    }
    with.design = Design::new(&with.file, &with.plan);
    with
}

/// A bridge's line, and what it was fitted to.
struct Fitted {
    found: Found,
    x: DMatrix<f64>,
    y: Vec<f64>,
}

impl Fitted {
    /// Square and cube of the balance (column 0), fitted beside the line's columns.
    fn bent(&self, stretches: Option<usize>) -> Option<[[f64; 2]; 2]> {
        let (x, count) = (&self.x, self.x.ncols());
        let more = DMatrix::from_fn(x.nrows(), count + 2, |n, k| {
            if k < count { x[(n, k)] } else { x[(n, 0)].powi((k - count + 2) as i32) }
        });
        let fit = fitted(&more, &self.y, stretches).ok()?;
        Some([fit.ratio(count), fit.ratio(count + 1)])
    }
}

fn round_of(
    forward: &Forward<'_>,
    with: &Forward<'_>,
    points: &[Point],
    read: &[Vec<f64>],
    known: &[f64],
    stretches: Option<usize>,
) -> Result<Vec<Fitted>> {
    let count = known.len();
    let wanted: Vec<(Vec<f64>, f64)> = points.iter().map(|p| with.balances(&p.place)).collect();
    (0..count)
        .map(|b| {
            let said: Vec<f64> = read.iter().map(|r| r[b]).collect();
            let phase = phase(points, &said, b, stretches).map_err(|e| refused(forward, &e, b))?;
            let (sine, cosine) = phase.0[0].sin_cos();
            // In phase with where the phasor moves.
            let y: Vec<f64> =
                said.iter().zip(points).map(|(r, p)| r * cosine + p.quadrature[b] * sine).collect();
            let others: Vec<usize> = (0..count).filter(|j| *j != b).collect();
            let x = DMatrix::from_fn(points.len(), count + 1, |n, k| match k {
                0 => wanted[n].0[b],
                1 => 1.0 / wanted[n].1,
                _ => wanted[n].0[others[k - 2]],
            });
            let line = fitted(&x, &y, stretches).map_err(|e| refused(forward, &e, b))?;
            let (phase_rad, still_quadrature) = phase;
            let known_share = known[b];
            let found = Found { line, known_share, phase_rad, still_quadrature, bent: None };
            Ok(Fitted { found, x, y })
        })
        .collect()
}

fn fitted(
    x: &DMatrix<f64>,
    y: &[f64],
    stretches: Option<usize>,
) -> std::result::Result<Regression, Refusal> {
    let fit = regress(x, y, None)?;
    Ok(match stretches {
        Some(stretches) => fit.by_stretches(x, stretches),
        None => fit,
    })
}

/// Angle in which a bridge's phasor moves, with its uncertainty, and the quadrature that stays.
fn phase(
    points: &[Point],
    said: &[f64],
    b: usize,
    stretches: Option<usize>,
) -> std::result::Result<([f64; 2], f64), Refusal> {
    let x = DMatrix::from_fn(points.len(), 2, |n, k| if k == 0 { said[n] } else { 1.0 });
    let quadrature: Vec<f64> = points.iter().map(|p| p.quadrature[b]).collect();
    let line = fitted(&x, &quadrature, stretches)?;
    let slope = line.values[0];
    let uncertainty = line.uncertainty(0) / (1.0 + slope * slope);
    Ok(([slope.atan(), uncertainty], line.values[1] * slope.atan().cos()))
}

fn refused(forward: &Forward<'_>, refusal: &Refusal, b: usize) -> Error {
    let name = |n: usize| forward.sensor.file.bridges[n].name.as_str();
    match refusal {
        Refusal::TooFew(rows) => Error::new(format!(
            "{rows} places, allowed {} or more: gain, strays and a share of every other bridge are fitted",
            forward.sensor.file.bridges.len() + 2
        )),
        Refusal::NoNumber(row) => {
            Error::new(format!("place {}: a value that is no number", row + 1))
        }
        Refusal::NotTold(columns) => {
            let others: Vec<usize> =
                (0..forward.sensor.file.bridges.len()).filter(|j| *j != b).collect();
            let told: Vec<&str> = columns
                .iter()
                .map(|column| match column {
                    0 => name(b),
                    1 => "the strays",
                    n => others.get(n - 2).map_or("?", |j| name(*j)),
                })
                .collect();
            Error::new(format!(
                "bridge {}: the reference does not move {} by itself: shares cannot be told apart, allowed places that \
                 move every axis",
                name(b),
                told.join(" and ")
            ))
        }
    }
}
