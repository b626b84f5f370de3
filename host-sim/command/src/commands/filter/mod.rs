//! `quietgap filter`: the workbench's commands.

mod check;
mod compare;
mod design;
mod export;

use clap::Subcommand;
use quietgap_sim::error::Result;

/// What to do with plans.
#[derive(Subcommand, Debug)]
pub enum Filter {
    /// The cheapest plan that meets a specification
    Design(design::Options),
    /// Everything a plan's integers do, judged by its mask
    Check(check::Options),
    /// A new plan beside the one in use, judged by a tolerance: gates a merge
    Compare(compare::Options),
    /// A plan as the constants that firmware compiles in
    Export(export::Options),
}

pub(super) fn run(filter: &Filter) -> Result<bool> {
    match filter {
        Filter::Design(options) => design::run(options),
        Filter::Check(options) => check::run(options),
        Filter::Compare(options) => compare::run(options),
        Filter::Export(options) => export::run(options),
    }
}
