//! What stands where on the screen.

use super::{Axis, Live, channels as channels_of};
use ratatui::Frame;
use ratatui::layout::{Constraint, Layout, Rect};
use ratatui::style::{Color, Style, Stylize};
use ratatui::symbols::Marker;
use ratatui::text::Line;
use ratatui::widgets::{Axis as Scale, Block, Chart, Dataset, GraphType, Paragraph, Row, Table};

/// Frequencies whose densities are told, hertz, as far as the readings reach.
const AT_HZ: [f64; 3] = [0.05, 0.3, 2.0];

/// The whole screen.
pub fn draw(frame: &mut Frame<'_>, live: &Live, lost: u64) {
    let rows = u16::try_from(live.axes.len()).unwrap_or(u16::MAX).saturating_add(3);
    let [head, table, chart, foot] = Layout::vertical([
        Constraint::Length(2),
        Constraint::Length(rows),
        Constraint::Min(8),
        Constraint::Length(1),
    ])
    .areas(frame.area());
    frame.render_widget(Paragraph::new(state(live, lost)), head);
    axes(frame, table, live);
    strip(frame, chart, live);
    frame.render_widget("q ends   tab: next axis".dim(), foot);
}

/// Two lines: what it is, and how it is.
fn state(live: &Live, lost: u64) -> Vec<Line<'static>> {
    let first = format!(
        "{}   {:.1} s   {} readings, {} flagged, {lost} frames lost",
        live.name, live.time_s, live.readings, live.flagged
    );
    let health = quietgap_sim::readout::readings::health_text(live.health);
    let mut second = vec![if live.health.is_ok() { health.green() } else { health.red().bold() }];
    if let Some((time_s, faults, channels)) = live.found {
        let channels: Vec<String> = channels_of(channels).map(|c| c.to_string()).collect();
        let of = if channels.is_empty() {
            String::new()
        } else {
            format!(", channel {}", channels.join(" "))
        };
        second.push(
            format!("   {time_s:.1} s: {}{of}", faults.names().collect::<Vec<_>>().join(" "))
                .yellow(),
        );
    }
    vec![first.bold().into(), second.into()]
}

fn axes(frame: &mut Frame<'_>, area: Rect, live: &Live) {
    let told: Vec<f64> = AT_HZ.into_iter().filter(|f| *f < live.rate_hz / 2.0).collect();
    let heads = ["axis", "now", "least", "largest"].map(str::to_owned).into_iter();
    let heads = heads.chain(told.iter().map(|f| format!("/rtHz at {f} Hz")));
    let rows = live.axes.iter().map(|axis| {
        let density = axis.density(live.rate_hz);
        let range = axis.range();
        let cells = [
            axis.name.to_owned(),
            scaled(axis.now(), axis.unit),
            scaled(range.map(|r| r[0]), axis.unit),
            scaled(range.map(|r| r[1]), axis.unit),
        ];
        let densities = told.iter().map(|f| {
            let near = density.as_ref().and_then(|d| d.mean_amplitude(f / 1.3, f * 1.3));
            scaled(near, axis.unit)
        });
        Row::new(cells.into_iter().chain(densities).collect::<Vec<_>>())
    });
    let widths = [8, 14, 14, 14].into_iter().chain(told.iter().map(|_| 18)).map(Constraint::Length);
    let table = Table::new(rows, widths)
        .header(Row::new(heads.collect::<Vec<_>>()).dim())
        .block(Block::bordered());
    frame.render_widget(table, area);
}

fn strip(frame: &mut Frame<'_>, area: Rect, live: &Live) {
    let Some(axis) = live.axes.get(live.shown) else { return };
    let span_s = (axis.values.len() as f64 / live.rate_hz).max(10.0);
    let Some([low, high]) = axis.range() else {
        let text = "no reading without a flag yet".dim();
        frame.render_widget(Paragraph::new(text).block(Block::bordered().title(axis.name)), area);
        return;
    };
    let room = 0.05 * (high - low).max(1e-15);
    let points: Vec<(f64, f64)> = points(axis, live.rate_hz);
    let line = Dataset::default()
        .marker(Marker::Braille)
        .graph_type(GraphType::Scatter)
        .style(Style::new().fg(Color::Cyan))
        .data(&points);
    let labels = [low, high].map(|x| scaled(Some(x), axis.unit));
    let chart = Chart::new(vec![line])
        .block(Block::bordered().title(axis.name))
        .x_axis(
            Scale::default()
                .bounds([-span_s, 0.0])
                .labels([format!("-{span_s:.0} s"), "now".to_owned()]),
        )
        .y_axis(Scale::default().bounds([low - room, high + room]).labels(labels));
    frame.render_widget(chart, area);
}

