//! Evidence: the coarse status figures are as coarse as they say and no coarser.

use quietgap_core::phasor::Phasor;
use quietgap_core::status::{coarse_level_db, coarse_phase_rad};
use quietgap_core::word::Word;
use std::f64::consts::{PI, TAU};

#[test]
fn coarse_figures_keep_their_limits() {
    for decade in 0..9 {
        for k in 0..3600 {
            let angle = (f64::from(k) + 0.5) * TAU / 3600.0 - PI;
            let size = 10f64.powi(-decade) * (1.0 + f64::from(k) / 3600.0);
            let phasor = Phasor {
                i: Word::from_num(size * angle.cos()),
                q: Word::from_num(size * angle.sin()),
            };
            let turn = f64::from(coarse_phase_rad(phasor)) - angle;
            let error = turn - TAU * (turn / TAU).round();
            assert!(error.abs() < 0.003, "phase at {angle}, size {size:e}: {error}");
            let error = f64::from(coarse_level_db(phasor)) - 20.0 * size.log10();
            assert!(error.abs() < 0.6, "level at {size:e}: {error} dB");
        }
    }
    assert_eq!(coarse_phase_rad(Phasor::default()), 0.0);
    assert_eq!(coarse_level_db(Phasor::default()), -240.0);
}
