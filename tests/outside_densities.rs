//! Densities, coherence and transfer functions against programs that share nothing with this code, and
//! against what theory says of random numbers. Vectors: `tests/vectors/gen/analysis.py`.

use quietgap_sim::analysis::density::{
    Detrend, chi2_factors, coherence_threshold, degrees_of_freedom, expected_coherence,
    unbiased_coherence,
};
use quietgap_sim::analysis::log_spaced::{self, Pitch, Weighing, Wish, pitches};
use quietgap_sim::analysis::series::Series;
use quietgap_sim::analysis::welch::{self, Cut};
use quietgap_sim::analysis::window::Window;
use quietgap_sim::simulation::plant::noise::{Gaussian, Stream};
use serde_json::Value;
use std::f64::consts::TAU;

fn vectors(name: &str) -> Value {
    let path = format!("{}/tests/vectors/{name}", env!("CARGO_MANIFEST_DIR"));
    serde_json::from_str(&std::fs::read_to_string(path).expect("a vector file")).expect("JSON")
}

fn numbers(value: &Value) -> Vec<f64> {
    value.as_array().unwrap().iter().map(|x| x.as_f64().unwrap()).collect()
}

/// Largest difference over the largest value.
fn difference(is: &[f64], want: &[f64]) -> f64 {
    assert_eq!(is.len(), want.len());
    let scale = want.iter().fold(0f64, |m, x| m.max(x.abs()));
    is.iter().zip(want).fold(0f64, |m, (a, b)| m.max((a - b).abs())) / scale
}

fn detrend(name: &Value) -> Detrend {
    match (name.as_str(), name.as_i64()) {
        (Some("constant"), _) | (_, Some(0)) => Detrend::Mean,
        (Some("linear"), _) | (_, Some(1)) => Detrend::Line,
        (_, Some(-1)) => Detrend::None,
        other => panic!("{other:?}"),
    }
}

/// Published noise bandwidths of 27 windows (Harris 1978 and Heinzel, Rüdiger, Schilling 2002, as worked
/// out in `windows.json` and CHECKS WIN-1 to WIN-9), overlap correlations, and side lobes of the flat tops,
/// which tell every coefficient.
#[test]
fn windows_are_those_of_the_tables() {
    let table = vectors("windows.json");
    let names = [
        ("rectangle", "rect"),
        ("hann", "hann"),
        ("hamming", "hamming .54/.46"),
        ("blackman-harris", "blackman-harris 4 (92dB)"),
        ("kaiser-2", "kaiser alpha=2"),
        ("kaiser-2.5", "kaiser alpha=2.5"),
        ("kaiser-3", "kaiser alpha=3"),
        ("kaiser-3.5", "kaiser alpha=3.5"),
        ("kaiser-4", "kaiser alpha=4"),
        ("hft70", "HFT70"),
        ("hft95", "HFT95"),
        ("hft90d", "HFT90D"),
        ("hft116d", "HFT116D"),
        ("hft144d", "HFT144D"),
        ("hft169d", "HFT169D"),
        ("hft196d", "HFT196D"),
        ("hft223d", "HFT223D"),
        ("hft248d", "HFT248D"),
        ("sft3f", "SFT3F"),
        ("sft4f", "SFT4F"),
        ("sft5f", "SFT5F"),
        ("sft3m", "SFT3M"),
        ("sft5m", "SFT5M"),
    ];
    assert_eq!(names.len(), Window::ALL.len(), "every window is held");
    for (ours, theirs) in names {
        let window = Window::named(ours).expect(ours);
        let row = table.as_array().unwrap().iter().find(|r| r["window"] == theirs).expect(theirs);
        let figure = |key: &str| row[key].as_f64().unwrap();
        let bins = window.noise_bandwidth_bins();
        assert!((bins - figure("enbw_bins")).abs() < 1e-5, "{ours}: {bins}");
        let w = window.samples(4096);
        let square: f64 = w.iter().map(|w| w * w).sum();
        for (key, hop) in [("oc75", 1024), ("oc50", 2048)] {
            let product: f64 = w.iter().zip(&w[hop..]).map(|(a, b)| a * b).sum();
            assert!((product / square - figure(key)).abs() < 1e-9, "{ours}: {key}");
            let rho = Window::power_correlations(&w, hop)[0];
            assert!((rho - figure(key).powi(2)).abs() < 1e-9, "{ours}: {key}");
        }
        // Scalloping: the response half a bin off.
        let response = |bins: f64| {
            let z = w.iter().enumerate().fold([0.0; 2], |[re, im], (n, w)| {
                let (s, c) = (TAU * bins * n as f64 / 4096.0).sin_cos();
                [re + w * c, im + w * s]
            });
            z[0].hypot(z[1]) / w.iter().sum::<f64>()
        };
        let scallop = -20.0 * response(0.5).log10();
        assert!((scallop - figure("scalloping_dB")).abs() < 1e-6, "{ours}: {scallop}");
        // Beyond the main lobe the side lobes are as low as they are published: 0.02 dB, or below f64.
        let lobe = figure("zero_bins");
        let highest = (0..400).map(|k| response(lobe + 0.02 * f64::from(k))).fold(0f64, f64::max);
        let side_db = 20.0 * highest.log10();
        let want = figure("psl_dB");
        assert!((side_db - want).abs() < 0.3 || side_db < want, "{ours}: {side_db} dB, {want} dB");
    }
}

