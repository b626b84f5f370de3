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
pub fn rate(x: &mut [f64], rate_hz: f64) {
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
pub fn lag(x: &mut [f64], rows: f64) {
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
