//! **Clock** of a board by its time marks: sample counts to seconds of the pulse that the marks are of.

use quietgap_telemetry::message::TimeMark;

/// Fractions of a sample in a mark.
const FRACTIONS: f64 = 65536.0;

/// The last two marks.
#[derive(Debug, Clone, Copy, Default)]
pub struct Clock {
    marks: [Option<TimeMark>; 2],
}

impl Clock {
    /// Takes the next mark. One whose edge or sample does not follow begins anew: the board has started again.
    pub fn mark(&mut self, mark: TimeMark) {
        let follows = |last: &TimeMark| mark.edge > last.edge && mark.sample > last.sample;
        self.marks = [self.marks[1].filter(follows), Some(mark)];
    }

    /// Seconds of the pulse, from its edge 0, at an instant in half samples; by the line through the last two marks, `None`
    /// before the second.
    #[must_use]
    pub fn seconds(&self, half_samples: i64) -> Option<f64> {
        let [Some(first), Some(last)] = self.marks else { return None };
        let fraction = |mark: &TimeMark| f64::from(mark.fraction) / FRACTIONS;
        // Differences first: whole numbers of years have no room for fractions of a sample.
        let samples = (last.sample - first.sample) as f64 + fraction(&last) - fraction(&first);
        let half = i128::from(half_samples) - 2 * i128::from(last.sample);
        let since = half as f64 / 2.0 - fraction(&last);
        let edges = f64::from(last.edge - first.edge);
        Some(f64::from(last.edge) + since * edges / samples)
    }

    /// Samples a second by the last two marks.
    #[must_use]
    pub fn rate_hz(&self) -> Option<f64> {
        let [Some(first), Some(last)] = self.marks else { return None };
        let fraction = f64::from(last.fraction) - f64::from(first.fraction);
        let samples = (last.sample - first.sample) as f64 + fraction / FRACTIONS;
        Some(samples / f64::from(last.edge - first.edge))
    }
}
