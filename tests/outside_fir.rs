//! FIR decimators and the built-in sensors' filters against outside values: tap sets of SciPy and
//! of McClellan, Parks and Rabiner 1973, half-band filters, each sensor's own mask by direct
//! evaluation of its integers, and by tones through the integer chain.
//!
//! `tests/vectors/fir_response.json` is by `tests/vectors/gen/fir.py`: tap sets of
//! `scipy.signal.firwin` and `remez` in Q2.30, responses of these integers by `freqz`.

use quietgap_core::cic::gain;
use quietgap_core::config::{FirConfig, FrontEndConfig, Path};
use quietgap_core::fir::{FirChain, Waiting};
use quietgap_core::front_end::{FrontEnd, words_per_code};
use quietgap_core::phasor::Phasor;
use quietgap_core::word::Word;
use quietgap_sim::instrument::{BUILT_IN, PlanFile, Sensor};
use quietgap_sim::readout::chain::Chain;
use quietgap_sim::readout::readings::Row;
use quietgap_sim::readout::run::settling;
use quietgap_sim::simulation::motion::Motion;
use quietgap_sim::simulation::plant::{Parts, Plant};
use serde_json::Value;
use std::f64::consts::TAU;

/// One unit of a word.
const ONE: f64 = (1i64 << 52) as f64;

struct TapSet {
    name: String,
    taps: Vec<i32>,
    /// Frequency in cycles per sample, response.
    response: Vec<(f64, [f64; 2])>,
    /// Ripple and pass-band edge of half-band filters.
    half_band: Option<(f64, f64)>,
}

fn tap_sets() -> Vec<TapSet> {
    let path = format!("{}/tests/vectors/fir_response.json", env!("CARGO_MANIFEST_DIR"));
    let text = std::fs::read_to_string(path).expect("vector file");
    let rows: Vec<Value> = serde_json::from_str(&text).expect("JSON");
    let numbers = |value: &Value| -> Vec<f64> {
        value.as_array().unwrap().iter().map(|x| x.as_f64().unwrap()).collect()
    };
    assert_eq!(rows.len(), 10);
    rows.iter()
        .map(|row| {
            let [f, re, im] = ["f", "re", "im"].map(|key| numbers(&row[key]));
            assert_eq!(f.len(), 50);
            TapSet {
                name: row["name"].as_str().unwrap().to_owned(),
                taps: numbers(&row["taps"]).iter().map(|t| *t as i32).collect(),
                response: (0..f.len()).map(|k| (f[k], [re[k], im[k]])).collect(),
                half_band: row["ripple"].as_f64().zip(row["edge"].as_f64()),
            }
        })
        .collect()
}

fn stage(taps: &[i32], ratio: u16, scale_bits: u8) -> FirChain<256, 64> {
    FirChain::new(&[FirConfig { ratio, taps, scale_bits }], 1, Word::from_bits(1 << 52))
        .expect("a good stage")
}

/// Outputs of a stage, words, for inputs of the in-phase part; the quadrature gets them negated.
fn run(chain: &mut FirChain<256, 64>, input: impl IntoIterator<Item = i64>) -> Vec<i64> {
    let (mut out, mut waiting) = (Vec::new(), [Waiting::NONE]);
    for x in input {
        let mut frame = [Phasor { i: Word::from_bits(x), q: Word::from_bits(-x) }];
        if let Some(saturated) = chain.push(&mut frame, &mut waiting, true) {
            assert!(!saturated);
            assert_eq!(frame[0].q, -frame[0].i);
            out.push(frame[0].i.to_bits());
        }
    }
    out
}

/// Impulse response at the input's rate: an impulse of 2^scale steps at every phase of the
/// decimation.
fn impulse_response(taps: &[i32], ratio: u16, scale_bits: u8) -> Vec<i64> {
    let ratio_length = usize::from(ratio);
    let outputs = taps.len().div_ceil(ratio_length) + 2;
    let mut response = vec![0; outputs * ratio_length];
    for at in 0..ratio_length {
        let input = (0..outputs * ratio_length).map(|n| i64::from(n == at) << scale_bits);
        let is = run(&mut stage(taps, ratio, scale_bits), input);
        assert_eq!(is.len(), outputs);
        for (j, y) in is.into_iter().enumerate() {
            // Output j stands at input (j+1) D - 1.
            response[(j + 1) * ratio_length - 1 - at] = y;
        }
    }
    response
}

