//! **Readout** of codes on a desk, in the order of a run: a [`capture`] holds codes, the [`chain`] is the
//! core over them, [`ideal`] its f64 twin; [`demodulate`] writes [`readings`], [`run`] pairs core and twin,
//! [`verify`] judges them by the [`limits`].

pub mod capture;
pub mod chain;
pub mod demodulate;
pub mod ideal;
pub mod limits;
pub mod readings;
pub mod run;
pub mod verify;
