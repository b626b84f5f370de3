//! Evidence that needs the core alone and takes no time, one program; what must agree to the last bit is `bit_exact`.

mod carrier;
mod fringe;
mod outside_cic;
mod promises;
mod refuses_config;
mod status;
