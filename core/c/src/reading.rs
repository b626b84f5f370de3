//! What a reading is, laid out for C.

use quietgap_core::config::{MAX_AXES, MAX_BRIDGES};
use quietgap_core::{Health, HealthCounts};
use quietgap_telemetry::message;

/// Most axes of a reading.
pub const QUIETGAP_AXES: usize = 6;
/// Most bridges of a reading.
pub const QUIETGAP_BRIDGES: usize = 12;
/// Faults that a reading may have.
pub const QUIETGAP_FAULTS: usize = 13;

const _: () = assert!(QUIETGAP_AXES == MAX_AXES && QUIETGAP_BRIDGES == MAX_BRIDGES);
const _: () = assert!(QUIETGAP_FAULTS == Health::NAMES.len());

/// One reading.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[repr(C)]
#[allow(non_camel_case_types)]
pub struct quietgap_reading {
    /// Instant, in half sample periods since sample 0.
    pub half_samples: i64,
    /// Translations in attometres, rotations in attoradians; as many as `axis_count`.
    pub axes: [i64; QUIETGAP_AXES],
    /// Quadrature of each bridge, parts of 2^62; as many as `bridge_count`.
    pub quadratures: [i64; QUIETGAP_BRIDGES],
    /// Largest disagreement of a bridge with the axes, attometres.
    pub residual_am: i64,
    /// Monitor at calibration over monitor now, parts of 2^58.
    pub monitor_ratio: i64,
    /// Bit c: channel c was over range.
    pub over_range_channels: u32,
    /// Faults: none is 0. Bits, from the lowest: over range, carrier lost, carrier weak, quadrature, bridge range, axes
    /// residual, settling, saturated, memory, carrier phase, unsettled, silent, acquisition.
    pub health: u16,
    /// Axes that there are.
    pub axis_count: u8,
    /// Bridges that there are.
    pub bridge_count: u8,
}

impl From<&message::Reading> for quietgap_reading {
    fn from(r: &message::Reading) -> Self {
        let mut reading = Self {
            half_samples: r.half_samples,
            residual_am: r.residual_am,
            monitor_ratio: r.monitor_ratio,
            over_range_channels: r.over_range_channels,
            health: r.health,
            axis_count: r.axes.len() as u8,
            bridge_count: r.quadratures.len() as u8,
            ..Self::default()
        };
        reading.axes.iter_mut().zip(&r.axes).for_each(|(to, from)| *to = *from);
        reading.quadratures.iter_mut().zip(&r.quadratures).for_each(|(to, from)| *to = *from);
        reading
    }
}

impl quietgap_reading {
    /// As telemetry has it.
    pub(crate) fn message(&self) -> message::Reading {
        let mut reading = message::Reading {
            half_samples: self.half_samples,
            residual_am: self.residual_am,
            monitor_ratio: self.monitor_ratio,
            over_range_channels: self.over_range_channels,
            health: self.health,
            ..message::Reading::default()
        };
        for axis in self.axes.iter().take(self.axis_count.into()) {
            let _ = reading.axes.push(*axis);
        }
        for quadrature in self.quadratures.iter().take(self.bridge_count.into()) {
            let _ = reading.quadratures.push(*quadrature);
        }
        reading
    }
}

/// Readings and faults so far.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[repr(C)]
#[allow(non_camel_case_types)]
pub struct quietgap_counts {
    /// Readings.
    pub readings: u64,
    /// Readings with each fault, in the order of their bits.
    pub faults: [u64; QUIETGAP_FAULTS],
}

impl From<&HealthCounts> for quietgap_counts {
    fn from(counts: &HealthCounts) -> Self {
        let mut all = Self { readings: counts.readings(), ..Self::default() };
        all.faults.iter_mut().zip(counts.faults()).for_each(|(to, (_, from))| *to = from);
        all
    }
}
