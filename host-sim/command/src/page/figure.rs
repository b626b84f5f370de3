//! Line figures: what they show. `draw` makes SVG of them.

use std::ops::Range;

/// Red, green, blue.
pub type Colour = (u8, u8, u8);

/// One line.
#[derive(Debug, Clone)]
pub struct Curve {
    /// Name in the legend.
    pub label: String,
    /// Its colour.
    pub colour: Colour,
    /// x and y.
    pub points: Vec<(f64, f64)>,
}

impl Curve {
    /// A line.
    #[must_use]
    pub fn new(label: &str, colour: Colour, points: Vec<(f64, f64)>) -> Self {
        Self { label: label.to_owned(), colour, points }
    }
}

/// A region between two values at each x, shaded.
#[derive(Debug, Clone)]
pub struct Band {
    /// Name in the legend.
    pub label: String,
    /// Its colour, of which a light shade is drawn.
    pub colour: Colour,
    /// x, low and high.
    pub points: Vec<[f64; 3]>,
}

impl Band {
    /// An interval of a confidence about a line of the same colour.
    #[must_use]
    pub fn interval(confidence: f64, colour: Colour, points: Vec<[f64; 3]>) -> Self {
        Self {
            label: format!("interval of {} %", (confidence * 1e6).round() / 1e4),
            colour,
            points,
        }
    }
}

/// Stretches of x, shaded from bottom to top.
#[derive(Debug, Clone)]
pub struct Marks {
    /// Name in the legend.
    pub label: String,
    /// From and to.
    pub spans: Vec<[f64; 2]>,
}

/// Axes' scale.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Scale {
    /// Both linear.
    #[default]
    Linear,
    /// Both logarithmic.
    LogLog,
    /// x logarithmic.
    LogX,
}

impl Scale {
    /// Whether x, and whether y, is logarithmic.
    pub(super) const fn log(self) -> [bool; 2] {
        match self {
            Self::Linear => [false, false],
            Self::LogX => [true, false],
            Self::LogLog => [true, true],
        }
    }

    /// Whether a point has a place.
    #[must_use]
    pub fn shows(self, point: (f64, f64)) -> bool {
        let fits = |value: f64, log: bool| value.is_finite() && (!log || value > 0.0);
        fits(point.0, self.log()[0]) && fits(point.1, self.log()[1])
    }
}

/// A figure.
#[derive(Debug, Clone, Default)]
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
    /// Regions, below the lines.
    pub bands: Vec<Band>,
    /// Stretches, below all.
    pub marks: Vec<Marks>,
}

/// Colour of marks.
pub(super) const MARK: Colour = (230, 159, 0);

impl Figure {
    /// What it shows, in words: for who cannot see it.
    pub(super) fn words(&self) -> String {
        let curves: Vec<String> = self
            .curves
            .iter()
            .map(|curve| {
                let heights = curve.points.iter().map(|p| p.1);
                let (low, high) = ends(heights, self.scale.log()[1]).unwrap_or_default();
                format!("{}: {low:.3e} to {high:.3e}", curve.label)
            })
            .chain(self.bands.iter().map(|band| format!("{}: shaded", band.label)))
            .chain(self.marks.iter().map(|m| format!("{}: {} marked", m.label, m.spans.len())))
            .collect();
        format!("{}. {} over {}. {}", self.title, self.y, self.x, curves.join("; "))
    }

    /// Range of an axis, 0 for x.
    pub(super) fn range(&self, axis: usize) -> Range<f64> {
        let log = self.scale.log()[axis];
        let lines = self.curves.iter().flat_map(|c| &c.points).flat_map(|p| [[p.0], [p.1]][axis]);
        let bands = self.bands.iter().flat_map(|b| &b.points);
        let bands = bands.flat_map(|p| if axis == 0 { [p[0]; 2] } else { [p[1], p[2]] });
        let Some((low, high)) = ends(lines.chain(bands), log) else {
            return if log { 1.0..10.0 } else { 0.0..1.0 };
        };
        if log {
            return low / 1.3..high * 1.3;
        }
        let margin = if high > low { 0.05 * (high - low) } else { low.abs().max(1e-30) };
        low - margin..high + margin
    }

    /// Names of the legend with their colours, and whether each is a line.
    pub(super) fn legend(&self) -> Vec<(&str, Colour, bool)> {
        let curves = self.curves.iter().map(|c| (c.label.as_str(), c.colour, true));
        let bands = self.bands.iter().map(|b| (b.label.as_str(), b.colour, false));
        let marks = self.marks.iter().map(|m| (m.label.as_str(), MARK, false));
        curves.chain(bands).chain(marks).collect()
    }
}

/// The least and the most that an axis can show.
fn ends(values: impl Iterator<Item = f64>, log: bool) -> Option<(f64, f64)> {
    let values = values.filter(|v| v.is_finite() && (!log || *v > 0.0));
    let (low, high) =
        values.fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), v| (l.min(v), h.max(v)));
    (low <= high).then_some((low, high))
}
