//! Windows and Welch's method against published figures and SciPy.
//!
//! Window figures: F. J. Harris, "On the use of windows for harmonic analysis with the discrete
//! Fourier transform", Proc. IEEE 66 (1978) 51-83, table I, recalled; all of them computed anew to
//! more digits by an independent program, for 4096 samples, and worked out here once more from the
//! samples alone. Spectra and detrending: `scipy.signal`, by `tests/vectors/gen/spectra.py`.

use quietgap_sim::analysis::density::Detrend;
use quietgap_sim::analysis::transform::forward;
use quietgap_sim::analysis::welch::welch;
use quietgap_sim::analysis::window::Window;
use serde_json::Value;
use std::f64::consts::{PI, TAU};

fn vectors(name: &str) -> Value {
    let path = format!("{}/tests/vectors/{name}", env!("CARGO_MANIFEST_DIR"));
    serde_json::from_str(&std::fs::read_to_string(path).expect("vector file")).expect("JSON")
}

fn numbers(value: &Value) -> Vec<f64> {
    value.as_array().expect("a list").iter().map(|x| x.as_f64().expect("a number")).collect()
}

/// Independent noise of unit variance: SplitMix64 (recalled) and Box-Muller.
struct Noise(u64);

impl Noise {
    fn uniform(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ z >> 30).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ z >> 27).wrapping_mul(0x94d0_49bb_1331_11eb);
        ((z ^ z >> 31) >> 11) as f64 / 2f64.powi(53)
    }

    fn normal(&mut self) -> f64 {
        let radius = (-2.0 * (1.0 - self.uniform()).ln()).sqrt();
        radius * (TAU * self.uniform()).cos()
    }
}

/// Figures of one window.
struct Figures {
    window: Window,
    coherent_gain: f64,
    noise_bandwidth: f64,
    width_3_db: f64,
    width_6_db: f64,
    side_lobe_db: f64,
    scalloping_db: f64,
    worst_loss_db: f64,
    overlap_75: f64,
    overlap_50: f64,
    /// Bins from the centre to the end of the main lobe.
    lobe: f64,
    /// Recalled from the paper's table: noise bandwidth, 3 dB, 6 dB, side lobe, scalloping, worst
    /// loss.
    harris: [f64; 6],
}

const FIGURES: [Figures; 3] = [
    Figures {
        window: Window::RECTANGLE,
        coherent_gain: 1.0,
        noise_bandwidth: 1.0,
        width_3_db: 0.885_893,
        width_6_db: 1.206_709,
        side_lobe_db: -13.2637,
        scalloping_db: 3.922_397,
        worst_loss_db: 3.922_397,
        overlap_75: 0.75,
        overlap_50: 0.5,
        lobe: 1.0,
        harris: [1.00, 0.89, 1.21, -13.0, 3.92, 3.92],
    },
    Figures {
        window: Window::HANN,
        coherent_gain: 0.5,
        noise_bandwidth: 1.5,
        width_3_db: 1.440_583,
        width_6_db: 2.0,
        side_lobe_db: -31.4676,
        scalloping_db: 1.423_623,
        worst_loss_db: 3.184_535,
        overlap_75: 0.659_155,
        overlap_50: 0.166_667,
        lobe: 2.0,
        harris: [1.50, 1.44, 2.00, -32.0, 1.42, 3.18],
    },
    Figures {
        window: Window::BLACKMAN_HARRIS,
        coherent_gain: 0.358_75,
        noise_bandwidth: 2.004_353,
        width_3_db: 1.899_445,
        width_6_db: 2.666_429,
        side_lobe_db: -92.0097,
        scalloping_db: 0.825_572,
        worst_loss_db: 3.845_314,
        overlap_75: 0.459_985,
        overlap_50: 0.037_602,
        lobe: 4.0,
        harris: [2.00, 1.90, 2.72, -92.0, 0.83, 3.85],
    },
];

/// |W| at a frequency of `bins`, over its value at zero.
fn response(samples: &[f64], bins: f64) -> f64 {
    let sum = samples.iter().enumerate().fold([0.0; 2], |[re, im], (n, w)| {
        let (s, c) = (TAU * bins * n as f64 / samples.len() as f64).sin_cos();
        [re + w * c, im + w * s]
    });
    sum[0].hypot(sum[1]) / samples.iter().sum::<f64>()
}

