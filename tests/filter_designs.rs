//! Plans that `filter design` finds: the four workloads, judged by `filter check` and by an evaluation
//! of their integers that shares nothing with it; hundreds of random specifications that can be met,
//! and a hundred that cannot.

use crate::specs::{WORKLOADS, spec, subject};
use quietgap_sim::filter::check::Check;
use quietgap_sim::filter::design::search::{Found, search};
use quietgap_sim::filter::design::write;
use quietgap_sim::filter::response::Response;
use quietgap_sim::filter::spec::Spec;
use quietgap_sim::filter::subject::Subject;
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{Rng, SeedableRng};
use std::f64::consts::TAU;

fn find(text: &str) -> Found {
    search(&spec(text)).unwrap_or_else(|refusal| panic!("{text}\n{refusal}"))
}

/// Impulse response of a whole plan at the converter's rate, and the gain at zero frequency from the
/// integers: boxcars and zero-stuffed taps convolved, in f64 whose products of integers below 2^53 are
/// exact and whose sums err by 1e-16 of the largest.
fn impulse(subject: &Subject) -> Vec<f64> {
    let plan = &subject.plan;
    let ratio = usize::from(plan.ratio);
    let mut step = ratio;
    // FIR stages first: few taps far apart.
    let mut sparse = vec![1.0];
    let mut at = 1;
    for fir in &plan.firs {
        let mut next = vec![0.0; sparse.len() + (fir.taps.len() - 1) * at];
        for (n, tap) in fir.taps.iter().enumerate() {
            let tap = f64::from(*tap) / 2f64.powi(fir.scale_bits.into());
            next[n * at..].iter_mut().zip(&sparse).for_each(|(y, x)| *y += tap * x);
        }
        sparse = next;
        at *= usize::from(fir.ratio);
        step *= usize::from(fir.ratio);
    }
    assert_eq!(step as u64, subject.interval());
    // A CIC's own response by polynomial multiplication.
    let width = ratio * usize::from(plan.differential_delay);
    let mut cic = vec![1.0];
    for _ in 0..plan.order {
        let mut next = vec![0.0; cic.len() + width - 1];
        for n in 0..width {
            next[n..].iter_mut().zip(&cic).for_each(|(y, x)| *y += x / width as f64);
        }
        cic = next;
    }
    let mut all = vec![0.0; (sparse.len() - 1) * ratio + cic.len()];
    for (n, x) in sparse.iter().enumerate() {
        all[n * ratio..].iter_mut().zip(&cic).for_each(|(y, c)| *y += x * c);
    }
    assert_eq!(all.len() as u64, subject.span());
    all
}

/// Magnitude of the transform of `h` at `numerator`/`denominator` cycles a sample: 64 angles from one whose phase is an
/// integer, exact to a rounding; 1e-14 of what is summed, while -150 dB are looked at.
fn transform(h: &[f64], numerator: u64, denominator: u64) -> f64 {
    let unit = |phase: u64| (TAU * (phase % denominator) as f64 / denominator as f64).sin_cos();
    let (sine, cosine) = unit(numerator);
    let (mut re, mut im) = (0.0, 0.0);
    for (n, some) in h.chunks(64).enumerate() {
        // Below 2^64: 4e8 taps at 1e7 twentieths.
        let (mut s, mut c) = unit(64 * n as u64 * (numerator % denominator));
        for x in some {
            (re, im) = (re + x * c, im + x * s);
            (s, c) = (s * cosine + c * sine, c * cosine - s * sine);
        }
    }
    f64::hypot(re, im)
}

