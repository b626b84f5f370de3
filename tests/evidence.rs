//! All evidence on the whole, one program: forty programs took longer to make than most of them to run. One file of it:
//! `cargo test --test evidence NAME::`, its sweeps with `-- --ignored` behind.

mod attribution;
mod c_programs;
mod calibration;
mod carrier_spectrum;
mod cycles;
mod dependencies;
mod end_to_end;
mod events;
mod fault_matrix;
mod faults;
mod filter_compare;
mod filter_designs;
mod filter_export;
mod filter_least;
mod filter_response;
mod filter_specs;
mod footprint;
mod generated_is_current;
mod interferometer;
mod noise_figure;
mod on_target;
mod outside_attribution;
mod outside_converter;
mod outside_densities;
mod outside_design;
mod outside_fir;
mod outside_housing;
mod outside_physics;
mod outside_pruning;
mod outside_spectra;
mod outside_stability;
mod pendulum;
mod pieces;
mod separation;
mod watch_proof;

// What several of them use.
#[path = "on_target/build.rs"]
mod build;
#[path = "on_target/cases.rs"]
mod cases;
#[path = "../benches/cortex-m/src/digest.rs"]
mod digest;
#[path = "on_target/emulator.rs"]
mod emulator;
#[path = "outside_housing/forward.rs"]
mod forward;
#[path = "on_target/log.rs"]
mod logged;
#[path = "interferometer/normal.rs"]
mod normal;
#[path = "on_target/orders.rs"]
mod orders;
#[path = "../benches/cortex-m/src/source.rs"]
mod source;
#[path = "filter/specs.rs"]
mod specs;