/// Seconds from now, and values.
fn points(axis: &Axis, rate_hz: f64) -> Vec<(f64, f64)> {
    let last = axis.values.len();
    let numbered = axis.values.iter().enumerate().filter(|(_, x)| !x.is_nan());
    numbered.map(|(n, x)| ((n + 1) as f64 / rate_hz - last as f64 / rate_hz, *x)).collect()
}

/// A value with a unit's thousandths: `12.346 nm`.
fn scaled(value: Option<f64>, unit: &str) -> String {
    const PARTS: [(f64, &str); 6] =
        [(1.0, ""), (1e-3, "m"), (1e-6, "u"), (1e-9, "n"), (1e-12, "p"), (1e-15, "f")];
    match value {
        None => "-".to_owned(),
        Some(x) if x.is_nan() => "flagged".to_owned(),
        Some(x) => {
            let part = PARTS.iter().find(|(part, _)| x.abs() >= *part).unwrap_or(&PARTS[5]);
            format!("{:.3} {}{unit}", x / part.0, part.1)
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use quietgap_sim::telemetry::board::Board;
    use quietgap_telemetry::message::{Acquisition, Reading, Settings};
    use ratatui::Terminal;
    use ratatui::backend::TestBackend;

    #[test]
    fn values_with_their_thousandths() {
        for (value, text) in [
            (Some(1.0), "1.000 m"),
            (Some(0.9999e-3), "999.900 um"),
            (Some(-1.5e-9), "-1.500 nm"),
            (Some(2e-17), "0.020 fm"),
            (Some(0.0), "0.000 fm"),
            (Some(f64::NAN), "flagged"),
            (None, "-"),
        ] {
            assert_eq!(scaled(value, "m"), text);
        }
    }

    fn screen(live: &Live) -> String {
        let mut terminal = Terminal::new(TestBackend::new(120, 30)).expect("a screen");
        terminal.draw(|frame| draw(frame, live, 3)).expect("drawn");
        let buffer = terminal.backend().buffer();
        buffer
            .content()
            .chunks(120)
            .map(|row| row.iter().map(|c| c.symbol()).collect::<String>() + "\n")
            .collect()
    }

    /// A sine of 100 nm at 0.3 Hz among white noise of a known density, and what the screen tells of it.
    #[test]
    fn a_board_on_the_screen() {
        let settings = Settings {
            name: "bench".try_into().expect("short"),
            rate_millihertz: 800_000_000,
            interval: 80_000,
            axes: [0, 5].into_iter().collect(),
            bridges: 2,
            checksum: 1,
            starts: 1,
        };
        let board = Board::new(settings).expect("a board");
        let mut live = Live::new(&board);
        assert!(screen(&live).contains("no reading without a flag yet"));
        let mut state = 5u64;
        for n in 0..5000i64 {
            state = state
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1_442_695_040_888_963_407);
            // Uniform within 17.32 nm either way: 10 nm rms, 4.472 nm/rtHz at 10 a second.
            let noise = ((state >> 33) as f64 / f64::from(1u32 << 31) - 0.5) * 2.0 * 17.32e9;
            let turn = std::f64::consts::TAU * 0.03 * n as f64;
            let x = 1e11 * turn.sin() + noise;
            live.reading(
                &Reading {
                    half_samples: 160_000 * n,
                    axes: [x as i64, 7].into_iter().collect(),
                    health: u16::from(n == 20),
                    ..Reading::default()
                },
                board.rate_hz(),
            );
        }
        live.acquisition(
            &Acquisition { sample: 8_000_000, faults: 1 << 9, channels: 2 },
            board.rate_hz(),
        );
        assert_eq!(
            (live.readings, live.flagged, live.axes[0].values.len()),
            (5000, 1, super::super::KEPT)
        );
        let text = screen(&live);
        assert!(
            text.contains("bench   499.9 s   5000 readings, 1 flagged, 3 frames lost"),
            "{text}"
        );
        assert!(text.contains("10.0 s: jumped, channel 2"), "{text}");
        let density = live.axes[0].density(10.0).expect("enough");
        let white = density.mean_amplitude(1.5, 2.6).expect("a band");
        assert!((white / 4.472e-9 - 1.0).abs() < 0.1, "{white:e}");
        assert!(
            text.contains(&scaled(density.mean_amplitude(2.0 / 1.3, 2.0 * 1.3), "m")),
            "{text}"
        );
        assert!(text.contains("x_m") && text.contains("phi_rad") && text.contains("now"), "{text}");
        // The line goes all the way from its least to its largest.
        let braille = |row: &str| row.chars().any(|c| ('\u{2801}'..='\u{28ff}').contains(&c));
        assert!(text.lines().filter(|row| braille(row)).count() > 10, "{text}");
        live.next_axis();
        assert_eq!(live.shown, 1);
        live.next_axis();
        assert_eq!(live.shown, 0);
    }
}
