//! Capacitance of plate electrodes before a rigid mass: exact for parallel plates, closed form for
//! tilted ones.
//!
//! Field lines run straight along the electrode's normal, and the face of the mass reaches beyond the
//! electrode. Edge fields and guard rings are not modelled; see `docs/sensor-model.md`.

use crate::instrument::file::ElectrodeFile;
use nalgebra::{Rotation3, Vector3};

/// Electric constant, F/m. Source: CODATA 2022.
const EPS0: f64 = 8.854_187_818_8e-12;

/// Where a rigid mass is: turned about its centre by the vector (theta, eta, phi), then moved.
#[derive(Debug, Clone, Copy)]
pub struct Pose {
    rotation: Rotation3<f64>,
    translation: Vector3<f64>,
}

impl Pose {
    /// From x, y, z, theta, eta, phi.
    #[must_use]
    pub fn new(q: [f64; 6]) -> Self {
        let [x, y, z, theta, eta, phi] = q;
        Self {
            rotation: Rotation3::from_scaled_axis(Vector3::new(theta, eta, phi)),
            translation: Vector3::new(x, y, z),
        }
    }

    /// Where a point of the mass is now.
    fn moved(&self, point: &Vector3<f64>) -> Vector3<f64> {
        self.rotation * point + self.translation
    }
}

/// An electrode with what its capacitance needs.
#[derive(Debug, Clone)]
pub struct Electrode {
    area_m2: f64,
    gap_m: f64,
    centre: Vector3<f64>,
    normal: Vector3<f64>,
    /// Middles of two sides that meet, from the centre.
    edges: [Vector3<f64>; 2],
    /// The point of the mass's face that is before the centre at rest.
    face: Vector3<f64>,
}

impl Electrode {
    /// From the sensor file.
    #[must_use]
    pub fn new(file: &ElectrodeFile) -> Self {
        let (normal, along) = (Vector3::from(file.normal), Vector3::from(file.width_axis));
        let centre = Vector3::from(file.position_m);
        Self {
            area_m2: file.area_m2,
            gap_m: file.gap_m,
            centre,
            normal,
            face: centre - normal * file.gap_m,
            edges: [
                along * (file.width_m / 2.0),
                normal.cross(&along) * (file.area_m2 / file.width_m / 2.0),
            ],
        }
    }

    /// Capacitance at a pose of the mass; `tilted` off takes the plates as parallel.
    ///
    /// Stops at a gap of 1e-6 of the nominal one: the mass has touched.
    #[must_use]
    pub fn capacitance(&self, pose: &Pose, tilted: bool) -> f64 {
        // The face is as the mass turns it: parallel to the electrode at rest.
        let facing = pose.rotation * self.normal;
        let along = self.normal.dot(&facing);
        // Along the normal from the electrode's centre to the face's plane.
        let middle = (self.centre - pose.moved(&self.face)).dot(&facing) / along;
        let held = middle.max(1e-6 * self.gap_m);
        let flat = EPS0 * self.area_m2 / held;
        if !tilted {
            return flat;
        }
        let [a, b] = self.edges.map(|edge| edge.dot(&facing) / along / held);
        flat * tilt_factor(a, b)
    }
}

/// Mean of 1/(1 - a s - b t) over s, t from -1 to 1: what tilt does to a capacitance, a and b
/// being the gap's change from centre to edge over the gap.
///
/// One tilt: atanh(a)/a, the logarithm of the wedge. Two: the closed form in z ln z, or its
/// series where the closed form would cancel; both to 1e-13.
#[must_use]
pub fn tilt_factor(a: f64, b: f64) -> f64 {
    let (a, b) = (a.abs().max(b.abs()), a.abs().min(b.abs()));
    if a + b > 0.999_999 {
        return tilt_factor(a * 0.999_998 / (a + b), b * 0.999_998 / (a + b));
    }
    if b < 0.02 && a < 0.02 {
        // sum over even n of E[(a s + b t)^n], E s^2k = 1/(2k+1): to n = 8, next term below 1e-14.
        let (x, y) = (a * a, b * b);
        let (sum, product) = (x + y, x * y);
        let squares = sum * sum - 2.0 * product;
        return 1.0
            + sum * (1.0 / 3.0)
            + squares * 0.2
            + product * (2.0 / 3.0 + sum)
            + sum * (squares - product) * (1.0 / 7.0)
            + (squares * squares - 2.0 * product * product) * (1.0 / 9.0)
            + product * (4.0 / 3.0 * squares + 2.8 * product);
    }
    if b < 1e-4 {
        // Second order in b: mean of b^2 t^2/(1 - a s)^3 = b^2/3 x 1/(1 - a^2)^2; the next is b^4.
        let y = b * b;
        let fourth = y * y / 5.0 * (1.0 + a * a) / (1.0 - a * a).powi(4);
        return a.atanh() / a + y / (3.0 * (1.0 - a * a).powi(2)) + fourth;
    }
    let f = |z: f64| z * z.ln();
    (f(1.0 + a + b) - f(1.0 + a - b) - f(1.0 - a + b) + f(1.0 - a - b)) / (4.0 * a * b)
}