/// Few candidates are worked out, check passes, and both evaluations agree to 0.01 dB down to -150 dB.
#[test]
fn four_workloads() {
    for (name, text) in WORKLOADS {
        let found = find(text);
        let [listed, tried] = found.candidates;
        // The plan as it is written to a file and read back.
        let written = write::plan(&found.subject, &[]);
        let subject = subject(&written);
        let check = Check::new(subject.clone());
        for limit in &check.limits {
            assert!(limit.pass, "{name}: {limit:?}");
        }
        assert!(tried <= 40, "{name}: {tried} of {listed} candidates worked out");
        let response = Response::new(&subject.plan, subject.rate_hz);
        let h = impulse(&subject);
        // Twentieths of an output rate: pass band, transition, aliases of every stage.
        let mut tens: Vec<u64> = vec![0, 1, 3, 5, 6, 7, 8, 10, 12];
        let mut interval = subject.interval();
        for ratio in subject.plan.firs.iter().map(|f| u64::from(f.ratio)).rev() {
            let inputs = subject.interval() / interval.max(1);
            tens.extend([20 * inputs - 5, 20 * inputs + 7, 20 * inputs * (ratio / 2).max(1) + 3]);
            interval /= ratio;
        }
        tens.extend(check.worst_bands().iter().map(|a| {
            let hz = a.offset_hz.abs() / subject.output_rate_hz();
            (hz * 20.0).round() as u64
        }));
        if h.len() > 10_000_000 {
            tens.truncate(12);
        }
        // The image of a moving mass: no sideband within the pass band is worse than what is told.
        let told = check.tones.iter().find(|t| t.name == "image of a moving mass").expect("told");
        let interval = 20 * subject.interval();
        let twice = (2.0 * subject.carrier_hz / subject.rate_hz * interval as f64).round() as u64;
        let most = (check.subject.plan.mask.as_ref().expect("a mask").pass_hz
            / subject.output_rate_hz()
            * 20.0) as u64;
        let sidebands = (0..=most).flat_map(|k| [twice - k, twice + k]);
        let sideband = sidebands.map(|at| transform(&h, at, interval)).fold(0.0, f64::max);
        let floor = 10f64.powf(-150.0 / 20.0);
        let told = 10f64.powf(-told.rejection_db / 20.0);
        assert!(told > sideband * 0.99 - floor, "{name}: {told:e}, at least {sideband:e}");
        let (mut compared, mut worst) = (0, 0f64);
        for k in tens {
            let want = transform(&h, k, 20 * subject.interval());
            let is = response.gain_at(k as f64 / 20.0 * subject.output_rate_hz()).abs();
            let floor = 10f64.powf(-150.0 / 20.0);
            if want > floor {
                let apart = (20.0 * (is / want).log10()).abs();
                assert!(apart < 0.01, "{name}: {k}/20 output rates: {is:e}, not {want:e}");
                worst = worst.max(apart);
                compared += 1;
            } else {
                assert!(is < floor * 1.01, "{name}: {k}/20 output rates: {is:e}, not {want:e}");
            }
        }
        assert!(compared >= 8, "{name}: {compared}");
        let firs: Vec<_> = subject.plan.firs.iter().map(|f| (f.ratio, f.taps.len())).collect();
        println!(
            "{name}: {tried} of {listed} worked out, CIC^{} by {}, FIR {firs:?}, {:.2} instructions, delay {} s; {compared} \
             frequencies, {worst:.1e} dB apart",
            subject.plan.order,
            subject.plan.ratio,
            found.cost,
            subject.delay_s()
        );
    }
}

/// Draws from a seeded stream.
struct Draw(ChaCha8Rng);

impl Draw {
    fn unit(&mut self) -> f64 {
        self.0.next_u32() as f64 / 2f64.powi(32)
    }

    fn range(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.unit()
    }

    fn pick<T: Copy>(&mut self, list: &[T]) -> T {
        list[self.0.next_u32() as usize % list.len()]
    }
}

