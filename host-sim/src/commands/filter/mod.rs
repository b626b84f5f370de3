//! `quietgap filter`: the workbench's commands.

mod design;

use crate::error::Result;
use clap::Subcommand;

/// What to do with plans.
#[derive(Subcommand, Debug)]
pub enum Filter {
    /// The cheapest plan that meets a specification
    Design(design::Options),
}

pub(super) fn run(filter: &Filter) -> Result<bool> {
    match filter {
        Filter::Design(options) => design::run(options),
    }
}