/// Width at which the response falls to `level`, by bisection.
fn width(samples: &[f64], level: f64) -> f64 {
    let (mut low, mut high) = (0.0, 2.0);
    for _ in 0..40 {
        let middle = (low + high) / 2.0;
        *(if response(samples, middle) > level { &mut low } else { &mut high }) = middle;
    }
    low + high
}

/// Highest side lobe, dB, over all of half the rate: a transform padded 256 times, so
/// that no lobe's peak is further than 1/512 bin from a point of it.
fn side_lobe_db(samples: &[f64], lobe: f64) -> f64 {
    const PAD: usize = 256;
    let mut padded = samples.to_vec();
    padded.resize(samples.len() * PAD, 0.0);
    let fft = forward(padded.len());
    let mut spectrum = fft.make_output_vec();
    fft.process(&mut padded, &mut spectrum).expect("lengths agree");
    let beyond = &spectrum[(lobe * PAD as f64) as usize..];
    let highest = beyond.iter().fold(0f64, |m, z| m.max(z.norm()));
    20.0 * (highest / samples.iter().sum::<f64>()).log10()
}

/// Limits: 1e-5 for gain and noise bandwidth, 1e-5 bins and dB where six digits are given, 0.02 dB
/// for the side lobe. The recalled two digits: to one of the last, but for the trap named below.
#[test]
fn windows() {
    const LENGTH: usize = 4096;
    for figures in FIGURES {
        let name = figures.window.name;
        let w = figures.window.samples(LENGTH);
        assert_eq!(w.len(), LENGTH);
        let sum: f64 = w.iter().sum();
        let squares: f64 = w.iter().map(|w| w * w).sum();
        let gain = sum / LENGTH as f64;
        let bandwidth = LENGTH as f64 * squares / (sum * sum);
        let overlap =
            |shift: usize| w.iter().zip(&w[shift..]).map(|(a, b)| a * b).sum::<f64>() / squares;
        let scalloping = -20.0 * response(&w, 0.5).log10();
        let is = [
            (gain, figures.coherent_gain, 1e-5),
            (bandwidth, figures.noise_bandwidth, 1e-5),
            (figures.window.noise_bandwidth_bins(), bandwidth, 1e-12),
            (width(&w, 0.5f64.sqrt()), figures.width_3_db, 1e-5),
            (width(&w, 0.5), figures.width_6_db, 1e-5),
            (side_lobe_db(&w, figures.lobe), figures.side_lobe_db, 0.02),
            (scalloping, figures.scalloping_db, 1e-5),
            (scalloping + 10.0 * bandwidth.log10(), figures.worst_loss_db, 1e-5),
            (overlap(LENGTH / 4), figures.overlap_75, 1e-5),
            (overlap(LENGTH / 2), figures.overlap_50, 1e-5),
        ];
        for (n, (is, want, limit)) in is.into_iter().enumerate() {
            assert!((is - want).abs() < limit, "{name}, figure {n}: {is}, not {want}");
        }
        let [bandwidth, half_power, half_amplitude, side_lobe, scallop, loss] = figures.harris;
        assert!((figures.noise_bandwidth - bandwidth).abs() < 0.01);
        assert!((figures.width_3_db - half_power).abs() < 0.01);
        // His 2.72 for Blackman-Harris is not what the samples make, 2.666.
        assert!((figures.width_6_db - half_amplitude).abs() < 0.06);
        assert!((figures.side_lobe_db - side_lobe).abs() < 1.0);
        assert!((figures.scalloping_db - scallop).abs() < 0.01);
        assert!((figures.worst_loss_db - loss).abs() < 0.01);
    }
    // Closed forms: Hann loses 8/(3 pi) half a bin off, the rectangle 2/pi.
    let half = |window: Window| response(&window.samples(LENGTH), 0.5);
    // The periodic sums differ from the integrals by (pi/N)^2.
    assert!((half(Window::HANN) - 8.0 / (3.0 * PI)).abs() < 1e-6);
    assert!((half(Window::RECTANGLE) - 2.0 / PI).abs() < 1e-6);
}

fn window(name: &str) -> Window {
    match name {
        "boxcar" => Window::RECTANGLE,
        "hann" => Window::HANN,
        "blackmanharris" => Window::BLACKMAN_HARRIS,
        _ => panic!("window {name}"),
    }
}

/// Largest difference over the largest value.
fn difference(is: &[f64], want: &[f64]) -> f64 {
    assert_eq!(is.len(), want.len());
    let scale = want.iter().fold(0f64, |m, x| m.max(x.abs()));
    is.iter().zip(want).fold(0f64, |m, (a, b)| m.max((a - b).abs())) / scale
}