/// SciPy's cross density, coherence and transfer function, 1e-9 of the largest; both ends of the spectrum
/// included.
#[test]
fn cross_densities_are_those_of_scipy() {
    let file = vectors("analysis.json");
    let (x, y) = (numbers(&file["x"]), numbers(&file["y"]));
    let rate = file["rate"].as_f64().unwrap();
    let [x, y] = [&x, &y].map(|v| Series::whole(v, rate));
    let cases = file["cross"].as_array().unwrap();
    assert_eq!(cases.len(), 8);
    for case in cases {
        let name = case["window"].as_str().unwrap();
        let window = if name == "hann" { Window::HANN } else { Window::BLACKMAN_HARRIS };
        let cut = Cut::halves(
            case["length"].as_u64().unwrap() as usize,
            window,
            detrend(&case["detrend"]),
        );
        let found = welch::cross(&x, &y, cut).expect("long enough");
        let part = |of: fn(&num_complex::Complex64) -> f64| -> Vec<f64> {
            found.cross.iter().map(of).collect()
        };
        assert!(difference(&part(|z| z.re), &numbers(&case["re"])) < 1e-9, "{name}");
        assert!(difference(&part(|z| z.im), &numbers(&case["im"])) < 1e-9, "{name}");
        let coherence = found.coherence();
        // Where the trend's removal left rounding alone, a ratio of it says nothing.
        assert!(difference(&coherence[1..], &numbers(&case["coherence"])[1..]) < 1e-9, "{name}");
        let transfer = found.transfer();
        let gain: Vec<f64> = transfer.iter().map(|t| t.value.norm()).collect();
        assert!(difference(&gain[1..], &numbers(&case["gain"])[1..]) < 1e-9, "{name}");
        let phase = numbers(&case["phase"]);
        for (t, want) in transfer.iter().zip(&phase).skip(1) {
            // Where the last bin is real, its phase may be pi or -pi.
            let turn = (t.value.arg() - want).abs();
            assert!(turn < 1e-9 || (turn - TAU).abs() < 1e-9, "{name}: {turn}");
        }
    }
}

