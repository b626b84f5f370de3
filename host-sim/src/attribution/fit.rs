//! **Fit** of real coefficients to cells of sine tapers: y = sum b_j x_j + noise of any smooth density.
//!
//! Each cell is weighed by one over the residuals' smoothed density there, found in rounds; uncertainties are those that this
//! density gives. Where many cells tell a coefficient, it is also worked out from the residuals as they are ("HC3",
//! J. G. MacKinnon, H. White, J. Econometrics 29 (1985) 305), and the larger of the two is told: a density that is not
//! what it was taken for makes no interval too short. Degrees of freedom are those of the sum of squares that a coefficient
//! rests on (R. M. Bell, D. F. McCaffrey, Surv. Methodol. 28 (2002) 169; both recalled), times the cells that each
//! density is smoothed over.

use crate::analysis::tapers::{Cell, LEAST_CELLS, TAPERS, smoothed};
use nalgebra::{DMatrix, DVector};
use rayon::prelude::*;

/// A fit.
#[derive(Debug, Clone)]
pub struct Fit {
    /// Coefficients.
    pub values: Vec<f64>,
    /// Their covariance.
    pub covariance: DMatrix<f64>,
    /// Degrees of freedom of each one's uncertainty.
    pub degrees: Vec<f64>,
    /// Smoothed density of the residuals at each cell.
    pub density: Vec<f64>,
    /// What is left.
    pub residual: Vec<Cell>,
    /// Share of each coefficient's information in the lowest cell of the runs.
    pub lowest: Vec<f64>,
}

/// Why there is none: these columns cannot be told apart.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NotTold(pub Vec<usize>);

/// Smallest eigenvalue of the weighed correlations at which columns are told apart.
const APART: f64 = 1e-9;
/// Degrees of freedom from which on residuals as they are tell an uncertainty.
const MANY: f64 = 20.0;
/// Rounds of weighing.
const ROUNDS: usize = 8;

impl Fit {
    /// Standard uncertainty of a coefficient.
    #[must_use]
    pub fn uncertainty(&self, n: usize) -> f64 {
        self.covariance[(n, n)].sqrt()
    }
}

/// Fits.
///
/// # Errors
/// See [`NotTold`].
pub fn fit(frequencies: &[f64], y: &[Cell], columns: &[Vec<Cell>]) -> Result<Fit, NotTold> {
    let mut density = floored(frequencies, y, y);
    let mut last: Option<Vec<f64>> = None;
    for _ in 0..ROUNDS {
        let system = System::new(y, columns, &density)?;
        let values = system.solve();
        let residual = left(y, columns, &values);
        density = floored(frequencies, y, &residual);
        // As settled as matters: a hundredth of an uncertainty.
        let settled = last.as_ref().is_some_and(|last| {
            let moved = |n: usize| (values[n] - last[n]).powi(2) < 1e-4 * system.inverse[(n, n)];
            (0..values.len()).all(moved)
        });
        last = Some(values);
        if settled {
            break;
        }
    }
    let system = System::new(y, columns, &density)?;
    let values = system.solve();
    let residual = left(y, columns, &values);
    let spread = system.spread(columns, &residual, &density);
    Ok(Fit { values, residual, density, ..spread })
}

/// Densities of what is left; what rounding leaves of a fit without noise counts as noise.
fn floored(frequencies: &[f64], y: &[Cell], residual: &[Cell]) -> Vec<f64> {
    let mean = y.iter().flatten().map(|z| z.norm_sqr()).sum::<f64>() / y.len().max(1) as f64;
    let floor = (mean * 1e-28).max(f64::MIN_POSITIVE * 1e20);
    smoothed(frequencies, residual).into_iter().map(|p| p.max(floor)).collect()
}

/// y less all columns.
#[must_use]
pub fn left(y: &[Cell], columns: &[Vec<Cell>], values: &[f64]) -> Vec<Cell> {
    let mut out = y.to_vec();
    for (column, b) in columns.iter().zip(values) {
        for (cell, x) in out.iter_mut().zip(column) {
            for (z, x) in cell.iter_mut().zip(x) {
                *z -= x * b;
            }
        }
    }
    out
}