/// 24 spectra by SciPy: three windows, four lengths (one odd, one the whole record), mean or line
/// taken off. Both sides are `f64`: 1e-13 of the largest bin, as x stands 60 noise widths off zero.
#[test]
fn welch_is_that_of_scipy() {
    let file = vectors("welch.json");
    let (rate, x) = (file["rate"].as_f64().unwrap(), numbers(&file["x"]));
    let cases = file["cases"].as_array().unwrap();
    assert_eq!(cases.len(), 24);
    for case in cases {
        let window = window(case["window"].as_str().unwrap());
        let detrend = match case["detrend"].as_str().unwrap() {
            "constant" => Detrend::Mean,
            "linear" => Detrend::Line,
            other => panic!("detrend {other}"),
        };
        let length = case["length"].as_u64().unwrap() as usize;
        let density = welch(&x, rate, length, window, detrend).expect("long enough");
        let what = format!("{} {length} {detrend:?}", window.name);
        assert_eq!(density.bins[1].segments as u64, case["segments"].as_u64().unwrap(), "{what}");
        let frequency =
            difference(&density.frequencies().collect::<Vec<_>>(), &numbers(&case["f"]));
        assert!(frequency < 1e-15, "{what}: {frequency:e}");
        let power = difference(&density.power, &numbers(&case["power"]));
        assert!(power < 1e-13, "{what}: {power:e}");
        let root: Vec<f64> = numbers(&case["power"]).iter().map(|p| p.sqrt()).collect();
        assert!(difference(&density.amplitude(), &root) < 1e-7, "{what}");
    }
    assert!(welch(&x, rate, 251, Window::HANN, Detrend::Line).is_none(), "too short");
}

/// 64 samples of three tones, Hann, 32 long. Without detrending: the mean of a segment reaches bins
/// 0 and 1 of a Hann window and no others. With the line taken off: density times noise bandwidth
/// is power.
#[test]
fn welch_of_three_tones_is_that_of_scipy() {
    let file = vectors("welch64.json");
    let x = numbers(&file["x"]);
    let level = welch(&x, 1.0, 32, Window::HANN, Detrend::Mean).unwrap();
    assert_eq!(level.bins[1].segments, 3);
    assert_eq!(level.frequencies().collect::<Vec<_>>(), numbers(&file["f"]));
    let psd = numbers(&file["psd"]);
    let apart = difference(&level.power[2..], &psd[2..]);
    assert!(apart < 1e-14, "{apart:e}");
    assert!((level.power[0] - psd[0]).abs() > 1e-3, "this record has no mean");
    let line = welch(&x, 1.0, 32, Window::HANN, Detrend::Line).unwrap();
    let power: Vec<f64> = line.power.iter().map(|p| p * line.bins[1].noise_bandwidth_hz).collect();
    let apart = difference(&power, &numbers(&file["spectrum_linear"]));
    assert!(apart < 1e-14, "{apart:e}");
}

/// `scipy.signal.detrend` leaves 32 numbers; their discrete Fourier transform, written out, is what
/// one segment under the rectangle must show. Limit: `f64` at an offset of some tens.
#[test]
fn detrending_is_that_of_scipy() {
    let file = vectors("detrend.json");
    let x = numbers(&file["x"]);
    for (detrend, key) in [(Detrend::Mean, "constant"), (Detrend::Line, "linear")] {
        let rest = numbers(&file[key]);
        let n = rest.len();
        let want: Vec<f64> = (0..=n / 2)
            .map(|k| {
                let sum = rest.iter().enumerate().fold([0.0; 2], |[re, im], (j, x)| {
                    let (s, c) = (TAU * (j * k % n) as f64 / n as f64).sin_cos();
                    [re + x * c, im - x * s]
                });
                let sides = if k == 0 || k == n / 2 { 1.0 } else { 2.0 };
                sides * (sum[0] * sum[0] + sum[1] * sum[1]) / n as f64
            })
            .collect();
        let density = welch(&x, 1.0, n, Window::RECTANGLE, detrend).unwrap();
        assert_eq!(density.bins[1].segments, 1);
        let apart = difference(&density.power, &want);
        assert!(apart < 1e-13, "{key}: {apart:e}");
    }
    // The record has a slope: the two differ.
    assert!(difference(&numbers(&file["constant"]), &numbers(&file["linear"])) > 0.1);
}

