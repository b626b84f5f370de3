//! Cores that images are built for.

use super::coefficients::{M4, M7};
use quietgap_core::cic::MAX_ORDER;

/// Coefficients of one core, in the order of the features.
#[derive(Debug)]
pub struct Coefficients {
    /// Of [`super::Shape::folded`], by the order of the CIC less one.
    pub folded: [[f64; 15]; MAX_ORDER],
    /// Of [`super::Shape::mixed`], the same.
    pub mixed: [[f64; 10]; MAX_ORDER],
    /// Of [`super::Shape::firs`].
    pub firs: [f64; 5],
    /// Of [`super::Shape::reading`].
    pub reading: [f64; 7],
    /// Of [`super::Shape::join`].
    pub join: [f64; 2],
    /// Of [`super::Shape::busiest`].
    pub busiest: [f64; 3],
    /// Of a code of a block that is looked at twice.
    pub look: f64,
}

/// A core that images are built for.
#[derive(Debug)]
pub struct Cpu {
    /// As on the command line.
    pub name: &'static str,
    /// Fitted coefficients.
    pub coefficients: &'static Coefficients,
    /// Cycles for an instruction.
    pub cycles_per_instruction: f64,
    /// Where that comes from.
    pub assumption: &'static str,
}

/// All cores.
pub const CPUS: [Cpu; 3] = [
    Cpu {
        name: "m4",
        coefficients: &M4,
        cycles_per_instruction: 1.25,
        assumption: "by llvm-mca 19 for cortex-m4 1.00 cycles an instruction in the folded loop, \
                     1.12 to 1.28 in what stands around it; a quarter assumed on top of one for \
                     double loads, long products and branches; no wait states",
    },
    Cpu {
        name: "m7",
        coefficients: &M7,
        cycles_per_instruction: 1.0,
        assumption: "by llvm-mca 19 for cortex-m7 0.70 to 0.75 cycles an instruction in the folded \
                     loop, 0.72 to 0.86 in what stands around it (two issued at once, but for \
                     long products that wait for one sum); a third as much again assumed for \
                     branches; code and data in tightly coupled memory",
    },
    Cpu {
        name: "m33",
        // Fitted to its own counts they are the same to a hundredth.
        coefficients: &M4,
        cycles_per_instruction: 1.25,
        assumption: "llvm-mca 19 has no cortex-m33: the M4's 1.25 assumed; no wait states",
    },
];

/// The core of a name, or the names there are.
///
/// # Errors
/// All names, for a message.
pub fn cpu(name: &str) -> Result<&'static Cpu, String> {
    let names = || CPUS.map(|cpu| cpu.name).join(", ");
    CPUS.iter().find(|cpu| cpu.name == name).ok_or_else(names)
}
