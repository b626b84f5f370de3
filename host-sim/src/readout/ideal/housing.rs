//! Housing of the twin: a rigid mass between its electrodes, with full rotations.

use crate::instrument::Sensor;
use crate::instrument::design::{housing, rest_capacitance};
use crate::instrument::file::{ElectrodeFile, Role};
use nalgebra::{Rotation3, Vector3};

/// Where the mass is.
#[derive(Debug, Clone, Copy)]
pub struct Place {
    translation: Vector3<f64>,
    rotation: Rotation3<f64>,
}

impl Place {
    /// At rest.
    pub const REST: Self = Self {
        translation: Vector3::new(0.0, 0.0, 0.0),
        rotation: Rotation3::from_matrix_unchecked(nalgebra::Matrix3::new(
            1.0, 0.0, 0.0, 0.0, 1.0, 0.0, 0.0, 0.0, 1.0,
        )),
    };

    /// From values of the axes with these indices; the rotations are one vector.
    #[must_use]
    pub fn new(axes: &[usize], values: &[f64]) -> Self {
        let mut q = [0.0; 6];
        axes.iter().zip(values).for_each(|(axis, value)| q[*axis] = *value);
        Self {
            translation: Vector3::new(q[0], q[1], q[2]),
            rotation: Rotation3::from_scaled_axis(Vector3::new(q[3], q[4], q[5])),
        }
    }
}

#[derive(Debug, Clone)]
struct Plate {
    gap_m: f64,
    centre: Vector3<f64>,
    normal: Vector3<f64>,
    half_sides: [Vector3<f64>; 2],
    total_share: f64,
    drive_share: f64,
    rest_f: f64,
}

/// All electrodes that the axes move, those of bridge b at 2 b and 2 b + 1.
#[derive(Debug, Clone)]
pub struct Housing {
    plates: Vec<Plate>,
}

/// Electrodes 1 and 2 of a bridge at a place: shares of the pair's capacitance at rest times what tilt
/// does, gaps at rest and gaps but for the bridge's own displacement.
#[derive(Debug, Clone, Copy)]
pub struct Pair {
    weights: [f64; 2],
    rest_m: [f64; 2],
    gaps_m: [f64; 2],
}

impl Pair {
    /// C1 and C2 over C01 + C02, displaced by `x` towards electrode 1.
    #[must_use]
    pub fn capacitances(&self, x: f64) -> [f64; 2] {
        let [g1, g2] = self.gaps_m;
        [self.weights[0] * self.rest_m[0] / (g1 - x), self.weights[1] * self.rest_m[1] / (g2 + x)]
    }
}

impl Housing {
    /// Of a sensor.
    #[must_use]
    pub fn new(sensor: &Sensor) -> Self {
        let corrects = sensor.file.mass.correct_polarisation;
        let share =
            |e: &ElectrodeFile, of: f64| if corrects { rest_capacitance(e) / of } else { 0.0 };
        let plates = housing(&sensor.file)
            .into_iter()
            .map(|e| {
                let (normal, along) = (Vector3::from(e.normal), Vector3::from(e.width_axis));
                let height_m = e.area_m2 / e.width_m;
                Plate {
                    gap_m: e.gap_m,
                    centre: Vector3::from(e.position_m),
                    normal,
                    half_sides: [
                        along * (e.width_m / 2.0),
                        normal.cross(&along) * (height_m / 2.0),
                    ],
                    total_share: share(e, sensor.design.total_f),
                    drive_share: if e.role == Role::Inject {
                        share(e, sensor.design.injection_f)
                    } else {
                        0.0
                    },
                    rest_f: rest_capacitance(e),
                }
            })
            .collect();
        Self { plates }
    }

    /// The pair of bridge `b`, whose axes give it the displacement `own_m`.
    #[must_use]
    pub fn pair(&self, b: usize, place: &Place, own_m: f64) -> Pair {
        let plates = [&self.plates[2 * b], &self.plates[2 * b + 1]];
        let sum: f64 = plates.iter().map(|p| p.rest_f).sum();
        let seen = plates.map(|plate| plate.seen(place));
        Pair {
            weights: [0, 1].map(|k| plates[k].rest_f / sum * seen[k].1),
            rest_m: plates.map(|plate| plate.gap_m),
            gaps_m: [seen[0].0 + own_m, seen[1].0 - own_m],
        }
    }

    /// Carrier on the mass at rest over now.
    #[must_use]
    pub fn polarisation(&self, place: &Place) -> f64 {
        let (mut total, mut drive) = (1.0, 1.0);
        for plate in &self.plates {
            let (gap_m, tilt) = plate.seen(place);
            let rise = plate.gap_m / gap_m * tilt - 1.0;
            total += plate.total_share * rise;
            drive += plate.drive_share * rise;
        }
        total / drive
    }
}

impl Plate {
    /// Gap at the centre, and what tilt does to the capacitance.
    fn seen(&self, place: &Place) -> (f64, f64) {
        let facing = place.rotation * self.normal;
        // Opposite the electrode's centre, on the mass.
        let face = place.rotation * (self.centre - self.normal * self.gap_m) + place.translation;
        let gap_m = (self.centre - face).dot(&facing) / self.normal.dot(&facing);
        let gap_m = gap_m.max(1e-3 * self.gap_m);
        let [a, b] =
            self.half_sides.map(|side| side.dot(&facing) / self.normal.dot(&facing) / gap_m);
        (gap_m, tilt_factor(a, b))
    }
}

/// Mean of 1/(1 - a s - b v) over s, v from -1 to 1: the sum of the mean even powers of a s + b v.
fn tilt_factor(a: f64, b: f64) -> f64 {
    let (plus, minus) = ((a + b) * (a + b), (a - b) * (a - b));
    let (mut sum, mut power, mut total) = (1.0, 1.0, 0.0);
    for n in 0..200 {
        let term = sum / f64::from((2 * n + 1) * (n + 1));
        total += term;
        if term < 1e-18 {
            break;
        }
        power *= minus;
        sum = sum * plus + power;
    }
    total
}
