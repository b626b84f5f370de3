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

#[cfg(test)]
mod tests {
    use super::*;

    /// Whatever a line brings, an instant is told or not; the ends of all ranges do not overflow.
    #[test]
    fn ends_of_the_ranges() {
        let mut clock = Clock::default();
        assert_eq!(clock.seconds(0), None);
        clock.mark(TimeMark { edge: 0, sample: 0, fraction: 0 });
        assert_eq!(clock.seconds(0), None);
        clock.mark(TimeMark { edge: u32::MAX, sample: u64::MAX, fraction: u16::MAX });
        for half_samples in [i64::MIN, 0, i64::MAX] {
            assert!(clock.seconds(half_samples).is_some_and(f64::is_finite));
        }
        // One that does not follow begins anew.
        clock.mark(TimeMark { edge: 5, sample: 4_000_000, fraction: 0x8000 });
        assert_eq!(clock.seconds(0), None);
        clock.mark(TimeMark { edge: 7, sample: 5_600_016, fraction: 0 });
        assert!((clock.rate_hz().unwrap() - 800_007.75).abs() < 1e-9);
        let at = clock.seconds(2 * 4_000_000 + 1).unwrap();
        assert!((at - 5.0).abs() < 1e-12, "{at}");
    }
}