#[test]
fn impulse_response_is_the_taps() {
    for set in tap_sets() {
        for ratio in [1, 2, 3, 5, 10, 80] {
            let is = impulse_response(&set.taps, ratio, 30);
            let taps: Vec<i64> = set.taps.iter().map(|t| i64::from(*t)).collect();
            assert_eq!(is[..taps.len()], taps, "{} by {ratio}", set.name);
            assert!(is[taps.len()..].iter().all(|y| *y == 0));
        }
    }
}

/// sum h\[n\] e^(-i 2 pi f n).
fn transform(taps: &[f64], f: f64) -> [f64; 2] {
    taps.iter().enumerate().fold([0.0; 2], |[re, im], (n, h)| {
        let (s, c) = (TAU * (f * n as f64).fract()).sin_cos();
        [re + h * c, im - h * s]
    })
}

fn unit(taps: &[i64], scale_bits: u8) -> Vec<f64> {
    taps.iter().map(|h| *h as f64 / 2f64.powi(scale_bits.into())).collect()
}

/// Limit 2e-14: both sides add up to 64 products of `f64`, of sums below 3.
#[test]
fn response_is_that_of_scipy() {
    for set in tap_sets() {
        let taps = unit(&impulse_response(&set.taps, 2, 30), 30);
        for (f, want) in set.response {
            let is = transform(&taps, f);
            let apart = (is[0] - want[0]).hypot(is[1] - want[1]);
            assert!(apart < 2e-14, "{} at {f}: {apart:e}", set.name);
        }
    }
}

/// The same by measurement: a rotating phasor in, H(f) times it out, at every output. Limit 2e-14:
/// what SciPy's response may err, a hundred times a word's step of 2^-52.
#[test]
fn tones_come_out_as_scipy_says() {
    for set in tap_sets() {
        let mass: f64 = set.taps.iter().map(|t| f64::from(t.abs())).sum();
        assert!(mass < 3.0 * 2f64.powi(30));
        for ratio in [1u16, 3] {
            for &(f, [re, im]) in &set.response {
                let mut chain = stage(&set.taps, ratio, 30);
                let (mut compared, mut waiting) = (0, [Waiting::NONE]);
                for n in 0..set.taps.len() + 30 {
                    let (s, c) = (TAU * (f * n as f64).fract()).sin_cos();
                    let word = |x: f64| Word::from_bits((x * ONE).round() as i64);
                    let mut frame = [Phasor { i: word(c), q: word(s) }];
                    if chain.push(&mut frame, &mut waiting, true).is_some() && n >= set.taps.len() {
                        let [i, q] = [frame[0].i, frame[0].q].map(|w| w.to_bits() as f64 / ONE);
                        let apart = (i - (re * c - im * s)).hypot(q - (re * s + im * c));
                        assert!(apart < 2e-14, "{} at {f}: {apart:e}", set.name);
                        compared += 1;
                    }
                }
                assert!(compared >= 30 / i32::from(ratio));
            }
        }
    }
}