/// The log-spaced estimate at eight frequencies, segment lengths, overlaps and trends, by a package of the
/// Python registry: 1e-9 each, coherence as well.
#[test]
fn log_spaced_densities_are_those_of_another_program() {
    let file = vectors("analysis.json");
    let (x, y) = (numbers(&file["x"]), numbers(&file["y"]));
    let rate = file["rate"].as_f64().unwrap();
    let [x, y] = [&x, &y].map(|v| Series::whole(v, rate));
    let cases = file["log_spaced"].as_array().unwrap();
    let crossed = file["log_spaced_cross"].as_array().unwrap();
    assert_eq!((cases.len(), crossed.len()), (8, 8));
    for (case, both) in cases.iter().zip(crossed) {
        let number = |key: &str| case[key].as_f64().unwrap();
        let pitch = Pitch { frequency_hz: number("f"), length: number("length") as usize };
        let weighing = Weighing {
            window: Window::HANN,
            overlap: number("overlap"),
            detrend: detrend(&case["order"]),
        };
        let density = log_spaced::auto(&x, &[pitch], weighing);
        let want = number("power");
        let error = (density.power[0] / want - 1.0).abs();
        println!("{} Hz: {error:e}", pitch.frequency_hz);
        assert!(error < 1e-9, "{pitch:?}: {} against {want}", density.power[0]);
        assert_eq!(density.bins[0].segments as f64, number("segments"));
        let cross = log_spaced::cross(&x, &y, &[pitch], weighing).expect("one record");
        for (is, key) in
            [(cross.x.power[0], "x"), (cross.y.power[0], "y"), (cross.coherence()[0], "coherence")]
        {
            let want = both[key].as_f64().unwrap();
            assert!((is / want - 1.0).abs() < 1e-9, "{pitch:?} {key}: {is} against {want}");
        }
    }
}

/// The direct definition with nothing shared or reordered, at the frequencies that a record of 1e5 values is
/// given: 1e-9.
#[test]
fn log_spaced_densities_are_their_definition() {
    let mut gaussian = Gaussian::new(7, Stream::Motion);
    let mut walk = 0.0;
    let x: Vec<f64> = (0..100_000)
        .map(|_| {
            walk += 0.1 * gaussian.next();
            walk + gaussian.next() + 1e3
        })
        .collect();
    let series = Series::whole(&x, 10.0);
    let wish = Wish { from_hz: 2e-4, to_hz: 5.0, count: 60, averages: 20, overlap: 0.5, lobe: 2.0 };
    let grid = pitches(x.len(), 10.0, &wish);
    assert!((50..=70).contains(&grid.len()), "{} frequencies", grid.len());
    assert!(grid.windows(2).all(|p| p[0].frequency_hz < p[1].frequency_hz));
    assert!(grid.windows(2).all(|p| p[0].length >= p[1].length));
    for trend in [Detrend::Mean, Detrend::Line] {
        let weighing = Weighing { window: Window::HANN, overlap: 0.5, detrend: trend };
        let density = log_spaced::auto(&series, &grid, weighing);
        assert_eq!(density.bins.len(), grid.len());
        for (pitch, power) in grid.iter().zip(&density.power) {
            let want = by_definition(&x, 10.0, *pitch, weighing, 0..x.len());
            assert!((power / want - 1.0).abs() < 1e-9, "{pitch:?}: {power} against {want}");
        }
    }
}

/// Every window and trend on segments long enough to be looked at by blocks, a ramp under them, segments that begin
/// anywhere in a block: 1e-9.
#[test]
fn long_segments_are_their_definition_under_every_window() {
    let mut gaussian = Gaussian::new(8, Stream::Motion);
    let noise = std::iter::repeat_with(|| gaussian.next());
    let x: Vec<f64> = noise.take(50_000).enumerate().map(|(n, x)| x + 1e-3 * n as f64).collect();
    let series = Series::whole(&x, 10.0);
    for window in Window::ALL {
        for (cycles, length) in [(1.0, 49_999), (1.7, 16_384), (3.0, 5_003), (0.4, 3_001)] {
            // As far from zero as the main lobe of the window, further, and nearer.
            let frequency_hz = cycles * window.lobe_bins() * 10.0 / length as f64;
            let pitch = Pitch { frequency_hz, length };
            for trend in [Detrend::None, Detrend::Mean, Detrend::Line] {
                let weighing = Weighing { window, overlap: 0.6, detrend: trend };
                let power = log_spaced::auto(&series, &[pitch], weighing).power[0];
                let want = by_definition(&x, 10.0, pitch, weighing, 0..x.len());
                let told = format!("{}, {trend:?}, {pitch:?}", window.name);
                assert!((power / want - 1.0).abs() < 1e-9, "{told}: {power} against {want}");
            }
        }
    }
}

