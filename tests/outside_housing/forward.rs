//! A forward model that shares nothing with the project: a rigid mass between plates, from the equations.
//!
//! Rotation by a unit quaternion; the gap along the electrode's normal from each of its points to the
//! turned and moved face; capacitance by Gauss-Legendre quadrature of eps0 dA/gap over the electrode
//! (Abramowitz and Stegun 25.4.30, eight points a side, nodes and weights of table 25.4); carrier on
//! the mass by the capacitive divider. eps0: CODATA 2022.

pub const EPS0: f64 = 8.854_187_818_8e-12;

pub type V3 = [f64; 3];

pub fn add(a: V3, b: V3) -> V3 {
    [a[0] + b[0], a[1] + b[1], a[2] + b[2]]
}
pub fn scale(a: V3, k: f64) -> V3 {
    a.map(|x| x * k)
}
pub fn dot(a: V3, b: V3) -> f64 {
    a[0] * b[0] + a[1] * b[1] + a[2] * b[2]
}
pub fn cross(a: V3, b: V3) -> V3 {
    [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]]
}

/// v turned by the rotation vector r.
fn turn(r: V3, v: V3) -> V3 {
    let angle = dot(r, r).sqrt();
    // sin(angle/2)/angle.
    let s = if angle < 1e-8 { 0.5 } else { (angle / 2.0).sin() / angle };
    let (w, q) = ((angle / 2.0).cos(), scale(r, s));
    let t = scale(cross(q, v), 2.0);
    add(add(v, scale(t, w)), cross(q, t))
}

/// A rectangle that faces the mass.
#[derive(Clone, Debug)]
pub struct Plate {
    pub name: String,
    pub injects: bool,
    pub centre: V3,
    pub normal: V3,
    pub along: V3,
    pub sides: [f64; 2],
    pub gap: f64,
}

const NODES: [f64; 4] = [
    0.183_434_642_495_649_8,
    0.525_532_409_916_329,
    0.796_666_477_413_626_7,
    0.960_289_856_497_536_3,
];
const WEIGHTS: [f64; 4] = [
    0.362_683_783_378_362,
    0.313_706_645_877_887_3,
    0.222_381_034_453_374_48,
    0.101_228_536_290_376_26,
];

impl Plate {
    pub fn capacitance(&self, q: [f64; 6]) -> f64 {
        let (t, r) = ([q[0], q[1], q[2]], [q[3], q[4], q[5]]);
        let across = cross(self.normal, self.along);
        // A point of the mass's face, and the direction that the face looks.
        let face = add(turn(r, add(self.centre, scale(self.normal, -self.gap))), t);
        let looks = turn(r, self.normal);
        let gap = |s: f64, v: f64| {
            let point = add(
                self.centre,
                add(
                    scale(self.along, s * self.sides[0] / 2.0),
                    scale(across, v * self.sides[1] / 2.0),
                ),
            );
            // point - g n lies in the face.
            dot(add(point, scale(face, -1.0)), looks) / dot(self.normal, looks)
        };
        let nodes: Vec<(f64, f64)> =
            NODES.iter().zip(WEIGHTS).flat_map(|(x, w)| [(*x, w), (-*x, w)]).collect();
        let mut mean = 0.0;
        for (s, ws) in &nodes {
            for (v, wv) in &nodes {
                mean += ws * wv / 4.0 / gap(*s, *v);
            }
        }
        EPS0 * self.sides[0] * self.sides[1] * mean
    }

    pub fn toml(&self) -> String {
        format!(
            "[[electrode]]\nname = \"{}\"\nrole = \"{}\"\narea_m2 = {:e}\nwidth_m = {:e}\nwidth_axis = {:?}\n\
             gap_m = {:e}\nposition_m = {:?}\nnormal = {:?}\n",
            self.name,
            if self.injects { "inject" } else { "sense" },
            self.sides[0] * self.sides[1],
            self.sides[0],
            self.along,
            self.gap,
            self.centre,
            self.normal,
        )
    }
}

