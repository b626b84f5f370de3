//! The oscillator's spectrum: no spur above what its phase and words allow.

use quietgap_core::carrier::cos_sin_q31;
use quietgap_sim::analysis::transform::forward;

/// Largest spur of the oscillator, dBc: 2^20 samples of the Q1.31 cosine of a 64-bit phase count
/// cut to `bits`, under a Kaiser window, without the carrier's own lobe.
fn worst_spur(step: u64, bits: u32) -> f64 {
    const LENGTH: usize = 1 << 20;
    // Kaiser 1974 (recalled): side lobes fall below -(8.7 + beta/0.1102) dB, here -299 dB; the
    // lobe ends sqrt(1 + (beta/pi)^2) = 10.2 bins from its centre.
    const BETA: f64 = 32.0;
    const LOBE: usize = 14;
    let bessel_i0 = |x: f64| {
        let terms = (1..200).scan(1.0, |term, k| {
            *term *= (x / 2.0 / f64::from(k)).powi(2);
            Some(*term)
        });
        1.0 + terms.sum::<f64>()
    };
    let mut phase = 0x0123_4567_89ab_cdefu64;
    let mut samples: Vec<f64> = (0..LENGTH)
        .map(|n| {
            let cut = (phase >> (64 - bits)) << (64 - bits);
            phase = phase.wrapping_add(step);
            let x = 2.0 * n as f64 / (LENGTH - 1) as f64 - 1.0;
            let window = bessel_i0(BETA * (1.0 - x * x).max(0.0).sqrt()) / bessel_i0(BETA);
            window * f64::from(cos_sin_q31((cut >> 32) as u32).0.to_bits())
        })
        .collect();
    let fft = forward(LENGTH);
    let mut spectrum = fft.make_output_vec();
    fft.process(&mut samples, &mut spectrum).expect("lengths agree");
    let power: Vec<f64> = spectrum.iter().map(|bin| bin.norm_sqr()).collect();
    let centre = (step as f64 / 2f64.powi(64) * LENGTH as f64).round() as usize;
    let outside = |bin: usize| bin.abs_diff(centre) > LOBE;
    let carrier = power[centre - 1..=centre + 1].iter().fold(0f64, |a, &b| a.max(b));
    let spurs = power.iter().enumerate().filter(|(bin, _)| outside(*bin));
    10.0 * (spurs.fold(0f64, |a, (_, &b)| a.max(b)) / carrier).log10()
}

/// Theory: a phase cut to B bits makes spurs of -6.02 B dBc, and 3.92 dB more (pi/2) at the worst
/// step (recalled, after Nicholas and Samueli 1987; confirmed by the transform of a full
/// period): -192.7 and -188.7 dBc at 32 bits. Q1.31 itself adds -194.4 dBc in all, and in one
/// line when the carrier's cycle is short.
#[test]
fn spurs_below_180_dbc() {
    // None on a bin. Spurs of the cut phase spread over many lines, over four, over one (worst).
    for step in [0x1999_a3d7_0a3d_70a5, 0x2000_1357_4000_0001, 0x1234_5678_8000_0000] {
        let spur = worst_spur(step, 32);
        println!("step {step:#x}: worst spur {spur:.1} dBc");
        assert!(spur <= -180.0, "step {step:#x}: {spur} dBc");
    }
}

/// The measurement sees a spur where there is one: a phase cut to 16 bits shows -96.3 dBc, up to
/// 3.92 dB more (same theory).
#[test]
fn spurs_of_a_shorter_phase_are_seen() {
    let theory = -20.0 * 2f64.log10() * 16.0;
    let spur = worst_spur(0x1234_8000_0000_0000 | 0x0000_0001_0000_0001, 16);
    assert!((theory - 1.0..theory + 5.0).contains(&spur), "{spur} dBc");
}