/// McClellan, Parks, Rabiner 1973, figure 7 (24 taps, pass 0 to 0.08, stop 0.16 to 0.5). No filter
/// of this length errs less than 0.012475 (38.08 dB) in both bands, by Chebyshev's theorem
/// (computed by `remez` on a dense grid); the printed taps, optimal on a grid of 16 points a tap,
/// exceed it by less than 1 %. Limits: the last digit of that optimum, and the 1 %.
#[test]
fn printed_filter_is_nearly_the_optimum() {
    let sets = tap_sets();
    let set = sets.iter().find(|s| s.name.starts_with("McClellan")).expect("figure 7");
    // Eight printed digits of the centre tap.
    assert_eq!((f64::from(set.taps[11]) / 2f64.powi(30) * 1e8).round(), 23_354_606.0);
    let taps = unit(&impulse_response(&set.taps, 3, 30), 30);
    let size = |f: f64| {
        let [re, im] = transform(&taps, f);
        re.hypot(im)
    };
    let pass = (0..=800).map(|k| (size(f64::from(k) * 1e-4) - 1.0).abs()).fold(0.0, f64::max);
    let stop = (1600..=5000).map(|k| size(f64::from(k) * 1e-4)).fold(0.0, f64::max);
    for error in [pass, stop] {
        assert!((0.012_474..0.012_475 * 1.01).contains(&error), "{pass} {stop}");
    }
}

/// Half-band filters: centre tap a half, every other second tap nil, H(f) + H(1/2 - f) = 1, so one
/// ripple for both bands. Designs by `remez`, ripples by `freqz` before rounding to 2^-30: limit 40
/// taps of half a step, 2e-8.
#[test]
fn half_band_filters() {
    let mut seen = 0;
    for set in tap_sets() {
        let Some((ripple, edge)) = set.half_band else { continue };
        seen += 1;
        let integers = impulse_response(&set.taps, 2, 30);
        let (length, centre) = (set.taps.len(), set.taps.len() / 2);
        assert_eq!(integers[centre], 1 << 29);
        assert!((1..=centre / 2).all(|k| integers[centre + 2 * k] == 0), "{}", set.name);
        let taps = unit(&integers[..length], 30);
        let amplitude = |f: f64| zero_phase(&taps, f);
        let (mut pass, mut stop) = (0f64, 0f64);
        for k in 0..=5000 {
            let f = edge * f64::from(k) / 5000.0;
            assert!((amplitude(f) + amplitude(0.5 - f) - 1.0).abs() < 1e-12, "{} {f}", set.name);
            pass = pass.max((amplitude(f) - 1.0).abs());
            stop = stop.max(amplitude(0.5 - f).abs());
        }
        assert!((pass - stop).abs() < 1e-12, "{}", set.name);
        // The grids of both sides miss the peak by 1e-5 of it, but for the edges, where it stands.
        assert!((stop - ripple).abs() < 2e-8 + 1e-5 * ripple, "{}: {stop} {ripple}", set.name);
    }
    assert_eq!(seen, 5);
}

/// Symmetric taps without their delay: sum h\[n\] cos(2 pi f (n - centre)).
fn zero_phase(taps: &[f64], f: f64) -> f64 {
    let centre = (taps.len() - 1) as f64 / 2.0;
    taps.iter().enumerate().map(|(n, h)| h * (TAU * f * (n as f64 - centre)).cos()).sum()
}

/// Classic maximally flat half-band filters of 7 and 11 taps (Goodman and Carey 1977, recalled), as
/// the integers they are: a constant passes to the bit, half the rate is nil to the bit, decimated
/// or not.
#[test]
fn classic_half_band_filters() {
    let classics: [(&[i32], u8); 2] =
        [(&[-1, 0, 9, 16, 9, 0, -1], 5), (&[3, 0, -25, 0, 150, 256, 150, 0, -25, 0, 3], 9)];
    for (taps, scale_bits) in classics {
        let length = taps.len();
        let want: Vec<i64> = taps.iter().map(|t| i64::from(*t)).collect();
        assert_eq!(impulse_response(taps, 2, scale_bits)[..length], want);
        for ratio in [1, 2] {
            // Odd, so that any bit lost to the scale would show.
            let level = 0x000f_edcb_a987_6543i64;
            let settled = |y: Vec<i64>| y[length / usize::from(ratio)..].to_vec();
            let constant = settled(run(&mut stage(taps, ratio, scale_bits), vec![level; 60]));
            assert!(constant.len() > 15 && constant.iter().all(|y| *y == level));
            let turns = (0..60).map(|n| if n % 2 == 0 { level } else { -level });
            let nyquist = settled(run(&mut stage(taps, ratio, scale_bits), turns));
            assert!(nyquist.iter().all(|y| *y == 0), "{nyquist:?}");
        }
        let h = unit(&want, scale_bits);
        assert_eq!(h[length / 2], 0.5);
        for k in 0..=500 {
            let f = f64::from(k) * 1e-3;
            assert!((zero_phase(&h, f) + zero_phase(&h, 0.5 - f) - 1.0).abs() < 1e-12);
            // Flat: the first error is of order (pi f)^4 and ^6 and more, monotonic, so within 0 to
            // 1.
            assert!((-1e-12..=1.0 + 1e-12).contains(&zero_phase(&h, f)));
        }
    }
}

