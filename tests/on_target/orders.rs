//! Plans of every order of the CIC, with and without pruning, for the image that holds a front end
//! sized for each.

use crate::cases::sized::Sized;
use crate::cases::{Case, carrier};
use quietgap_core::front_end::{FrontEndPlan, folding};
use quietgap_core::section::Sections;
use quietgap_core::word::{Pruned, Register};

/// Kind less a hundred times the order, channels, carrier period (zero: not coherent), columns of a
/// channel, whether it prunes: as the image has them.
const SHAPES: [(i64, usize, u32, u32, bool); 17] = [
    (0, 1, 10, 5, false),
    (1, 2, 10, 5, false),
    (2, 3, 10, 5, false),
    (3, 6, 4, 2, false),
    (4, 6, 12, 6, false),
    (5, 1, 10, 20, false),
    (6, 2, 10, 20, false),
    (7, 6, 10, 20, false),
    (8, 3, 10, 40, false),
    (10, 2, 0, 0, false),
    (11, 4, 0, 0, false),
    (12, 7, 0, 0, false),
    (20, 2, 10, 5, true),
    (21, 6, 10, 5, true),
    (22, 4, 0, 0, true),
    (CHAIN, 2, 10, 20, false),
    (CHAIN + 1, 6, 10, 5, true),
];
/// From here on with all that stands behind the front end.
const CHAIN: i64 = 30;
const STAGES: &[(u16, usize)] = &[(8, 40)];

/// Some of all the plans that an image's front end takes: to fit the counts to, or, all others, to
/// `check` the fit with.
pub fn plans(check: bool) -> Vec<Case> {
    let mut cases = Vec::new();
    for order in 1..=6 {
        for (kind, channels, period, columns, prunes) in SHAPES {
            let chain = kind >= CHAIN;
            let kind = i64::from(order) * 100 + kind;
            let mut plans = Vec::new();
            for code_bits in [24, 20, 16, 12, 10] {
                for ratio in [24, 40, 60, 80, 100, 120, 150, 160, 200, 240, 320, 400, 480, 640] {
                    let sized = |pruned_bits| Sized {
                        kind,
                        channels,
                        period,
                        order,
                        ratio,
                        delay: 1,
                        code_bits,
                        pruned_bits,
                        stages: STAGES,
                    };
                    let pruned: &[u8] = if prunes { &[6, 12, 20, 28] } else { &[0] };
                    plans.extend(
                        pruned.iter().map(|bits| sized(*bits)).find(|plan| fits(plan, columns)),
                    );
                }
            }
            // One of four to check with, all others to fit to.
            let step = plans.len().div_ceil(10).max(1);
            let some = plans.iter().step_by(step).enumerate();
            let some = some.filter(|(n, _)| (n % 4 == 1) == check && (check || !chain));
            cases.extend(some.map(|(_, plan)| plan.case()));
        }
    }
    cases
}

/// Whether the image's front end takes a plan.
fn fits(plan: &Sized, columns: u32) -> bool {
    let (front, carrier) = (plan.front_end(), carrier(plan.raw_carrier()));
    let folded = folding(carrier, front, plan.code_bits.into());
    folded.map_or(0, |folding| folding.columns) == columns
        && usize::from(plan.ratio) * plan.channels <= 8192
        && if plan.pruned_bits > 0 { taken::<Pruned>(plan) } else { taken::<i64>(plan) }
}

fn taken<R: Register>(plan: &Sized) -> bool {
    fn by<R: Register, const N: usize>(plan: &Sized) -> bool {
        let (front, carrier) = (plan.front_end(), carrier(plan.raw_carrier()));
        let bits = plan.code_bits.into();
        FrontEndPlan::<N, 8, Sections>::new::<R>(carrier, front, plan.channels, bits).is_ok()
    }
    match plan.order {
        1 => by::<R, 1>(plan),
        2 => by::<R, 2>(plan),
        3 => by::<R, 3>(plan),
        4 => by::<R, 4>(plan),
        5 => by::<R, 5>(plan),
        _ => by::<R, 6>(plan),
    }
}
