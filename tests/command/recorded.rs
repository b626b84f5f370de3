//! A recorded line: carbon dioxide in the air of Mauna Loa, week by week over four decades, with gaps (C. D. Keeling and
//! T. P. Whorf 2004, public domain; `tests/vectors/gen/attribution.py`).

use crate::line::Bench;
use num_complex::Complex64;
use serde_json::Value;

fn number(value: &Value) -> f64 {
    value.as_f64().unwrap_or_else(|| panic!("{value} is no number"))
}

/// The yearly line and its harmonics stand on a drift ten to a thousand times their size. Amplitude and phase agree with
/// statsmodels' least squares within what either is unsure of, and neither claims to be much surer than the other.
#[test]
fn the_year_is_found_in_the_air() {
    let bench = Bench::new();
    bench.put("air.csv", include_str!("../vectors/co2_weekly.csv"));
    let vectors: Value =
        serde_json::from_str(include_str!("../vectors/attribution.json")).expect("JSON");
    let recorded = &vectors["recorded"];
    let yearly_hz = number(&recorded["frequency_hz"]);
    let told = bench.json(
        0,
        &format!("response air.csv --column carbon_dioxide --frequency-hz {yearly_hz:e} --harmonics 4 --unit year"),
    );
    let lines = told["lines"].as_array().unwrap();
    assert_eq!(lines.len(), 4);
    let of = |list: &str, n: usize| number(&recorded[list][n]);
    for (n, line) in lines.iter().enumerate() {
        let expected = Complex64::new(of("least_squares", 2 * n), of("least_squares", 2 * n + 1));
        let found = Complex64::from_polar(number(&line["amplitude"]), number(&line["phase_rad"]));
        let own = number(&line["uncertainty"]);
        let other = of("errors", 2 * n).max(of("errors", 2 * n + 1));
        let off = (found - expected).norm();
        // Both parts, three standard uncertainties of the difference, as if these knew nothing of each other.
        assert!(off < 3.0 * (2.0 * (own * own + other * other)).sqrt(), "{line}: {expected} {off}");
        assert!((0.2..5.0).contains(&(own / other)), "{line}: {own} for {other}");
    }
    let year = number(&lines[0]["amplitude"]);
    assert!((year / of("least_squares", 0).hypot(of("least_squares", 1)) - 1.0).abs() < 0.03);
}