/// White noise of variance s^2 reads 2 s^2/f_s, one-sided. Mean over all bins but the ends: 2^18
/// samples settle it to sqrt(2/2^18) = 0.28 %, limit four of these.
#[test]
fn white_noise_level() {
    let (sigma, rate) = (3.0, 1000.0);
    let mut noise = Noise(7);
    let x: Vec<f64> = (0..1 << 18).map(|_| sigma * noise.normal()).collect();
    for window in [Window::RECTANGLE, Window::HANN, Window::BLACKMAN_HARRIS] {
        let density = welch(&x, rate, 4096, window, Detrend::Mean).unwrap();
        let inner = &density.power[4..density.power.len() - 4];
        let ratio = inner.iter().sum::<f64>() / inner.len() as f64 / (2.0 * sigma * sigma / rate);
        assert!((ratio - 1.0).abs() < 4.0 * 0.0028, "{}: {ratio}", window.name);
        let mean = density.mean_amplitude(100.0, 400.0).unwrap();
        // 0.6 of the band: 0.36 % of power, half of it of amplitude.
        assert!((mean / (2.0 * sigma * sigma / rate).sqrt() - 1.0).abs() < 4.0 * 0.0018);
    }
    let density = welch(&x, rate, 64, Window::HANN, Detrend::Mean).unwrap();
    assert_eq!(density.mean_amplitude(400.1, 400.2), None);
}

/// Scatter of single bins: K half-overlapping Hann segments have 36 K^2/(19 K - 1) degrees of
/// freedom (Welch 1967 and Harris 1978, recalled; a numerical check agrees), 200.9 for K = 106. For
/// 200 of them the true density lies within 0.82968 and 1.22904 of the measured one with 95 %
/// (chi-squared, computed).
#[test]
fn scatter_of_averaged_bins() {
    const SEGMENTS: usize = 106;
    const LENGTH: usize = 256;
    let mut noise = Noise(11);
    let (mut within, mut all) = (0, 0);
    for _ in 0..40 {
        let x: Vec<f64> = (0..(SEGMENTS + 1) * LENGTH / 2).map(|_| noise.normal()).collect();
        let density = welch(&x, 1.0, LENGTH, Window::HANN, Detrend::Mean).unwrap();
        assert_eq!(density.bins[1].segments, SEGMENTS);
        // Bins three apart share nothing under a Hann window.
        for power in density.power[3..LENGTH / 2 - 2].iter().step_by(3) {
            within += usize::from((0.829_68 * power..1.229_04 * power).contains(&2.0));
            all += 1;
        }
    }
    // 1640 bins: 0.54 % by chance, limit four of these.
    let fraction = within as f64 / all as f64;
    assert!(all > 1600 && (fraction - 0.95).abs() < 0.022, "{fraction} of {all}");
}

/// A tone on a bin: its power A^2/2 is the density there times the noise bandwidth. Of 4096 samples
/// under a Hann window, rate 1, density 1365.333 for A = 1 (the same of SciPy).
#[test]
fn tone_power() {
    const LENGTH: usize = 4096;
    let tone = |bins: f64| -> Vec<f64> {
        (0..LENGTH).map(|n| (TAU * bins * n as f64 / LENGTH as f64 + 0.3).sin()).collect()
    };
    for (window, peak) in [
        (Window::RECTANGLE, 2048.0),
        (Window::HANN, 1_365.333_333),
        (Window::BLACKMAN_HARRIS, 2048.0 / 2.004_352_938),
    ] {
        let on = welch(&tone(128.0), 1.0, LENGTH, window, Detrend::Mean).unwrap();
        assert!((on.power[128] / peak - 1.0).abs() < 1e-9, "{}: {}", window.name, on.power[128]);
        assert!((on.power[128] * on.bins[1].noise_bandwidth_hz - 0.5).abs() < 1e-9);
        // Half a bin off: less by the scalloping, and all of it still there in the sum.
        let off = welch(&tone(128.5), 1.0, LENGTH, window, Detrend::Mean).unwrap();
        let loss = -10.0 * (off.power[128] / on.power[128]).log10();
        let scalloping = -20.0 * response(&window.samples(LENGTH), 0.5).log10();
        // The negative frequency leaks in, 257 bins away: 1/257 of the rectangle's own lobe.
        assert!((loss - scalloping).abs() < 0.05, "{}: {loss} dB", window.name);
        let sum: f64 = off.power.iter().sum::<f64>() / LENGTH as f64;
        // Parseval: the mean of (w x)^2 over that of w^2; the cross term has the same 1/257.
        assert!((sum - 0.5).abs() < 2e-3, "{}: {sum}", window.name);
    }
}
