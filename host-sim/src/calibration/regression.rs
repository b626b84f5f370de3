//! **Linear regression** with uncertainties: weighted least squares by Householder's orthogonal factors, columns brought to one
//! size, residuals worked out in twice the precision and put through once more.

use nalgebra::{DMatrix, DVector};

/// A fit.
#[derive(Debug, Clone)]
pub struct Regression {
    /// Coefficients.
    pub values: Vec<f64>,
    /// Their covariance, by the residuals' variance.
    pub covariance: DMatrix<f64>,
    /// Standard deviation of a row of weight 1.
    pub residual_sd: f64,
    /// Rows less coefficients.
    pub degrees: f64,
    /// Of each row, not weighed.
    pub residuals: Vec<f64>,
}

/// Why there is none.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Refusal {
    /// Not more rows than coefficients: so many rows.
    TooFew(usize),
    /// Columns that the others make, or that are nothing: these, by what of them is in the weakest direction.
    NotTold(Vec<usize>),
    /// A row holds what is no number.
    NoNumber(usize),
}

/// Smallest singular value over the largest, of columns of one size, at which coefficients are told apart.
const CONDITION: f64 = 1e-11;
/// Share of a column in a direction that counts.
const SHARE: f64 = 0.3;
/// Parts that a spread of a fit is told from are to be more than the coefficients by so many.
const PARTS_OVER: usize = 4;

impl Regression {
    /// Standard uncertainty of a coefficient.
    #[must_use]
    pub fn uncertainty(&self, n: usize) -> f64 {
        self.covariance[(n, n)].sqrt()
    }

    /// Correlation of two.
    #[must_use]
    pub fn correlation(&self, m: usize, n: usize) -> f64 {
        self.covariance[(m, n)] / (self.uncertainty(m) * self.uncertainty(n))
    }

    /// The same coefficients, with what the residuals do to them in each of so many stretches of rows for a covariance:
    /// rows that are not independent count as they do (the "sandwich" of clustered rows, K.-Y. Liang and S. Zeger,
    /// Biometrika 73 (1986) 13, recalled). Of rows without weights. Degrees of freedom are stretches less coefficients.
    #[must_use]
    pub fn by_stretches(mut self, x: &DMatrix<f64>, stretches: usize) -> Self {
        let (rows, columns) = x.shape();
        let stretches = stretches.min(rows);
        if self.residual_sd == 0.0 || stretches < columns + PARTS_OVER {
            return self;
        }
        let inverse = &self.covariance / self.residual_sd.powi(2);
        let mut spread = DMatrix::zeros(columns, columns);
        for stretch in 0..stretches {
            let rows = stretch * rows / stretches..(stretch + 1) * rows / stretches;
            let score = rows.fold(DVector::zeros(columns), |score: DVector<f64>, n| {
                score + x.row(n).transpose() * self.residuals[n]
            });
            spread += &score * score.transpose();
        }
        self.degrees = (stretches - columns) as f64;
        self.covariance = &inverse * spread * &inverse * (stretches as f64 / self.degrees);
        self
    }

    /// Coefficient `n` over coefficient 0, and its standard uncertainty, their covariance counted.
    #[must_use]
    pub fn ratio(&self, n: usize) -> [f64; 2] {
        let ratio = self.values[n] / self.values[0];
        let c = &self.covariance;
        let square = c[(n, n)] - 2.0 * ratio * c[(0, n)] + ratio * ratio * c[(0, 0)];
        [ratio, square.max(0.0).sqrt() / self.values[0].abs()]
    }
}

/// y = X b: rows of `x`, a weight for each (1 over its variance, up to one factor).
///
/// # Errors
/// See [`Refusal`].
pub fn regress(
    x: &DMatrix<f64>,
    y: &[f64],
    weights: Option<&[f64]>,
) -> Result<Regression, Refusal> {
    let (rows, columns) = x.shape();
    if rows <= columns {
        return Err(Refusal::TooFew(rows));
    }
    let known = |n: usize| y[n].is_finite() && x.row(n).iter().all(|v| v.is_finite());
    if let Some(n) = (0..rows).find(|n| !known(*n)) {
        return Err(Refusal::NoNumber(n));
    }
    let root: Vec<f64> =
        (0..rows).map(|n| weights.map_or(1.0, |weights| weights[n].sqrt())).collect();
    let weighed = DMatrix::from_fn(rows, columns, |r, c| root[r] * x[(r, c)]);
    let norms: Vec<f64> = weighed.column_iter().map(|c| c.norm()).collect();
    let nothing: Vec<usize> = (0..columns).filter(|c| norms[*c] == 0.0).collect();
    if !nothing.is_empty() {
        return Err(Refusal::NotTold(nothing));
    }
    let scaled = DMatrix::from_fn(rows, columns, |r, c| weighed[(r, c)] / norms[c]);
    let svd = scaled.clone().svd(false, true);
    let least = svd.singular_values.imin();
    if svd.singular_values[least] < CONDITION * svd.singular_values.max() {
        let direction = svd.v_t.map(|v| v.row(least).transpose()).unwrap_or_default();
        let most = direction.amax();
        let told = direction.iter().enumerate().filter(|(_, part)| part.abs() > SHARE * most);
        return Err(Refusal::NotTold(told.map(|(n, _)| n).collect()));
    }
    let factors = scaled.clone().qr();
    let (q, r) = (factors.q(), factors.r());
    let solve = |right: &DVector<f64>| r.solve_upper_triangular(&(q.transpose() * right));
    let mut b = DVector::zeros(columns);
    for _ in 0..3 {
        // Residuals of the coefficients so far: what rounding left of them is fitted again.
        let left = DVector::from_fn(rows, |n, _| {
            residual(root[n] * y[n], scaled.row(n).iter().zip(b.iter()))
        });
        let Some(step) = solve(&left) else { return Err(Refusal::NotTold(Vec::new())) };
        b += step;
    }
    let residuals: Vec<f64> = (0..rows)
        .map(|n| residual(root[n] * y[n], scaled.row(n).iter().zip(b.iter())) / root[n])
        .collect();
    let degrees = (rows - columns) as f64;
    let squares: f64 = residuals.iter().zip(&root).map(|(e, w)| (e * w).powi(2)).sum();
    let inverse = r.clone().try_inverse().ok_or(Refusal::NotTold(Vec::new()))?;
    let spread = &inverse * inverse.transpose() * (squares / degrees);
    Ok(Regression {
        values: b.iter().zip(&norms).map(|(b, norm)| b / norm).collect(),
        covariance: DMatrix::from_fn(columns, columns, |m, n| {
            spread[(m, n)] / (norms[m] * norms[n])
        }),
        residual_sd: (squares / degrees).sqrt(),
        degrees,
        residuals,
    })
}

/// y less a sum of products, as if in twice the precision (T. Ogita, S. Rump, S. Oishi, SIAM J. Sci. Comput. 26
/// (2005) 1955, recalled).
fn residual<'a>(y: f64, products: impl Iterator<Item = (&'a f64, &'a f64)>) -> f64 {
    let (mut sum, mut rest) = (y, 0.0);
    for (a, b) in products {
        let product = -(a * b);
        let lost = (-a).mul_add(*b, -product);
        let next = sum + product;
        let part = next - sum;
        rest += (sum - (next - part)) + (product - part) + lost;
        sum = next;
    }
    sum + rest
}