/// A plan's filter, from its integers alone: CIC by the formula (sin(pi R M f)/(R M sin(pi f)))^N
/// (Hogenauer 1981, equation 8, recalled), FIR stages by direct evaluation, gain at zero frequency
/// included.
struct Filter<'a> {
    plan: &'a PlanFile,
    rate_hz: f64,
}

impl Filter<'_> {
    fn output_rate_hz(&self) -> f64 {
        let firs = self.plan.firs.iter().map(|f| f64::from(f.ratio));
        self.rate_hz / f64::from(self.plan.ratio) / firs.product::<f64>()
    }

    /// Gain at `multiple` x output rate + `offset_hz`. Whole turns come off as integers, so that
    /// the depth of a stop band is not lost in the angle.
    fn gain(&self, multiple: i64, offset_hz: f64) -> f64 {
        self.cic(multiple, offset_hz) * self.firs(multiple, offset_hz)
    }

    fn cic(&self, multiple: i64, offset_hz: f64) -> f64 {
        let width = i64::from(self.plan.ratio) * i64::from(self.plan.differential_delay);
        let outputs = (self.rate_hz / self.output_rate_hz()).round() as i64;
        let sine = |times: i64| {
            // sin(pi x) with x = times f/f_s, less whole double turns.
            let turns = (multiple * times).rem_euclid(2 * outputs) as f64 / outputs as f64;
            (TAU / 2.0 * (turns + times as f64 * offset_hz / self.rate_hz)).sin()
        };
        let (above, below) = (sine(width), width as f64 * sine(1));
        if below == 0.0 { 1.0 } else { (above / below).powi(self.plan.order.into()) }
    }

    fn firs(&self, multiple: i64, offset_hz: f64) -> f64 {
        let mut inputs = self.plan.firs.iter().map(|f| i64::from(f.ratio)).product::<i64>();
        let mut gain = 1.0;
        for fir in &self.plan.firs {
            // This stage's input rate is `inputs` output rates. An even number of taps, its centre
            // between two, repeats after two turns only.
            let f = multiple.rem_euclid(2 * inputs) as f64 / inputs as f64
                + offset_hz / (self.output_rate_hz() * inputs as f64);
            let taps: Vec<i64> = fir.taps.iter().map(|t| i64::from(*t)).collect();
            gain *= zero_phase(&unit(&taps, fir.scale_bits), f);
            inputs /= i64::from(fir.ratio);
        }
        gain
    }
}

fn db(x: f64) -> f64 {
    20.0 * x.abs().log10()
}

