//! **Geometry**: phases to displacements, displacements of beams to axes.

use crate::instrument::AXES;
use crate::instrument::file::InterferometerFile;
use nalgebra::DMatrix;

/// Beams on a mass.
#[derive(Debug, Clone)]
pub struct Geometry {
    /// Axes that are solved for, indices into [`AXES`].
    pub axes: Vec<usize>,
    /// Displacement of each beam per metre or radian of each axis.
    rows: DMatrix<f64>,
    solve: DMatrix<f64>,
    /// Refractive index in the path.
    pub index: f64,
    /// Displacement per radian of phase.
    pub metres_per_radian: f64,
}

/// Largest ratio of singular values, lengths over the largest arm, at which axes can be told apart.
const WORST_CONDITION: f64 = 1e6;

impl Geometry {
    /// Of a section.
    ///
    /// # Errors
    /// In words: axes that the beams cannot tell apart.
    pub fn new(file: &InterferometerFile) -> Result<Self, String> {
        let axes: Vec<usize> = file
            .axes
            .iter()
            .filter_map(|name| AXES.iter().position(|(axis, ..)| axis == name))
            .collect();
        let rows = DMatrix::from_fn(file.beams.len(), axes.len(), |n, k| {
            let ([x, y, z], [u, v, w]) = (file.beams[n].position_m, file.beams[n].direction);
            [u, v, w, y * w - z * v, z * u - x * w, x * v - y * u][axes[k]]
        });
        if axes.is_empty() || axes.len() > file.beams.len() {
            return Err(format!(
                "{} axes of {} beams, allowed 1 to as many as beams",
                axes.len(),
                file.beams.len()
            ));
        }
        // Arms are lengths: rotations are weighed as the motion at the farthest beam.
        let arm =
            file.beams.iter().flat_map(|b| b.position_m).fold(1e-9, |m: f64, x| m.max(x.abs()));
        let mut weighed = rows.clone();
        for (k, axis) in axes.iter().enumerate() {
            if *axis >= 3 {
                weighed.column_mut(k).scale_mut(1.0 / arm);
            }
        }
        let values = weighed.singular_values();
        let told_apart = values.min() * WORST_CONDITION > values.max();
        if !told_apart {
            return Err("the beams cannot tell these axes apart".to_owned());
        }
        let solve = rows.clone().pseudo_inverse(0.0).map_err(str::to_owned)?;
        let index = file.air.as_ref().map_or(1.0, |air| super::air::index(air, file.wavelength_m));
        let fringe_m = file.wavelength_m / index / f64::from(file.passes);
        Ok(Self { axes, rows, solve, index, metres_per_radian: fringe_m / std::f64::consts::TAU })
    }

    /// Axes in least squares, and the largest disagreement of a beam with them.
    #[must_use]
    pub fn solve(&self, beams_m: &[f64]) -> (Vec<f64>, f64) {
        let dot = |m: &DMatrix<f64>, row: usize, x: &[f64]| -> f64 {
            x.iter().enumerate().map(|(k, x)| m[(row, k)] * x).sum()
        };
        let axes: Vec<f64> = (0..self.axes.len()).map(|a| dot(&self.solve, a, beams_m)).collect();
        let miss = |n: usize| (beams_m[n] - dot(&self.rows, n, &axes)).abs();
        let residual = (0..beams_m.len()).map(miss).fold(0.0, f64::max);
        (axes, residual)
    }

    /// Density of an axis from equal, independent densities of the beams.
    #[must_use]
    pub fn density(&self, axis: usize, beam: f64) -> f64 {
        beam * self.solve.row(axis).iter().map(|x| x * x).sum::<f64>().sqrt()
    }
}