/// Product of two series of cells, each part over its variance: half the density.
#[must_use]
pub fn weighed(a: &[Cell], b: &[Cell], density: &[f64]) -> f64 {
    let one = |((a, b), d): ((&Cell, &Cell), &f64)| {
        a.iter().zip(b).map(|(a, b)| a.re * b.re + a.im * b.im).sum::<f64>() * 2.0 / d
    };
    a.iter().zip(b).zip(density).map(one).sum()
}

/// Weighed normal equations: A b = r, each real and imaginary part an equation whose variance is half the density.
struct System {
    inverse: DMatrix<f64>,
    right: DVector<f64>,
}

/// Inverse of the equations' matrix A.
fn inverse(columns: &[Vec<Cell>], density: &[f64]) -> Result<DMatrix<f64>, NotTold> {
    let count = columns.len();
    if count == 0 {
        return Ok(DMatrix::zeros(0, 0));
    }
    let mut normal = DMatrix::zeros(count, count);
    for m in 0..count {
        for n in 0..=m {
            let sum = weighed(&columns[m], &columns[n], density);
            (normal[(m, n)], normal[(n, m)]) = (sum, sum);
        }
    }
    let scale: Vec<f64> = (0..count).map(|n| normal[(n, n)].sqrt()).collect();
    let nothing: Vec<usize> = (0..count)
        .filter(|n| {
            let known = scale[*n] > 0.0 && scale[*n].is_finite();
            !known
        })
        .collect();
    if !nothing.is_empty() {
        return Err(NotTold(nothing));
    }
    let scaled = DMatrix::from_fn(count, count, |m, n| normal[(m, n)] / (scale[m] * scale[n]));
    let eigen = scaled.clone().symmetric_eigen();
    if eigen.eigenvalues.min() < APART {
        let direction = eigen.eigenvectors.column(eigen.eigenvalues.imin());
        let most = direction.amax();
        let part = direction.iter().enumerate().filter(|(_, part)| part.abs() > 0.1 * most);
        return Err(NotTold(part.map(|(n, _)| n).collect()));
    }
    let inverse = scaled.try_inverse().ok_or_else(|| NotTold((0..count).collect()))?;
    Ok(DMatrix::from_fn(count, count, |m, n| inverse[(m, n)] / (scale[m] * scale[n])))
}

/// Right side r of the equations for y.
fn right(y: &[Cell], columns: &[Vec<Cell>], density: &[f64]) -> DVector<f64> {
    DVector::from_fn(columns.len(), |n, _| weighed(&columns[n], y, density))
}

impl System {
    fn new(y: &[Cell], columns: &[Vec<Cell>], density: &[f64]) -> Result<Self, NotTold> {
        let inverse = inverse(columns, density)?;
        Ok(Self { inverse, right: right(y, columns, density) })
    }

    fn solve(&self) -> Vec<f64> {
        (&self.inverse * &self.right).iter().copied().collect()
    }

