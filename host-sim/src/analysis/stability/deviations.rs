//! **The deviations** from sums of the values: differences of running sums stand for averages, so that an
//! averaging time costs one pass, however long it is.

use super::differences;
use crate::analysis::series::Series;

/// A kind of deviation.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Deviation {
    /// Allan, neighbouring averages, not overlapping.
    AllanApart,
    /// Allan, all overlapping averages.
    Allan,
    /// Modified Allan: tells white from 1/f phase noise.
    Modified,
    /// Time: tau/sqrt(3) times the modified one.
    Time,
    /// Hadamard, not overlapping.
    HadamardApart,
    /// Hadamard, overlapping: does not see a drift of the rate.
    Hadamard,
    /// Total: longer averaging times from a record reflected at both ends.
    Total,
}

impl Deviation {
    /// All, with their names.
    pub const ALL: [(Self, &'static str); 7] = [
        (Self::Allan, "allan"),
        (Self::Modified, "modified"),
        (Self::Hadamard, "hadamard"),
        (Self::Time, "time"),
        (Self::Total, "total"),
        (Self::AllanApart, "allan-apart"),
        (Self::HadamardApart, "hadamard-apart"),
    ];

    /// Its name.
    #[must_use]
    pub fn name(self) -> &'static str {
        Self::ALL.iter().find(|(d, _)| *d == self).expect("all are there").1
    }

    /// Averages that a difference takes.
    #[must_use]
    pub const fn averages(self) -> usize {
        match self {
            Self::Total => 1,
            Self::Allan | Self::AllanApart => 2,
            _ => 3,
        }
    }

    /// Order of its differences of phase.
    #[must_use]
    pub const fn order(self) -> usize {
        if matches!(self, Self::Hadamard | Self::HadamardApart) { 3 } else { 2 }
    }
}

/// Running sums of a series, a list for each run: one more than its values.
#[derive(Debug, Clone)]
pub struct Phases {
    runs: Vec<Vec<f64>>,
    interval_s: f64,
}

impl Phases {
    /// Of a series, or of what is a running sum already.
    ///
    /// Values are taken without their mean: no deviation sees it, and sums stay small.
    #[must_use]
    pub fn new(series: &Series<'_>, integrated: bool) -> Self {
        let interval_s = 1.0 / series.rate_hz;
        let mean = series.mean();
        let sums = |values: &[f64]| {
            if integrated {
                return values.iter().map(|x| x - mean).collect();
            }
            let mut sums = Vec::with_capacity(values.len() + 1);
            sums.push(0.0);
            let mut total = 0.0;
            // Each eight values' own sums first: none of them waits for what came before.
            let (eights, rest) = values.as_chunks::<8>();
            for eight in eights {
                let mut own = eight.map(|y| (y - mean) * interval_s);
                for n in 1..8 {
                    own[n] += own[n - 1];
                }
                sums.extend(own.map(|sum| total + sum));
                total += own[7];
            }
            for y in rest {
                total += (y - mean) * interval_s;
                sums.push(total);
            }
            sums
        };
        Self {
            runs: series.runs.iter().map(|run| sums(&series.values[run.clone()])).collect(),
            interval_s,
        }
    }

    /// Sums in each run.
    #[must_use]
    pub fn lengths(&self) -> Vec<usize> {
        self.runs.iter().map(Vec::len).collect()
    }

    /// The runs themselves.
    #[must_use]
    pub fn runs(&self) -> &[Vec<f64>] {
        &self.runs
    }

    /// Overlapping Allan deviations for several averages, as of [`Self::deviation`]: a stretch of the sums is taken
    /// for all of them while it is near the processor, as far as it is longer than they.
    #[must_use]
    pub fn allan(&self, averages: &[usize]) -> Vec<Option<(f64, usize)>> {
        let mut squares = vec![0.0; averages.len()];
        for x in &self.runs {
            differences::add_second(x, averages, &mut squares);
        }
        let one = |(square, m): (&f64, &usize)| {
            let count: usize = self.runs.iter().map(|x| x.len().saturating_sub(2 * m)).sum();
            let tau = *m as f64 * self.interval_s;
            (count > 0).then(|| ((square / (2.0 * tau * tau * count as f64)).sqrt(), count))
        };
        squares.iter().zip(averages).map(one).collect()
    }