/// Every built-in plan keeps the mask it states: droop of CIC and FIR stages together within the
/// pass band, and every band that folds onto zero to `alias_into_hz` rejected: both sides of all
/// multiples of the output rate up to f_s/2. A real input mixes to offsets within +-f_s, but the
/// response is even and repeats with f_s, so these are all. 33 points a band.
#[test]
fn built_in_plans_keep_their_masks() {
    for (name, _) in BUILT_IN {
        let sensor = Sensor::load(name).expect("built in");
        let mask = sensor.plan.mask.as_ref().expect("a mask");
        let filter = Filter { plan: &sensor.plan, rate_hz: sensor.rate_hz() };
        let output = filter.output_rate_hz();
        assert_eq!(output, sensor.output_rate_hz());
        // Unity at zero frequency exactly: the taps' sums.
        assert_eq!(filter.gain(0, 0.0), 1.0, "{name}");

        let pass = (0..=600).map(|k| db(filter.gain(0, mask.pass_hz * f64::from(k) / 600.0)));
        let pass = pass.fold(0f64, |m, x| m.max(x.abs()));
        assert!(pass <= mask.pass_db, "{name}: {pass} dB in the pass band");

        let offsets: Vec<f64> =
            (-16..=16).map(|k| mask.alias_into_hz * f64::from(k) / 16.0).collect();
        // FIR responses repeat with the rate after the CIC.
        let period = sensor.plan.firs.iter().map(|f| i64::from(f.ratio)).product::<i64>();
        let firs: Vec<Vec<f64>> =
            (0..period).map(|k| offsets.iter().map(|o| filter.firs(k, *o)).collect()).collect();
        let half = (sensor.rate_hz() / output / 2.0).round() as i64;
        let (mut worst, mut at) = (f64::NEG_INFINITY, 0);
        for k in 1..=half {
            for (offset, fir) in offsets.iter().zip(&firs[k.rem_euclid(period) as usize]) {
                let gain = db(filter.cic(k, *offset) * fir);
                if gain > worst {
                    (worst, at) = (gain, k);
                }
            }
        }
        println!("{name}: pass band {pass:.6} dB, worst alias {worst:.2} dB at {at} output rates");
        assert!(worst <= -mask.alias_db, "{name}: {worst} dB at {at} output rates");
        // The evaluation sees what is no stop band: half the output rate is only part of the way
        // down.
        assert!(db(filter.gain(0, output / 2.0)) > -mask.alias_db);
        // It looks at each band: 120 dB are not to be had from any stage alone.
        assert!((1..=half).any(|k| db(filter.cic(k, mask.alias_into_hz)) > -mask.alias_db));
    }
}

const TONES: usize = 12;

/// Phasors of twelve tones through mixer, CIC and FIR stages of the core, one tone a channel, at
/// `outputs` settled instants: the sample number of each and the words over those of a full-scale
/// carrier.
fn tones_through_the_core(
    sensor: &Sensor,
    path: Path,
    tone_dhz: &[i64; TONES],
    outputs: usize,
) -> Vec<(i64, Vec<[f64; 2]>)> {
    // More bits than a converter has, so that its rounding does not hide the deep stop bands, and
    // few enough to fold.
    const BITS: u32 = 28;
    let config = FrontEndConfig { path, ..sensor.settings.front_end };
    let mut front =
        FrontEnd::<i128, 2, TONES, 512>::new(sensor.settings.carrier, config, TONES, BITS)
            .expect("fits");
    let firs: Vec<FirConfig<'_>> = sensor
        .settings
        .firs
        .iter()
        .map(|(ratio, scale_bits, taps)| FirConfig { ratio: *ratio, taps, scale_bits: *scale_bits })
        .collect();
    let mut chain =
        FirChain::<1024, 1024>::new(&firs, TONES, Word::from_bits(2 << 52)).expect("fits");
    let (gain, exponent) = words_per_code(config, BITS);
    let scale = gain as f64 * 2f64.powi(-exponent) * AMPLITUDE;
    let rate_dhz = (sensor.rate_hz() * 10.0) as i64;
    let (mut sample, mut out) = (0i64, Vec::new());
    let mut waiting = [Waiting::NONE; TONES];
    while out.len() < outputs {
        let mut block = Vec::new();
        for _ in 0..front.ratio() {
            block.extend(tone_dhz.map(|dhz| {
                let turns = (dhz * sample).rem_euclid(rate_dhz) as f64 / rate_dhz as f64;
                (AMPLITUDE * (TAU * turns).cos()).round() as i32
            }));
            sample += 1;
        }
        let mut frame = [Phasor::default(); TONES];
        let interval = front.decimate(&mut block.as_slice(), &mut frame).expect("an interval");
        assert!(!interval.saturated && interval.over_range == 0);
        if chain.push(&mut frame, &mut waiting, true).is_some()
            && sample as u64 >= sensor.settings.span()
        {
            let parts = |p: &Phasor| [p.i, p.q].map(|w| w.to_bits() as f64 / scale);
            out.push((sample - 1, frame.iter().map(parts).collect()));
        }
    }
    out
}

