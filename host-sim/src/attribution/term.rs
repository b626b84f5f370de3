//! **Terms**: what a channel may do to a reading.

use super::together::Together;
use realfft::num_complex::Complex64;
use std::f64::consts::TAU;

/// How a reading follows.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Form {
    /// At once.
    Plain,
    /// By the channel's rate of change.
    Rate,
    /// As a body warms: a first-order lag.
    Lag {
        /// Time constant, s.
        time_s: f64,
    },
}

/// Forms to choose from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Family {
    /// [`Form::Plain`].
    Plain,
    /// [`Form::Rate`].
    Rate,
    /// [`Form::Lag`].
    Lag,
}

/// A channel in one form.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Term {
    /// Number of the channel.
    pub channel: usize,
    /// Form.
    pub form: Form,
    /// How much later the reading follows, s.
    pub delay_s: f64,
}

impl Term {
    /// Reading over channel at a frequency.
    #[must_use]
    pub fn response(&self, frequency_hz: f64) -> Complex64 {
        let s = Complex64::new(0.0, TAU * frequency_hz);
        let form = match self.form {
            Form::Plain => Complex64::new(1.0, 0.0),
            Form::Rate => s,
            Form::Lag { time_s } => (1.0 + s * time_s).inv(),
        };
        form * (-s * self.delay_s).exp()
    }

    /// Derivative of the response by the lag's time constant; of a term without one, nothing.
    #[must_use]
    pub fn by_time(&self, frequency_hz: f64) -> Complex64 {
        let s = Complex64::new(0.0, TAU * frequency_hz);
        match self.form {
            Form::Lag { .. } => -s * self.response(frequency_hz) * self.response(frequency_hz),
            _ => Complex64::default(),
        }
    }

    /// Derivative of the response by the delay.
    #[must_use]
    pub fn by_delay(&self, frequency_hz: f64) -> Complex64 {
        Complex64::new(0.0, -TAU * frequency_hz) * self.response(frequency_hz)
    }

    /// The term in time, at the common instants of the runs.
    #[must_use]
    pub fn values(&self, together: &Together) -> Vec<f64> {
        let mut values = together.delayed(self.channel, self.delay_s);
        for run in &together.runs {
            let x = &mut values[run.clone()];
            match self.form {
                Form::Plain => {}
                Form::Rate => rate(x, together.rate_hz),
                Form::Lag { time_s } => lag(x, time_s * together.rate_hz),
            }
        }
        values
    }
}

/// Rates of change: eight values to each side, in error by less than 1e-4 up to 0.35 of the rate; fewer near the ends,
/// where tapers look at little.
fn rate(x: &mut [f64], rate_hz: f64) {
    let y = x.to_vec();
    for (n, out) in x.iter_mut().enumerate() {
        let reach = n.min(y.len() - 1 - n).min(8);
        *out = match reach {
            0 if n == 0 => (y[1] - y[0]) * rate_hz,
            0 => (y[n] - y[n - 1]) * rate_hz,
            _ => {
                // 2 (-1)^(m+1) (p!)^2/(m (p-m)! (p+m)!): the highest order that so many values give.
                let mut weight = 1.0;
                let terms = (1..=reach).map(|m| {
                    let (p, mf) = (reach as f64, m as f64);
                    weight *= (p - mf + 1.0) / (p + mf);
                    let sign = if m % 2 == 1 { 1.0 } else { -1.0 };
                    sign * weight / mf * (y[n + m] - y[n - m])
                });
                terms.sum::<f64>() * rate_hz
            }
        };
    }
}

/// First-order lag of so many rows, from a state that has settled on the first value: exact for values that lie on straight
/// lines.
fn lag(x: &mut [f64], rows: f64) {
    if rows <= 0.0 {
        return;
    }
    let keep = (-1.0 / rows).exp();
    // Of a ramp from a to b: state e^(-1/r) + a (1 - keep) + (b - a)(1 - r (1 - keep)).
    let gained = 1.0 - rows * (1.0 - keep);
    let Some(mut before) = x.first().copied() else { return };
    let mut state = before;
    for value in x.iter_mut() {
        let now = *value;
        state = state * keep + before * (1.0 - keep) + (now - before) * gained;
        before = now;
        *value = state;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Both follow a sine as their responses say, in the middle.
    #[test]
    fn forms_in_time_are_forms_in_frequency() {
        let (rate_hz, f) = (2.0, 0.05);
        let x: Vec<f64> = (0..4000).map(|n| (TAU * f * f64::from(n) / rate_hz).cos()).collect();
        for (form, within) in [(Form::Rate, 1e-9), (Form::Lag { time_s: 7.0 }, 1e-2)] {
            let term = Term { channel: 0, form, delay_s: 0.0 };
            let mut y = x.clone();
            match form {
                Form::Rate => rate(&mut y, rate_hz),
                Form::Lag { time_s } => lag(&mut y, time_s * rate_hz),
                Form::Plain => {}
            }
            let h = term.response(f);
            for n in 1000..3000 {
                let turn = Complex64::new(0.0, TAU * f * n as f64 / rate_hz).exp();
                let want = (h * turn).re;
                assert!((y[n] - want).abs() < within * h.norm(), "{form:?} {n}: {} {want}", y[n]);
            }
        }
        let mut ends = vec![0.0, 1.0, 4.0, 9.0, 16.0];
        rate(&mut ends, 1.0);
        assert_eq!(ends, [1.0, 2.0, 4.0, 6.0, 7.0]);
    }
}