/// A specification that can be met: moderate bands, rates that divide.
fn feasible(draw: &mut Draw) -> Spec {
    let rate = draw.pick(&[2e5, 5e5, 8e5, 1e6, 2e6]);
    let interval =
        draw.pick(&[80.0, 200.0, 500.0, 1000.0, 2000.0, 4000.0, 8000.0, 20_000.0, 50_000.0]);
    let output = rate / interval;
    let carrier = rate * draw.pick(&[0.1, 0.25, 0.2, 0.125, 0.077_31]);
    let pass = output * draw.range(0.05, 0.32);
    let into = output * draw.range(0.1, 0.45);
    let alias = draw.range(50.0, 135.0);
    let pass_db = 10f64.powf(draw.range(-3.0, -0.7));
    let mut text = format!(
        "schema = 1\nrate_hz = {rate}\ncarrier_hz = {carrier}\noutput_rate_hz = {output}\nchannels = {}\n\
         code_bits = {}\nmethod = \"{}\"\n[mask]\npass_hz = {pass}\npass_db = {pass_db}\n\
         alias_into_hz = {into}\nalias_db = {alias}\n",
        draw.pick(&[1, 2, 6, 13]),
        draw.pick(&[16, 18, 24]),
        draw.pick(&["equiripple", "equiripple", "equiripple", "half-band", "kaiser"]),
    );
    if draw.unit() < 0.3 {
        // Twice what one long low pass of this transition takes, and some for the CIC.
        let slack = 4.0 / (output - pass - into) * (alias - 20.0 * pass_db.log10()) / 50.0;
        text += &format!("delay_s = {slack}\n");
    }
    if draw.unit() < 0.3 {
        let mains = draw.pick(&[50.0, 60.0, 150.0, 1210.0]);
        text +=
            &format!("[[line]]\nname = \"mains\"\nfrequency_hz = {mains}\nreject_db = {alias}\n");
    }
    spec(&text)
}

/// Number of random specifications; every one is judged by the whole check but for the long runs of
/// the integers.
const FEASIBLE: usize = 500;

#[test]
#[ignore = "a minute or more: a whole sweep; cargo test --workspace --tests -- --ignored"]
fn random_specifications_that_can_be_met() {
    let workers = 2;
    std::thread::scope(|scope| {
        for worker in 0..workers {
            scope.spawn(move || {
                let mut stages = [0usize; 7];
                for n in (worker..FEASIBLE).step_by(workers) {
                    let mut draw = Draw(ChaCha8Rng::seed_from_u64(1000 + n as u64));
                    let spec = feasible(&mut draw);
                    let found =
                        search(&spec).unwrap_or_else(|refusal| panic!("{n}: {refusal}\n{spec:?}"));
                    stages[found.subject.plan.firs.len()] += 1;
                    let check = Check::new(found.subject);
                    for limit in &check.limits {
                        assert!(limit.pass, "{n}: {limit:?}\n{spec:?}");
                    }
                    let names: Vec<&str> = check.limits.iter().map(|l| l.name.as_str()).collect();
                    assert!(names.contains(&"pass band") && names.contains(&"alias rejection"));
                    assert_eq!(names.contains(&"delay"), spec.mask.delay_s.is_some());
                }
                println!("plans by number of FIR stages: {stages:?}");
                // The draw reaches plans of several shapes.
                assert!(stages.iter().filter(|n| **n > 5).count() >= 3);
            });
        }
    });
}

/// No point of any band is worse than what the check names: random plans, 3001 points a band.
#[test]
fn the_worst_alias_is_the_worst() {
    for n in 0..60 {
        let spec = feasible(&mut Draw(ChaCha8Rng::seed_from_u64(9000 + n)));
        if spec.interval().expect("whole") > 4000 {
            continue;
        }
        let check = Check::new(search(&spec).expect("a plan").subject);
        let (named, into) =
            (check.worst_alias().expect("a mask").worst.gain, spec.mask.alias_into_hz);
        let mut worst = 0f64;
        for k in 1..=check.response.period() {
            for point in -1500..=1500 {
                worst = worst.max(check.response.gain(k, into * f64::from(point) / 1500.0).abs());
            }
        }
        let apart = 20.0 * (worst / named).log10();
        assert!(apart < 1e-3 && apart > -0.05, "{n}: {apart} dB above the one named");
    }
}

