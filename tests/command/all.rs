//! The command line from outside: one program, so that what is slow in one part runs beside the others.

mod analysis;
mod bench;
mod calibrate;
mod commands;
mod cycles;
mod experiments;
mod filter;
mod line;
mod low_delay;
mod recorded;
mod refuses_bad_input;
mod streams;
mod telemetry;
mod two_sensors;
