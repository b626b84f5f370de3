//! Simulator, f64 twin, filter workbench and checks of the quietgap readout chain; the `quietgap`
//! command is a thin layer over this library.
//!
//! In the order of a job: an [`instrument`] (file or built in) moves and gives converter codes in a
//! [`simulation`]; its [`readout`] runs the core and the f64 twin over codes and judges the one by the
//! other; the [`filter`] workbench designs and proves the plan between them, [`cycles`] tells what it
//! costs on a board; its readings, and any other recorder's, are [`records`], which [`analysis`] works on; a laser [`interferometer`] may look at the same mass,
//! [`calibration`] holds the bridges against a reference, and [`separation`] tells the noise of the one from that of the other; what the mass hangs from is a [`pendulum`],
//! and the [`budget`] says where the noise comes from; a [`campaign`] is a list of such work. Files are read and [`output`]
//! appears whole or not at all; pages and the command line are the command's own (`host-sim/command`).

pub mod analysis;
pub mod attribution;
pub mod budget;
pub mod calibration;
pub mod campaign;
pub mod cycles;
pub mod error;
pub mod events;
pub mod filter;
pub mod instrument;
pub mod interferometer;
pub mod modulation;
pub mod output;
pub mod pendulum;
pub mod readout;
pub mod records;
pub mod separation;
pub mod simulation;
pub mod telemetry;