/// The delay that a check tells is that of the impulse response, n h\[n\] transformed over h\[n\] transformed:
/// symmetric taps, and taps of least phase.
#[test]
fn delays_are_the_impulse_responses() {
    for method in ["equiripple", "low-delay"] {
        let text = format!(
            "schema = 1\nrate_hz = 1e5\ncarrier_hz = 1e4\noutput_rate_hz = 500\nmethod = \"{method}\"\n[mask]\n\
             pass_hz = 100\npass_db = 0.05\nalias_into_hz = 120\nalias_db = 80\n"
        );
        let check = Check::new(find(&text).subject);
        let h = impulse(&check.subject);
        let delay = |hz: f64| {
            let (mut sum, mut moment) = ([0.0; 2], [0.0; 2]);
            for (n, x) in h.iter().enumerate() {
                let (s, c) = (TAU * n as f64 * hz / 1e5).sin_cos();
                for (k, part) in [c, -s].into_iter().enumerate() {
                    sum[k] += x * part;
                    moment[k] += n as f64 * x * part;
                }
            }
            let square = sum[0] * sum[0] + sum[1] * sum[1];
            (moment[0] * sum[0] + moment[1] * sum[1]) / square
        };
        for hz in [0.0, 1.0, 30.0, 77.7, 100.0] {
            let (told, want) = (1e5 * check.response.delay_s(hz), delay(hz));
            assert!((told - want).abs() < 1e-6 * want, "{method}, {hz} Hz: {told} {want}");
        }
        let nearest = (2.0 * delay(0.0)).round() / 2.0;
        assert_eq!(check.subject.delay_samples(), nearest, "{method}");
        // Told of a plan without a mask, too.
        let mut bare = check.subject.clone();
        bare.plan.mask = None;
        assert_eq!(Check::new(bare).json()["delay_varies"], method == "low-delay");
        let least_most = [0.0, 30.0, 77.7, 100.0].map(delay);
        if method == "equiripple" {
            assert_eq!(check.delays_s, None);
        } else {
            let [least, most] = check.delays_s.expect("delays").map(|s| 1e5 * s);
            assert!(least_most.iter().all(|d| (least - 1e-6..most + 1e-6).contains(d)));
            assert!(most - least > 1.0, "{least} to {most} samples");
        }
    }
}

/// Bands narrow beside the rates, which few taps fulfil and too many make settle on nothing; ratios
/// with no or one FIR stage.
#[test]
fn narrow_bands_are_met() {
    for (ratio, band) in [
        (12.0, 1000.0),
        (14.0, 1500.0),
        (16.0, 1000.0),
        (20.0, 1500.0),
        (32.0, 500.0),
        (40.0, 500.0),
    ] {
        for method in ["equiripple", "kaiser", "least-squares", "half-band"] {
            let text = format!(
                "schema = 1\nrate_hz = 1e6\ncarrier_hz = 250e3\noutput_rate_hz = {}\nmethod = \"{method}\"\n\
                 [mask]\npass_hz = {band}\npass_db = 0.01\nalias_into_hz = {band}\nalias_db = 100\n",
                1e6 / ratio
            );
            let check = Check::new(find(&text).subject);
            assert!(check.pass(), "{text}: {:?}", check.limits.iter().find(|l| !l.pass));
        }
    }
}