/// One-sided density at a frequency, each sum as it is written down, of the segments of one run.
fn by_definition(
    x: &[f64],
    rate_hz: f64,
    pitch: Pitch,
    weighing: Weighing,
    run: std::ops::Range<usize>,
) -> f64 {
    let Pitch { frequency_hz, length } = pitch;
    let w = weighing.window.samples(length);
    let square: f64 = w.iter().map(|w| w * w).sum();
    let starts = weighing.starts(run.len(), length);
    let mut sum = 0.0;
    for start in &starts {
        let segment = &x[run.start + start..run.start + start + length];
        let mean = segment.iter().sum::<f64>() / length as f64;
        let centre = (length as f64 - 1.0) / 2.0;
        let moments = segment.iter().enumerate().fold([0.0; 2], |[a, b], (n, x)| {
            let t = n as f64 - centre;
            [a + t * (x - mean), b + t * t]
        });
        let slope = if weighing.detrend == Detrend::Line { moments[0] / moments[1] } else { 0.0 };
        let mean = if weighing.detrend == Detrend::None { 0.0 } else { mean };
        let z = segment.iter().enumerate().fold([0.0; 2], |[re, im], (n, x)| {
            let (s, c) = (TAU * frequency_hz / rate_hz * n as f64).sin_cos();
            let v = w[n] * (x - mean - slope * (n as f64 - centre));
            [re + v * c, im + v * s]
        });
        sum += z[0] * z[0] + z[1] * z[1];
    }
    let sides = if frequency_hz == 0.0 || frequency_hz >= rate_hz / 2.0 { 1.0 } else { 2.0 };
    sides * sum / (rate_hz * square * starts.len() as f64)
}

/// Degrees of freedom (CHECKS STA-5), chi-squared factors (STA-4), coherence by chance and its bias
/// (STA-6), all of the table's values; quantiles by SciPy and expectations by mpmath from `analysis.json`.
#[test]
fn statistics_are_those_of_the_tables() {
    for (name, overlap, want) in [
        ("hann", 0.5, 94.837),
        ("hann", 0.66, 70.91),
        ("hann", 0.75, 52.49),
        ("blackman-harris", 0.5, 99.72),
    ] {
        let w = Window::named(name).unwrap().samples(10_000);
        let hop = ((1.0 - overlap) * 10_000f64).round() as usize;
        let degrees = degrees_of_freedom([(50, &Window::power_correlations(&w, hop)[..])]);
        // The table's segments were shorter: its overlap of 66 % is a rounded one.
        assert!((degrees / want - 1.0).abs() < 6e-4, "{name} {overlap}: {degrees}, {want}");
    }
    for (averages, low, high) in [
        (1.0, 0.271_09, 39.498),
        (8.0, 0.554_68, 2.316_27),
        (32.0, 0.727_24, 1.461_99),
        (100.0, 0.829_68, 1.229_04),
    ] {
        let [a, b] = chi2_factors(2.0 * averages, 0.95);
        assert!(
            (a / low - 1.0).abs() < 2e-5 && (b / high - 1.0).abs() < 2e-5,
            "{averages}: {a} {b}"
        );
    }
    for (averages, want) in [(8.0, 0.348_164), (16.0, 0.181_036), (32.0, 0.092_114)] {
        assert!((coherence_threshold(averages, 0.95) - want).abs() < 1e-6);
        assert!((expected_coherence(0.0, averages) - 1.0 / averages).abs() < 1e-12);
    }
    for (g, averages, want) in
        [(0.5, 8.0, 0.535_363_597), (0.5, 32.0, 0.508_060_329), (0.9, 16.0, 0.900_703_562)]
    {
        assert!((expected_coherence(g, averages) - want).abs() < 1e-9);
        assert!((unbiased_coherence(want, averages) - g).abs() < 1e-8);
    }
    let file = vectors("analysis.json");
    for case in file["coherence"].as_array().unwrap() {
        let [g, k, want] = ["g", "k", "expected"].map(|key| case[key].as_f64().unwrap());
        assert!((expected_coherence(g, k) - want).abs() < 1e-9, "{g} {k}");
    }
    for case in file["chi2"].as_array().unwrap() {
        let [p, nu, q] = ["p", "nu", "q"].map(|key| case[key].as_f64().unwrap());
        if p == 0.5 {
            continue;
        }
        // The tails of an interval of confidence c stand at (1 - c)/2 and (1 + c)/2.
        let [at_high, at_low] = chi2_factors(nu, (2.0 * p - 1.0).abs()).map(|factor| nu / factor);
        let found = if p < 0.5 { at_low } else { at_high };
        assert!((found / q - 1.0).abs() < 1e-6, "{p} {nu}: {found} against {q}");
    }
}