    /// Covariance by the residuals, degrees of freedom, information in the lowest cell.
    fn spread(&self, columns: &[Vec<Cell>], residual: &[Cell], density: &[f64]) -> Fit {
        let count = columns.len();
        let start = || (DMatrix::zeros(count, count), vec![[0.0; 2]; count]);
        let one = |(mut sum, mut parts): (DMatrix<f64>, Vec<[f64; 2]>), cell: usize| {
            let weight = 2.0 / density[cell];
            for taper in 0..TAPERS {
                for imaginary in [false, true] {
                    let part = |z: realfft::num_complex::Complex64| {
                        if imaginary { z.im } else { z.re }
                    };
                    let row = DVector::from_fn(count, |n, _| part(columns[n][cell][taper]));
                    let pulled = &self.inverse * &row * weight;
                    let leverage = row.dot(&pulled).min(0.99);
                    let miss = part(residual[cell][taper]) / (1.0 - leverage);
                    sum += &pulled * pulled.transpose() * (miss * miss);
                    for (n, [one, two]) in parts.iter_mut().enumerate() {
                        let share = pulled[n] * pulled[n] / weight;
                        *one += share;
                        *two += share * share;
                    }
                }
            }
            (sum, parts)
        };
        let (covariance, parts) = (0..residual.len()).into_par_iter().fold(start, one).reduce(
            start,
            |(a, mut b), (c, d)| {
                for (b, d) in b.iter_mut().zip(d) {
                    b.iter_mut().zip(d).for_each(|(b, d)| *b += d);
                }
                (a + c, b)
            },
        );
        let (_, first) = (0..residual.len().min(1)).fold(start(), one);
        let rests: Vec<f64> = parts.iter().map(|[one, two]| one * one / two).collect();
        let wider = |n: usize| {
            let ratio = covariance[(n, n)] / self.inverse[(n, n)];
            if rests[n] >= MANY { ratio.max(1.0).sqrt() } else { 1.0 }
        };
        let wider: Vec<f64> = (0..count).map(wider).collect();
        Fit {
            values: Vec::new(),
            covariance: DMatrix::from_fn(count, count, |m, n| {
                self.inverse[(m, n)] * wider[m] * wider[n]
            }),
            degrees: rests.iter().map(|rests| rests * LEAST_CELLS as f64).collect(),
            density: Vec::new(),
            residual: Vec::new(),
            lowest: parts.iter().zip(first).map(|([all, _], [one, _])| one / all).collect(),
        }
    }
}

/// Columns that are chosen, to be taken off others.
#[derive(Debug)]
pub struct Chosen<'a> {
    columns: &'a [Vec<Cell>],
    density: &'a [f64],
    inverse: DMatrix<f64>,
}

impl<'a> Chosen<'a> {
    /// Of columns that can be told apart.
    #[must_use]
    pub fn new(columns: &'a [Vec<Cell>], density: &'a [f64]) -> Option<Self> {
        Some(Self { columns, density, inverse: inverse(columns, density).ok()? })
    }

    /// What of a column these do not make up between them.
    fn own(&self, column: &[Cell]) -> Vec<Cell> {
        let values = &self.inverse * right(column, self.columns, self.density);
        left(column, self.columns, values.as_slice())
    }
}

/// What one more column would do to residuals: its coefficient over its uncertainty, and degrees of freedom. `chosen` columns
/// are taken off it first.
#[must_use]
pub fn entered(column: &[Cell], chosen: &Chosen<'_>, residual: &[Cell]) -> Option<[f64; 2]> {
    let (own, density) = (chosen.own(column), chosen.density);
    let (mut zz, mut zr, mut whole) = (0.0, 0.0, 0.0);
    for (((z, x), r), d) in own.iter().zip(column).zip(residual).zip(density) {
        let weight = 2.0 / d;
        for ((z, x), r) in z.iter().zip(x).zip(r) {
            zz += z.norm_sqr() * weight;
            whole += x.norm_sqr() * weight;
            zr += (z.re * r.re + z.im * r.im) * weight;
        }
    }
    // Nothing of its own is left of it.
    let own_part = zz > 1e-6 * whole;
    if !own_part {
        return None;
    }
    let (b, over) = (zr / zz, zz.recip());
    let (mut variance, mut one, mut two) = (0.0, 0.0, 0.0);
    for ((z, r), d) in own.iter().zip(residual).zip(density) {
        let weight = 2.0 / d;
        for (z, r) in z.iter().zip(r) {
            for (z, r) in [(z.re, r.re), (z.im, r.im)] {
                let share = z * z * weight;
                // Of a residual over what its leverage leaves of it.
                let miss = (r - b * z) / (1.0 - (share * over).min(0.99));
                variance += (z * weight * miss).powi(2);
                one += share;
                two += share * share;
            }
        }
    }
    let rests = one * one / two;
    let variance = if rests >= MANY { variance.max(zz) } else { zz };
    Some([zr / variance.sqrt(), rests * LEAST_CELLS as f64])
}