/// A specification with one line that cannot be met, and the key of that line.
fn infeasible(draw: &mut Draw, kind: usize) -> (String, &'static str) {
    let rate = draw.pick(&[5e5, 8e5, 1e6]);
    // Twice a prime above 4096: no stage can take it.
    let prime = draw.pick(&[4099.0, 4111.0, 5003.0, 7919.0]);
    let interval = draw.pick(&[500.0, 2000.0, 8000.0]);
    let output: f64 = rate / if kind == 1 { 2.0 * prime } else { interval };
    // Folding asked for, and a carrier that never repeats: the last kind.
    let carrier = rate * if kind == 9 { 0.077_313_1 } else { 0.1 };
    let base = |extra: &str, mask: &str, output: f64| {
        format!(
            "schema = 1\nrate_hz = {rate}\ncarrier_hz = {carrier}\noutput_rate_hz = {output}\n{extra}[mask]\n{mask}"
        )
    };
    let mask = |pass: f64, pass_db: f64, into: f64, alias: f64, more: &str| {
        format!(
            "pass_hz = {}\npass_db = {pass_db}\nalias_into_hz = {}\nalias_db = {alias}\n{more}",
            pass * output,
            into * output
        )
    };
    let good = mask(0.3, 0.01, 0.4, 100.0, "");
    match kind {
        // Not a whole number of samples.
        0 => (base("", &good, output * draw.range(1.01, 1.1)), "output_rate_hz"),
        1 => (base("", &good, output), "output_rate_hz"),
        2 => {
            (base("", &mask(draw.range(0.51, 0.9), 0.01, 0.05, 100.0, ""), output), "mask.pass_hz")
        }
        3 => {
            let mask = mask(0.3, 0.01, draw.range(0.71, 0.95), 100.0, "");
            (base("", &mask, output), "mask.alias_into_hz")
        }
        // Less than half of what any filter of this transition and rejection takes: the response of
        // a low pass needs some (A - 8)/(14.4 df) (Kaiser's formula), half of it is delay.
        4 => {
            let least = (100.0 - 8.0) / (14.4 * 0.3 * output) / 2.0;
            let more = format!("delay_s = {}\n", least * draw.range(0.05, 0.4));
            (base("", &mask(0.3, 0.01, 0.4, 100.0, &more), output), "mask.delay_s")
        }
        // No code is read in less than an instruction.
        5 => {
            let more = format!("instructions_per_sample = {}\n", draw.range(0.1, 0.9));
            (base("", &mask(0.3, 0.01, 0.4, 100.0, &more), output), "mask.instructions_per_sample")
        }
        // Taps of 8 to 10 bits leave rounding near -60 dB.
        6 => {
            let extra = format!("tap_bits = {}\n", draw.pick(&[8, 9, 10]));
            (
                base(&extra, &mask(0.3, 1.0, 0.4, draw.range(125.0, 150.0), ""), output),
                "mask.alias_db",
            )
        }
        // One order only, of too little rejection: a CIC of order 1 by 2 leaves into/f_s.
        7 => {
            let mask = mask(0.3, 0.01, 0.4, draw.range(135.0, 160.0), "");
            (base("orders = [1]\n", &mask, output), "mask.alias_db")
        }
        // A tone within the pass band.
        8 => {
            let at = rate / 10.0 + draw.range(0.02, 0.28) * output;
            let tone = format!("[[line]]\nname = \"hum\"\nfrequency_hz = {at}\nreject_db = 60\n");
            (base("", &good, output) + &tone, "line[1].reject_db")
        }
        _ => (base("path = \"coherent\"\n", &good, output), "carrier_hz"),
    }
}

#[test]
#[ignore = "a minute or more: a whole sweep; cargo test --workspace --tests -- --ignored"]
fn random_specifications_that_cannot_be_met() {
    let mut by_kind = [0; 10];
    for n in 0..100usize {
        let kind = n % 10;
        let mut draw = Draw(ChaCha8Rng::seed_from_u64(5000 + n as u64));
        let (text, key) = infeasible(&mut draw, kind);
        let found = search(&spec(&text));
        let refusal = match found {
            Ok(found) => panic!("{n}: {:?} meets\n{text}", found.subject.plan.ratio),
            Err(refusal) => refusal,
        };
        assert_eq!(refusal.key, key, "{n}: {refusal}\n{text}");
        // By how much, and the nearest that can be had.
        assert!(refusal.nearest.is_finite() && refusal.nearest != refusal.asked, "{n}: {refusal}");
        by_kind[kind] += 1;
    }
    assert!(by_kind.iter().all(|n| *n == 10));
}

/// What a refusal calls the nearest can be had: asking for it instead gives a plan.
#[test]
#[ignore = "a minute or more: a whole sweep; cargo test --workspace --tests -- --ignored"]
fn the_nearest_can_be_had() {
    for n in 0..30usize {
        let kind = n % 10;
        let mut draw = Draw(ChaCha8Rng::seed_from_u64(5000 + n as u64));
        let (text, key) = infeasible(&mut draw, kind);
        let mut spec = spec(&text);
        let refusal = search(&spec).expect_err("cannot be met");
        match key {
            "output_rate_hz" => spec.output_rate_hz = refusal.nearest,
            "mask.pass_hz" => spec.mask.pass_hz = refusal.nearest,
            "mask.alias_into_hz" => spec.mask.alias_into_hz = refusal.nearest,
            "mask.delay_s" => spec.mask.delay_s = Some(refusal.nearest * (1.0 + 1e-12)),
            "mask.instructions_per_sample" => {
                spec.mask.instructions_per_sample = Some(refusal.nearest * (1.0 + 1e-12));
            }
            "mask.alias_db" => spec.mask.alias_db = refusal.nearest,
            "line[1].reject_db" => spec.lines[0].reject_db = refusal.nearest,
            _ => spec.carrier_hz = refusal.nearest,
        }
        if let Err(again) = search(&spec) {
            panic!("{n}: {refusal}; then {again}");
        }
    }
}