/// Codes of the tones: 0.9 of full scale at 28 bits.
const AMPLITUDE: f64 = 0.9 * (1u64 << 27) as f64;

/// cos(2 pi f n) mixes to two rotating phasors, at f - f_c and -f - f_c; each comes out with the
/// computed gain and the delay of half the span. Twelve tones: five in the pass band on either side
/// of the carrier, seven on aliases, among them the worst that fold behind the last FIR
/// stage, the first and the CIC (14, 398 and 4996 Hz), and audio. All words agree within the rounding of the carrier's
/// constants: half a step of Q.26 each when folded (20 columns of 28-bit codes), a sequence that can
/// fake 2 x 2^-27 of a tone; of Q.24 when mixed, 2 x 2^-25, and once a section half a step of
/// Q2.30. That is -144 dB where the mask asks for -120.
#[test]
fn tones_through_the_core_are_as_computed() {
    let sensor = Sensor::load("vault-two-bridge").expect("built in");
    let filter = Filter { plan: &sensor.plan, rate_hz: sensor.rate_hz() };
    let mask = sensor.plan.mask.as_ref().expect("a mask");
    // Tenths of a hertz from the carrier: pass band, then aliases k x 10 Hz and a bit.
    let offsets: [i64; TONES] =
        [0, 5, -12, 21, -30, 140, -540, 3_980, 4_960, 49_964, -99_960, -788_000];
    let carrier_dhz = (sensor.file.carrier.frequency_hz * 10.0) as i64;
    let tones = offsets.map(|o| carrier_dhz + o);
    assert_eq!(tones[11], 12_000, "an audio tone of 1.2 kHz");
    let output_dhz = (filter.output_rate_hz() * 10.0) as i64;
    let rate_dhz = (sensor.rate_hz() * 10.0) as i64;
    let gain = |dhz: i64| {
        // Nearest multiple of the output rate, and the rest.
        let multiple = (dhz as f64 / output_dhz as f64).round() as i64;
        filter.gain(multiple, (dhz - multiple * output_dhz) as f64 / 10.0)
    };
    let half_span = sensor.settings.span() as i64 - 1;
    for (path, limit) in [(Path::Coherent, 2f64.powi(-26)), (Path::General, 2f64.powi(-24))] {
        let mut worst = 0f64;
        for (sample, words) in tones_through_the_core(&sensor, path, &tones, 3) {
            // Twice the centre of the response.
            let centre = 2 * sample - half_span;
            for (tone, is) in tones.iter().zip(words) {
                let mut want = [0.0; 2];
                for dhz in [tone - carrier_dhz, -tone - carrier_dhz] {
                    let turns =
                        (dhz * centre).rem_euclid(2 * rate_dhz) as f64 / (2 * rate_dhz) as f64;
                    let (s, c) = (TAU * turns).sin_cos();
                    want = [want[0] + gain(dhz) * c, want[1] + gain(dhz) * s];
                }
                let apart = (is[0] - want[0]).hypot(is[1] - want[1]);
                worst = worst.max(apart);
                let size = want[0].hypot(want[1]);
                assert!(apart < limit, "{path:?} {tone} dHz: {is:?}, not {want:?}");
                // Carrier and pass band at full size, all others below the mask.
                if (tone - carrier_dhz).abs() <= 30 {
                    assert!(db(size).abs() <= mask.pass_db + 1e-8);
                } else {
                    assert!(is[0].hypot(is[1]) < 1e-6, "{path:?} {tone} dHz");
                }
            }
        }
        println!("{path:?}: worst {worst:e} of a tone");
        assert!(worst > 0.0);
    }
    // Some aliases are high enough to be measured and not only bounded: 1 % and better.
    let sizes = offsets[5..].iter().map(|o| gain(*o).abs());
    assert!(sizes.filter(|g| *g > 100.0 * 2f64.powi(-30)).count() >= 3);
    // Scale: the CIC's gain is R^N.
    assert_eq!(gain_of_plan(&sensor.plan), 25_600);
}