    /// A deviation for averages of `m` values, and the number of differences in it. Differences lie within
    /// a run. `None` where there is not one; the total deviation takes one run.
    #[must_use]
    pub fn deviation(&self, deviation: Deviation, m: usize) -> Option<(f64, usize)> {
        let tau = m as f64 * self.interval_s;
        let (mut square, mut count) = (0.0, 0);
        let mut add = |(sum, terms): (f64, usize)| {
            square += sum;
            count += terms;
        };
        let runs = self.runs.iter().map(Vec::as_slice);
        let over = match deviation {
            Deviation::Allan => return self.allan(&[m])[0],
            Deviation::AllanApart => {
                runs.for_each(|x| add(second_differences(x, m)));
                2.0
            }
            Deviation::Hadamard => {
                runs.for_each(|x| add(third_differences(x, m, 1)));
                6.0
            }
            Deviation::HadamardApart => {
                runs.for_each(|x| add(third_differences(x, m, m)));
                6.0
            }
            Deviation::Modified | Deviation::Time => {
                runs.for_each(|x| add(averaged_differences(x, m)));
                2.0
            }
            Deviation::Total => {
                let [x] = self.runs.as_slice() else { return None };
                add(reflected_differences(x, m));
                2.0
            }
        };
        let variance = square / (over * tau * tau * count as f64);
        let scale = if deviation == Deviation::Time { tau / 3f64.sqrt() } else { 1.0 };
        (count > 0).then(|| (scale * variance.sqrt(), count))
    }
}

/// Sum of squares in eight parts, and the number of terms.
fn squares(count: usize, at: impl Fn(usize) -> f64) -> (f64, usize) {
    let mut parts = [0.0; 8];
    for block in 0..count / 8 {
        for (k, part) in parts.iter_mut().enumerate() {
            let d = at(8 * block + k);
            *part += d * d;
        }
    }
    let rest: f64 = (count - count % 8..count).map(|k| at(k).powi(2)).sum();
    (parts.iter().sum::<f64>() + rest, count)
}

/// x\[k + 2m\] - 2 x\[k + m\] + x\[k\], m apart.
fn second_differences(x: &[f64], m: usize) -> (f64, usize) {
    let Some(count) = x.len().checked_sub(2 * m).filter(|c| *c > 0) else { return (0.0, 0) };
    squares(count.div_ceil(m), |k| x[k * m + 2 * m] - 2.0 * x[k * m + m] + x[k * m])
}

/// x\[k + 3m\] - 3 x\[k + 2m\] + 3 x\[k + m\] - x\[k\], `step` apart.
fn third_differences(x: &[f64], m: usize, step: usize) -> (f64, usize) {
    let Some(count) = x.len().checked_sub(3 * m).filter(|c| *c > 0) else { return (0.0, 0) };
    let [a, b, c, d] = [0, m, 2 * m, 3 * m].map(|from| &x[from..from + count]);
    let at = |k: usize| (d[k] - a[k]) - 3.0 * (c[k] - b[k]);
    if step == 1 {
        return squares(count, at);
    }
    squares(count.div_ceil(step), |k| at(k * step))
}

/// Means of m neighbouring second differences, by a running sum.
fn averaged_differences(x: &[f64], m: usize) -> (f64, usize) {
    let Some(count) = (x.len() + 1).checked_sub(3 * m).filter(|c| *c > 0) else { return (0.0, 0) };
    let difference = |k: usize| x[k + 2 * m] - 2.0 * x[k + m] + x[k];
    let mut sum: f64 = (0..m).map(difference).sum();
    let mut square = sum * sum;
    for k in 1..count {
        sum += x[k + 3 * m - 1] - 3.0 * x[k + 2 * m - 1] + 3.0 * x[k + m - 1] - x[k - 1];
        square += sum * sum;
    }
    (square / (m * m) as f64, count)
}

/// Second differences of x continued beyond both ends by its point reflection: 2 x\[0\] - x\[k\] before,
/// 2 x\[N-1\] - x\[2N-2-k\] after.
fn reflected_differences(x: &[f64], m: usize) -> (f64, usize) {
    let n = x.len();
    if n < 3 || m + 1 > n {
        return (0.0, 0);
    }
    let (first, last) = (x[0], x[n - 1]);
    let before = |k: usize| if k >= m { x[k - m] } else { 2.0 * first - x[m - k] };
    let after = |k: usize| if k + m < n { x[k + m] } else { 2.0 * last - x[2 * (n - 1) - k - m] };
    squares(n - 2, |k| before(k + 1) - 2.0 * x[k + 1] + after(k + 1))
}