/// White noise in 400 records: densities within their 95 % intervals as often as that says, and the spread of
/// the estimate as its degrees of freedom say, for both estimators, with gaps.
#[test]
fn intervals_hold() {
    const RECORDS: usize = 400;
    let mut gaussian = Gaussian::new(11, Stream::Motion);
    let runs: Vec<std::ops::Range<usize>> = vec![0..700, 700..1300, 1350..2600, 2610..4000];
    let want = 2.0 / 10.0;
    let grid: Vec<Pitch> = [(0.05, 600), (0.2, 600), (0.9, 250), (3.1, 100)]
        .map(|(frequency_hz, length)| Pitch { frequency_hz, length })
        .to_vec();
    let weighing = Weighing { window: Window::HANN, overlap: 0.5, detrend: Detrend::Mean };
    let (mut within, mut all) = (0, 0);
    let mut spread = [[0.0; 3]; 4];
    for _ in 0..RECORDS {
        let x: Vec<f64> = (0..4000).map(|_| gaussian.next()).collect();
        let series = Series { values: &x, runs: runs.clone(), rate_hz: 10.0 };
        let density = log_spaced::auto(&series, &grid, weighing);
        for (n, power) in density.power.iter().enumerate() {
            let ratio = power / want;
            spread[n] =
                [spread[n][0] + ratio, spread[n][1] + ratio * ratio, density.bins[n].degrees];
        }
        let even = welch::auto(&series, Cut::halves(200, Window::HANN, Detrend::Mean)).unwrap();
        let both = density
            .amplitude_interval(0.95)
            .into_iter()
            .chain(even.amplitude_interval(0.95).into_iter().skip(5).step_by(10));
        for [low, high] in both {
            within += usize::from(low * low <= want && want <= high * high);
            all += 1;
        }
    }
    let share = within as f64 / f64::from(all);
    println!("{share} of {all} within 95 %");
    assert!((0.94..0.96).contains(&share), "{share}");
    for [sum, square, degrees] in spread {
        let mean = sum / RECORDS as f64;
        let variance = square / RECORDS as f64 - mean * mean;
        // A variance from 400 records is known to 7 %, and so are the degrees of freedom: three of these.
        let found = 2.0 * mean * mean / variance;
        println!("mean {mean:.4}, degrees of freedom {found:.1}, stated {degrees:.1}");
        assert!((mean - 1.0).abs() < 4.0 * (2.0 / degrees / RECORDS as f64).sqrt());
        assert!((found / degrees - 1.0).abs() < 0.22, "{found} {degrees}");
    }
}

/// The rms of a band and its uncertainty, of white noise: 0.9 Hz of 0.2/Hz, spread over 300 records as stated.
#[test]
fn band_rms_holds() {
    let mut gaussian = Gaussian::new(13, Stream::Motion);
    let (mut sum, mut square, mut stated) = (0.0, 0.0, 0.0);
    for _ in 0..300 {
        let x: Vec<f64> = (0..4000).map(|_| gaussian.next()).collect();
        let density = welch::welch(&x, 10.0, 400, Window::HANN, Detrend::Mean).unwrap();
        let (rms, uncertainty) = density.rms(0.1, 1.0).unwrap();
        sum += rms;
        square += rms * rms;
        stated += uncertainty / 300.0;
    }
    let mean = sum / 300.0;
    let spread = (square / 300.0 - mean * mean).sqrt() / mean;
    println!("rms {mean}, spread {spread}, stated {stated}");
    assert!((mean / (0.9f64 * 0.2).sqrt() - 1.0).abs() < 0.01);
    assert!((0.75..1.25).contains(&(spread / stated)), "{spread} {stated}");
}

