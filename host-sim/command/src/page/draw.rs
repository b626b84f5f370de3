//! Figures as inline SVG.

use super::figure::{Colour, Figure, MARK, Scale};
use plotters::coord::ranged1d::{AsRangedCoord, Ranged, ValueFormatter};
use plotters::coord::types::RangedCoordf64;
use plotters::prelude::*;
use std::ops::Range;

/// Large letters for their size: a phone shows the figure at six tenths of it.
const WIDTH: u32 = 600;
/// Height without the legend.
const HEIGHT: u32 = 370;
/// Height of a row of the legend, of which each holds [`COLUMNS`] names.
const ROW: u32 = 22;
/// Left end of the legend.
const LEFT: i32 = 30;
/// Names in a row of the legend.
const COLUMNS: usize = 2;
/// What a shade leaves of its colour.
const SHADE: f64 = 0.22;

impl Figure {
    /// The figure as an SVG element that scales with its container. What a reader of values needs stands in its
    /// attributes: `data-plot`, the plotted rectangle (left, top, right, bottom in units of the view box); `data-x` and
    /// `data-y`, the values at its edges and `log` or `linear`.
    #[must_use]
    pub fn svg(&self) -> String {
        let mut text = String::new();
        let [x, y] = [self.range(0), self.range(1)];
        let rows = self.legend().len().div_ceil(COLUMNS) as u32;
        let size = (WIDTH, HEIGHT + rows * ROW + 4);
        let plot = {
            let area = SVGBackend::with_string(&mut text, size).into_drawing_area();
            let (x, y) = (x.clone(), y.clone());
            let drawn = match self.scale {
                Scale::Linear => self.draw(&area, Plain(x), Plain(y)),
                Scale::LogX => self.draw(&area, x.log_scale(), Plain(y)),
                Scale::LogLog => self.draw(&area, x.log_scale(), y.log_scale()),
            };
            // Drawing into a string fails only on empty ranges, which `range` excludes.
            let plot = drawn.unwrap_or_default();
            area.present().unwrap_or_default();
            plot
        };
        // The view box alone gives the proportions; the page gives the width.
        let text = text.replacen(&format!("width=\"{}\" height=\"{}\" ", size.0, size.1), "", 1);
        let edges = |range: Range<f64>, log: bool| {
            format!("{:e} {:e} {}", range.start, range.end, if log { "log" } else { "linear" })
        };
        let [log_x, log_y] = self.scale.log();
        let named = format!(
            "<svg role=\"img\" aria-label=\"{}\" data-plot=\"{} {} {} {}\" data-x=\"{}\" data-y=\"{}\" ",
            escaped(&self.words()),
            plot[0],
            plot[1],
            plot[2],
            plot[3],
            edges(x, log_x),
            edges(y, log_y),
        );
        text.replacen("<svg ", &named, 1)
    }

    /// Draws all; the plotted rectangle.
    fn draw<'a, X, Y>(&self, area: &Area<'a>, x: X, y: Y) -> Result<[i32; 4], String>
    where
        X: AsRangedCoord<Value = f64>,
        Y: AsRangedCoord<Value = f64>,
        X::CoordDescType: Ranged<ValueType = f64> + ValueFormatter<f64>,
        Y::CoordDescType: Ranged<ValueType = f64> + ValueFormatter<f64>,
    {
        let fail = |e: DrawingAreaErrorKind<std::io::Error>| e.to_string();
        let (upper, lower) = area.split_vertically(HEIGHT);
        let mut chart = ChartBuilder::on(&upper)
            .caption(&self.title, ("sans-serif", 19))
            .margin(8)
            .x_label_area_size(48)
            .y_label_area_size(92)
            .build_cartesian_2d(x, y)
            .map_err(fail)?;
        let [log_x, log_y] = self.scale.log();
        let [across, heights] = [self.range(0), self.range(1)];
        let power = log_x && !log_y && across.end > 1e5;
        let fine = heights.end - heights.start;
        let tick = |v: f64| if fine < FINE { small(v, &heights) } else { short(v) };
        chart
            .configure_mesh()
            .x_desc(&self.x)
            .y_desc(&self.y)
            .axis_desc_style(("sans-serif", 16))
            .label_style(("sans-serif", 15))
            .x_labels(8)
            .y_labels(8)
            .bold_line_style(BLACK.mix(0.2))
            .light_line_style(BLACK.mix(0.07))
            .y_label_formatter(&|v| if log_y { format!("{v:.0e}") } else { tick(*v) })
            .x_label_formatter(&|v| if power { format!("{v:.0e}") } else { short(*v) })
            .draw()
            .map_err(fail)?;
        for mark in &self.marks {
            // A short one stays visible.
            let least = (across.end - across.start) * LEAST_MARK;
            let within = mark.spans.iter().filter(|s| s[1] >= across.start && s[0] <= across.end);
            let shaded = within.map(|[from, to]| {
                let ends = [from.max(across.start), to.max(from + least).min(across.end)];
                let corners = [(ends[0], heights.start), (ends[1], heights.end)];
                Rectangle::new(corners, rgb(MARK).mix(2.0 * SHADE).filled())
            });
            chart.draw_series(shaded).map_err(fail)?;
        }
        for band in &self.bands {
            let seen = |[x, low, high]: &&[f64; 3]| {
                self.scale.shows((*x, *low)) && self.scale.shows((*x, *high))
            };
            let kept: Vec<&[f64; 3]> = band.points.iter().filter(seen).collect();
            let low = kept.iter().map(|p| (p[0], p[1]));
            let high = kept.iter().rev().map(|p| (p[0], p[2]));
            let edge: Vec<(f64, f64)> = low.chain(high).collect();
            let shaded = Polygon::new(edge, rgb(band.colour).mix(SHADE).filled());
            chart.draw_series(std::iter::once(shaded)).map_err(fail)?;
        }
        for curve in &self.curves {
            let stroke = rgb(curve.colour).stroke_width(2);
            chart
                .draw_series(LineSeries::new(curve.points.iter().copied(), stroke))
                .map_err(fail)?;
        }
        self.draw_legend(&lower)?;
        let (x, y) = chart.plotting_area().get_pixel_range();
        // The last pixel belongs to the plot.
        Ok([x.start, y.start, x.end - 1, y.end - 1])
    }

    /// Names below the plot, where they hide nothing.
    fn draw_legend(&self, area: &Area<'_>) -> Result<(), String> {
        let fail = |e: DrawingAreaErrorKind<std::io::Error>| e.to_string();
        for (n, (label, colour, line)) in self.legend().into_iter().enumerate() {
            let x = LEFT + (n % COLUMNS) as i32 * ((WIDTH as i32 - LEFT) / COLUMNS as i32);
            let y = (n / COLUMNS) as i32 * ROW as i32 + 10;
            if line {
                let stroke = rgb(colour).stroke_width(3);
                area.draw(&PathElement::new([(x, y), (x + 26, y)], stroke)).map_err(fail)?;
            } else {
                let shade = rgb(colour).mix(2.0 * SHADE).filled();
                area.draw(&Rectangle::new([(x, y - 7), (x + 26, y + 7)], shade)).map_err(fail)?;
            }
            area.draw(&Text::new(label.to_owned(), (x + 34, y - 8), ("sans-serif", 15)))
                .map_err(fail)?;
        }
        Ok(())
    }
}

