//! **Quadrature**: Gauss-Legendre nodes, for integrals over bands.

/// Eight nodes on -1 to 1, the positive ones, with their weights (Abramowitz and Stegun, table 25.4,
/// recalled).
const NODES: [(f64, f64); 4] = [
    (0.183_434_642_495_649_8, 0.362_683_783_378_362),
    (0.525_532_409_916_329, 0.313_706_645_877_887_3),
    (0.796_666_477_413_626_7, 0.222_381_034_453_374_48),
    (0.960_289_856_497_536_2, 0.101_228_536_290_376_26),
];

/// Nodes and weights of `count` equal panels over `low` to `high`.
#[must_use]
pub fn panels(low: f64, high: f64, count: usize) -> Vec<(f64, f64)> {
    let width = (high - low) / count as f64;
    let panel = |n: usize| {
        let middle = low + width * (n as f64 + 0.5);
        NODES.iter().flat_map(move |(x, w)| {
            [-1.0, 1.0].map(|sign| (middle + sign * x * width / 2.0, w * width / 2.0))
        })
    };
    (0..count).flat_map(panel).collect()
}