/// What lies between runs is not looked at: no number there changes nothing.
#[test]
fn gaps_are_not_read() {
    let mut gaussian = Gaussian::new(17, Stream::Motion);
    let mut x: Vec<f64> = (0..3000).map(|_| gaussian.next()).collect();
    let runs: Vec<std::ops::Range<usize>> = vec![0..1000, 1100..2000, 2000..3000];
    let weighing = Weighing { window: Window::HANN, overlap: 0.5, detrend: Detrend::Mean };
    let grid = [Pitch { frequency_hz: 0.1, length: 300 }, Pitch { frequency_hz: 1.0, length: 77 }];
    let both = |x: &[f64]| {
        let series = Series { values: x, runs: runs.clone(), rate_hz: 10.0 };
        let line = Weighing { detrend: Detrend::Line, ..weighing };
        let spaced = log_spaced::auto(&series, &grid, weighing).power;
        let lined = log_spaced::auto(&series, &grid, line).power;
        (
            spaced,
            lined,
            welch::auto(&series, Cut::halves(256, Window::HANN, Detrend::Line)).unwrap().power,
        )
    };
    let before = both(&x);
    x[1000..1100].fill(f64::NAN);
    assert_eq!(before, both(&x));
    // Nor do blocks of values that lie partly in a gap.
    let mut x: Vec<f64> = (0..30_000).map(|_| gaussian.next()).collect();
    x[14_000..14_100].fill(f64::NAN);
    let series = Series { values: &x, runs: vec![0..14_000, 14_100..30_000], rate_hz: 10.0 };
    let pitch = Pitch { frequency_hz: 0.01, length: 14_000 };
    let weighing = Weighing { detrend: Detrend::Line, ..weighing };
    let power = log_spaced::auto(&series, &[pitch], weighing).power[0];
    let runs = series.runs.iter();
    let each = runs.map(|run| by_definition(&x, 10.0, pitch, weighing, run.clone()));
    let want = each.sum::<f64>() / 2.0;
    assert!((power / want - 1.0).abs() < 1e-9, "{power} against {want}");
    let x = vec![1.0; 3000];
    // And the run that touches another is its own: the same as if it stood alone.
    let touching =
        Series { values: &x, runs: vec![0..1000, 1100..2000, 2000..3000], rate_hz: 10.0 };
    let segments: usize = touching.segments(900, 450).iter().map(Vec::len).sum();
    assert_eq!(segments, 3);
}

/// Transfer functions and coherence of 300 records of two series with a common part: gain and phase within 1.96 of
/// their uncertainty in 90 to 99 % of all, the unbiased coherence's mean what was put in.
#[test]
fn transfer_uncertainties_hold() {
    let mut gaussian = Gaussian::new(19, Stream::Motion);
    let (mut gain, mut phase, mut all, mut coherence) = (0, 0, 0, 0.0);
    for _ in 0..300 {
        let x: Vec<f64> = (0..4000).map(|_| gaussian.next()).collect();
        // y = 0.7 x + noise as large: coherence a half.
        let y: Vec<f64> = x.iter().map(|x| 0.7 * (x + gaussian.next())).collect();
        let [x, y] = [&x, &y].map(|v| Series::whole(v, 10.0));
        let found = welch::cross(&x, &y, Cut::halves(200, Window::HANN, Detrend::Mean)).unwrap();
        let averages: Vec<f64> = found.averages().collect();
        for (k, t) in found.transfer().iter().enumerate().skip(5).step_by(19) {
            gain += u32::from((t.value.norm() / 0.7 - 1.0).abs() < 1.96 * t.uncertainty);
            phase += u32::from(t.value.arg().abs() < 1.96 * t.uncertainty);
            coherence += unbiased_coherence(found.coherence()[k], averages[k]);
            all += 1;
        }
    }
    let [gain, phase] = [gain, phase].map(|n| f64::from(n) / f64::from(all));
    let coherence = coherence / f64::from(all);
    println!("gain {gain}, phase {phase} within, coherence {coherence}");
    assert!((0.90..=0.99).contains(&gain) && (0.90..=0.99).contains(&phase), "{gain} {phase}");
    assert!((coherence - 0.5).abs() < 0.01, "{coherence}");
}