fn gain_of_plan(plan: &PlanFile) -> u128 {
    gain(plan.order.into(), plan.ratio.into(), plan.differential_delay.into())
}

/// Actuation 60 dB above the signal: three audio tones of 1 V at the converter, one on a multiple
/// of the output rate and two off, beside a signal of 1 mV. What they change in the readings is
/// below the front end's noise floor.
#[test]
fn actuation_stays_below_the_noise_floor() {
    const COUNT: usize = 40;
    let text = BUILT_IN[0].1;
    let start = text.find("[[actuation]]").expect("actuation");
    let end = text.find("[axes]").expect("axes");
    let tones: String = [83.0, 1210.0, 17_003.0]
        .iter()
        .map(|hz| format!("[[actuation]]\nfrequency_hz = {hz:?}\namplitude_v = 1.0\n"))
        .collect();
    let text = format!("{}{tones}{}", &text[..start], &text[end..]);
    let sensor = Sensor::parse(std::path::Path::new("loud.toml"), &text).expect("a good sensor");
    // r = u for so small a u: 1 mV over a0 in volts, of the gap.
    let a0_v = sensor.design.a0_code[0] / sensor.design.codes_per_volt;
    let x = 1e-3 / a0_v * sensor.design.gap_m[0];
    let still = Motion::new(vec![0.0, 1.0], [Some(vec![x; 2]), None, None, None, None, None]);
    let still = still.expect("a motion");
    let run = |actuation: bool, white_noise: bool| {
        let parts = Parts { actuation, white_noise, ..Parts::ALL.quiet() };
        let mut plant = Plant::new(&sensor, still.clone(), parts, 4);
        let mut chain = Chain::new(&sensor.settings).expect("a good sensor");
        let (mut rows, mut block, mut peak) = (Vec::new(), Vec::new(), 0i32);
        while rows.len() < COUNT {
            block.clear();
            plant.chunk(&mut block);
            peak = block.iter().fold(peak, |m, c| m.max(c.abs()));
            chain.push(&block, |reading| {
                let row = Row::of(reading);
                rows.extend((!settling(&row)).then_some(row));
            });
        }
        (rows, f64::from(peak) / sensor.design.codes_per_volt)
    };
    let ((calm, calm_v), (loud, loud_v), (noisy, _)) =
        (run(false, false), run(true, false), run(false, true));
    // They are there: a signal of 1 mV (and 0.8 mV offset) against nearly 3 V.
    assert!(calm_v > 1e-3 && calm_v < 2.5e-3, "{calm_v} V");
    assert!(loud_v > 2.5 && loud_v < 3.01, "{loud_v} V");
    for axis in 0..2 {
        let rms = |rows: &[Row]| {
            let squares =
                rows.iter().zip(&calm).map(|(a, b)| (a.axes[axis] - b.axes[axis]).powi(2));
            (squares.sum::<f64>() / COUNT as f64).sqrt()
        };
        let (actuation, floor) = (rms(&loud), rms(&noisy));
        println!("axis {axis}: {actuation:e} of actuation, {floor:e} of noise");
        assert!(actuation < floor, "axis {axis}: {actuation:e}, floor {floor:e}");
        // Both amplifiers take up the same voltage: none of it turns the plate.
        assert_eq!(actuation > 0.0, axis == 0);
    }
    // By hand: 1 uV/sqrt(Hz), sqrt(2), slope d/a0, two bridges; 40 readings settle it to 15 % or
    // so.
    let density = 1e-6 * sensor.design.gap_m[0] / a0_v;
    let squares: f64 = noisy.iter().zip(&calm).map(|(a, b)| (a.axes[0] - b.axes[0]).powi(2)).sum();
    let floor = (squares / COUNT as f64).sqrt();
    // Pass band 3 Hz, nothing above 6 Hz.
    assert!(
        floor > 0.6 * density * 3f64.sqrt() && floor < 1.5 * density * 6f64.sqrt(),
        "{floor:e}"
    );
}