type Area<'a> = DrawingArea<SVGBackend<'a>, plotters::coord::Shift>;

/// A linear axis: a range as it is.
struct Plain(Range<f64>);

impl AsRangedCoord for Plain {
    type CoordDescType = RangedCoordf64;
    type Value = f64;
}

impl From<Plain> for RangedCoordf64 {
    fn from(plain: Plain) -> Self {
        plain.0.into()
    }
}

const fn rgb(colour: Colour) -> RGBColor {
    RGBColor(colour.0, colour.1, colour.2)
}

/// A text within an attribute.
fn escaped(text: &str) -> String {
    text.replace('&', "&amp;").replace('"', "&quot;").replace('<', "&lt;").replace('>', "&gt;")
}

/// Height of a figure whose ticks six decimals do not tell apart.
const FINE: f64 = 1e-5;
/// Share of the width that the shortest mark has.
const LEAST_MARK: f64 = 0.003;

/// A tick of a fine axis, with as many digits as tell it from the next; what rounding leaves of zero is zero.
fn small(value: f64, axis: &Range<f64>) -> String {
    let height = axis.end - axis.start;
    if value.abs() < 1e-9 * height {
        return "0".to_owned();
    }
    let steps = 10.0 * value.abs() / height;
    let digits = steps.log10().ceil().clamp(1.0, 9.0) as usize;
    format!("{value:.digits$e}")
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
    use crate::page::figure::Curve;

    /// Ticks of nanometres are not all zero, and zero is no 3e-25.
    #[test]
    fn fine_axes_have_ticks() {
        assert_eq!(small(-3e-9, &(-4e-9..3e-9)), "-3.0e-9");
        assert_eq!(small(3e-25, &(-4e-9..3e-9)), "0");
        // A ten-thousandth of the height that is a hundredth of the value.
        assert_eq!(small(7.345e-14, &(7.33e-14..7.37e-14)), "7.3450e-14");
        assert_eq!(short(0.25), "0.25");
        assert_eq!(short(-1e-7), "0");
    }

    /// A point's place by the figure's own attributes is where its line was drawn, on every scale.
    #[test]
    fn values_are_where_the_attributes_say() {
        for scale in [Scale::Linear, Scale::LogX, Scale::LogLog] {
            let points = vec![(1e-3, 2e-9), (3e-2, 7e-7), (0.8, 4e-8)];
            let figure = Figure {
                title: "a < b".to_owned(),
                scale,
                curves: vec![Curve::new("one", (0, 114, 178), points.clone())],
                ..Figure::default()
            };
            let svg = figure.svg();
            let numbers = |key: &str| -> Vec<String> {
                let (_, rest) = svg.split_once(&format!("{key}=\"")).unwrap();
                rest.split_once('"').unwrap().0.split(' ').map(str::to_owned).collect()
            };
            let plot: Vec<f64> = numbers("data-plot").iter().map(|v| v.parse().unwrap()).collect();
            let place = |key: &str, value: f64| {
                let told = numbers(key);
                let [low, high] = [told[0].parse::<f64>().unwrap(), told[1].parse().unwrap()];
                if told[2] == "log" {
                    (value / low).ln() / (high / low).ln()
                } else {
                    (value - low) / (high - low)
                }
            };
            let (_, line) = svg.split_once("stroke=\"#0072B2\" stroke-width=\"2\"").unwrap();
            let (_, drawn) = line.split_once("points=\"").unwrap();
            let drawn: Vec<f64> = drawn
                .split_once('"')
                .unwrap()
                .0
                .split([',', ' '])
                .filter_map(|v| v.parse().ok())
                .collect();
            assert_eq!(drawn.len(), 6, "{svg}");
            for (point, at) in points.iter().zip(drawn.chunks(2)) {
                let x = plot[0] + place("data-x", point.0) * (plot[2] - plot[0]);
                let y = plot[3] - place("data-y", point.1) * (plot[3] - plot[1]);
                assert!((x - at[0]).abs() <= 1.5, "{scale:?}: {x} beside {}", at[0]);
                assert!((y - at[1]).abs() <= 1.5, "{scale:?}: {y} beside {}", at[1]);
            }
        }
    }
}
