//! Simulator, f64 twin and checks of the quietgap readout chain; the `quietgap` command is
//! a thin layer over this library.
//!
//! In the order of a run: a [`sensor`] (file or built in) moves by a [`motion`] (the demo's own
//! is the [`scenario`]); the [`plant`] turns it into converter codes, or a [`capture`] holds them;
//! the [`chain`] runs the core over them, [`ideal`] the f64 twin; [`run`] pairs the two,
//! [`demodulate`] only writes [`readings`]; [`verify`] judges by the [`limits`], with [`spectrum`]
//! for densities, and [`report`] shows it. [`cycles`] tells what a plan costs on a board, [`filter`]
//! designs and proves plans. [`commands`] are the command line.

pub mod capture;
pub mod chain;
pub mod commands;
pub mod cycles;
pub mod demodulate;
pub mod error;
pub mod filter;
pub mod ideal;
pub mod limits;
pub mod motion;
pub mod output;
pub mod plant;
pub mod readings;
pub mod report;
pub mod run;
pub mod scenario;
pub mod sensor;
pub mod spectrum;
pub mod verify;
