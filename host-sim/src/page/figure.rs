//! Line figures as inline SVG.

use plotters::coord::ranged1d::{AsRangedCoord, Ranged, ValueFormatter};
use plotters::prelude::*;

/// One line.
#[derive(Debug, Clone)]
pub struct Curve {
    /// Name in the legend.
    pub label: String,
    /// Red, green, blue.
    pub colour: (u8, u8, u8),
    /// x and y.
    pub points: Vec<(f64, f64)>,
}

/// Axes' scale.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Scale {
    /// Both linear.
    Linear,
    /// Both logarithmic.
    LogLog,
    /// x logarithmic.
    LogX,
}

/// A figure.
#[derive(Debug, Clone)]
pub struct Figure {
    /// Title.
    pub title: String,
    /// Axis labels, with units.
    pub x: String,
    /// Axis labels, with units.
    pub y: String,
    /// Scale.
    pub scale: Scale,
    /// Lines.
    pub curves: Vec<Curve>,
}

/// Large letters for their size: a phone shows the figure at half of it.
const SIZE: (u32, u32) = (760, 460);

impl Figure {
    /// The figure as an SVG element that scales with its container.
    #[must_use]
    pub fn svg(&self) -> String {
        let mut text = String::new();
        {
            let area = SVGBackend::with_string(&mut text, SIZE).into_drawing_area();
            let drawn = match self.scale {
                Scale::Linear => {
                    let (x, y) = (self.range(|p| p.0, false), self.range(|p| p.1, false));
                    self.draw(&area, x, y)
                }
                Scale::LogX => {
                    let (x, y) = (self.range(|p| p.0, true), self.range(|p| p.1, false));
                    self.draw(&area, x.log_scale(), y)
                }
                Scale::LogLog => {
                    let (x, y) = (self.range(|p| p.0, true), self.range(|p| p.1, true));
                    self.draw(&area, x.log_scale(), y.log_scale())
                }
            };
            // Drawing into a string fails only on empty ranges, which `range` excludes.
            drawn.and_then(|()| area.present().map_err(|e| e.to_string())).unwrap_or_default();
        }
        // The view box alone gives the proportions; the page gives the width.
        let text = text.replacen(&format!("width=\"{}\" height=\"{}\" ", SIZE.0, SIZE.1), "", 1);
        let named = format!("<svg role=\"img\" aria-label=\"{}\" ", escaped(&self.words()));
        text.replacen("<svg ", &named, 1)
    }

    /// What it shows, in words: for who cannot see it.
    fn words(&self) -> String {
        let ends =
            |range: std::ops::Range<f64>| format!("{:.3e} to {:.3e}", range.start, range.end);
        let curves: Vec<String> = self
            .curves
            .iter()
            .map(|curve| {
                let one = Self { curves: vec![curve.clone()], ..self.clone() };
                format!(
                    "{}: {}",
                    curve.label,
                    ends(one.range(|p| p.1, self.scale == Scale::LogLog))
                )
            })
            .collect();
        format!("{}. {} over {}. {}", self.title, self.y, self.x, curves.join("; "))
    }

    fn range(&self, part: impl Fn(&(f64, f64)) -> f64, log: bool) -> std::ops::Range<f64> {
        let values = self.curves.iter().flat_map(|c| c.points.iter().map(&part));
        let values = values.filter(|v| v.is_finite() && (!log || *v > 0.0));
        let (low, high) =
            values.fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), v| (l.min(v), h.max(v)));
        if low > high {
            return if log { 1.0..10.0 } else { 0.0..1.0 };
        }
        if log {
            return low / 1.3..high * 1.3;
        }
        let margin = if high > low { 0.05 * (high - low) } else { low.abs().max(1e-30) };
        low - margin..high + margin
    }

    fn draw<'a, X, Y>(
        &self,
        area: &DrawingArea<SVGBackend<'a>, plotters::coord::Shift>,
        x: X,
        y: Y,
    ) -> Result<(), String>
    where
        X: AsRangedCoord<Value = f64>,
        Y: AsRangedCoord<Value = f64>,
        X::CoordDescType: Ranged<ValueType = f64> + ValueFormatter<f64>,
        Y::CoordDescType: Ranged<ValueType = f64> + ValueFormatter<f64>,
    {
        let fail = |e: DrawingAreaErrorKind<std::io::Error>| e.to_string();
        let mut chart = ChartBuilder::on(area)
            .caption(&self.title, ("sans-serif", 22))
            .margin(8)
            .x_label_area_size(52)
            .y_label_area_size(100)
            .build_cartesian_2d(x, y)
            .map_err(fail)?;
        let exponent = self.scale == Scale::LogLog;
        let widest = self.curves.iter().flat_map(|c| &c.points).fold(0.0, |m: f64, p| m.max(p.0));
        let power = self.scale == Scale::LogX && widest > 1e5;
        let heights = self.range(|p| p.1, false);
        let fine = heights.end - heights.start;
        let tick = |v: f64| if fine < FINE { small(v, fine) } else { short(v) };
        chart
            .configure_mesh()
            .x_desc(&self.x)
            .y_desc(&self.y)
            .axis_desc_style(("sans-serif", 18))
            .label_style(("sans-serif", 16))
            .x_labels(8)
            .y_labels(8)
            .light_line_style(TRANSPARENT)
            .y_label_formatter(&|v| if exponent { format!("{v:.0e}") } else { tick(*v) })
            .x_label_formatter(&|v| if power { format!("{v:.0e}") } else { short(*v) })
            .draw()
            .map_err(fail)?;
        for curve in &self.curves {
            let colour = RGBColor(curve.colour.0, curve.colour.1, curve.colour.2);
            chart
                .draw_series(LineSeries::new(curve.points.iter().copied(), colour.stroke_width(2)))
                .map_err(fail)?
                .label(&curve.label)
                .legend(move |(x, y)| {
                    PathElement::new([(x, y), (x + 22, y)], colour.stroke_width(3))
                });
        }
        chart
            .configure_series_labels()
            .position(SeriesLabelPosition::LowerLeft)
            .background_style(WHITE.mix(0.85))
            .border_style(BLACK.mix(0.3))
            .label_font(("sans-serif", 16))
            .draw()
            .map_err(fail)
    }
}

/// A text within an attribute.
fn escaped(text: &str) -> String {
    text.replace('&', "&amp;").replace('"', "&quot;").replace('<', "&lt;").replace('>', "&gt;")
}

/// Height of a figure whose ticks six decimals do not tell apart.
const FINE: f64 = 1e-5;

/// A tick of a fine axis: what rounding leaves of zero is zero.
fn small(value: f64, height: f64) -> String {
    if value.abs() < 1e-9 * height { "0".to_owned() } else { format!("{value:.1e}") }
}

/// A tick without needless digits.
fn short(value: f64) -> String {
    let text = format!("{value:.6}");
    let text = text.trim_end_matches('0').trim_end_matches('.');
    if text == "-0" { "0".to_owned() } else { text.to_owned() }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Ticks of nanometres are not all zero, and zero is no 3e-25.
    #[test]
    fn fine_axes_have_ticks() {
        assert_eq!(small(-3e-9, 7e-9), "-3.0e-9");
        assert_eq!(small(3e-25, 7e-9), "0");
        assert_eq!(short(0.25), "0.25");
        assert_eq!(short(-1e-7), "0");
    }
}