/// A housing of six pairs and six injection electrodes, no two electrodes alike.
#[derive(Clone, Debug)]
pub struct Bench {
    /// Electrodes 1 and 2 of each pair, in turn, then the injection.
    pub plates: Vec<Plate>,
    pub strays: Vec<[f64; 2]>,
    pub mass_stray: f64,
}

impl Bench {
    pub fn new(unequal: bool) -> Self {
        let off = |k: usize| if unequal { ((k * 7 % 11) as f64 - 5.0) / 5.0 } else { 0.0 };
        let mut plates = Vec::new();
        let mut n = 0;
        for axis in 0..3 {
            let unit = |k: usize, size: f64| {
                let mut v = [0.0; 3];
                v[k % 3] = size;
                v
            };
            for (arm, label) in [(0.022, "a"), (-0.022, "b"), (0.0, "drive")] {
                for sign in [1.0, -1.0] {
                    n += 1;
                    let spoil = off(n);
                    let centre = add(
                        unit(axis, sign * (0.018 + 2e-4 * off(n + 3))),
                        add(
                            unit(axis + 1, arm * (1.0 + 0.06 * spoil)),
                            unit(axis + 2, 3e-4 * off(n + 5)),
                        ),
                    );
                    plates.push(Plate {
                        name: format!("{axis}{label}{sign}"),
                        injects: label == "drive",
                        centre,
                        normal: unit(axis, sign),
                        along: unit(axis + 1, 1.0),
                        sides: [
                            0.016 * (1.0 + 0.04 * off(n + 1)),
                            0.024 * (1.0 - 0.03 * off(n + 2)),
                        ],
                        gap: 2.0e-3 * (1.0 + 0.05 * off(n + 4)),
                    });
                }
            }
        }
        plates.sort_by_key(|p| p.injects);
        let strays = (0..6)
            .map(|k| if unequal { [1e-12 + 1e-13 * k as f64, 0.7e-12] } else { [1e-12; 2] })
            .collect();
        Self { plates, strays, mass_stray: 3e-12 }
    }

    /// Share of pair `j` in what the difference bridge of pair `b` says, both over their own capacitance at rest.
    pub fn share(b: usize, j: usize) -> f64 {
        if b == j { 0.0 } else { 0.004 * ((5 * b + 3 * j) % 7) as f64 - 0.011 }
    }

    /// Differences of pairs, each with its shares of the others.
    pub fn coupled(&self, pairs: &[[f64; 2]]) -> Vec<f64> {
        let flat = |p: &Plate| p.sides[0] * p.sides[1] / p.gap;
        let rest = |b: usize| flat(&self.plates[2 * b]) + flat(&self.plates[2 * b + 1]);
        let balance = |b: usize| (pairs[b][0] - pairs[b][1]) / rest(b);
        let said = |b: usize| (0..pairs.len()).map(|j| Self::share(b, j) * balance(j)).sum::<f64>();
        (0..pairs.len()).map(|b| rest(b) * (balance(b) + said(b))).collect()
    }

    /// Per pair the capacitances of both electrodes, strays included, and the carrier on the mass over
    /// that at the injection electrodes.
    pub fn look(&self, q: [f64; 6]) -> (Vec<[f64; 2]>, f64) {
        let all: Vec<f64> = self.plates.iter().map(|p| p.capacitance(q)).collect();
        let injected: f64 =
            self.plates.iter().zip(&all).filter(|(p, _)| p.injects).map(|(_, c)| c).sum();
        let strays: f64 = self.strays.iter().flatten().sum();
        let total = all.iter().sum::<f64>() + strays + self.mass_stray;
        let pairs = self
            .strays
            .iter()
            .enumerate()
            .map(|(b, s)| [all[2 * b] + s[0], all[2 * b + 1] + s[1]])
            .collect();
        (pairs, injected / total)
    }
}
