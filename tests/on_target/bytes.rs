//! A case as the image reads it.

use super::Case;
use quietgap_core::config::*;

impl Case {
    /// As the image reads it.
    pub fn to_bytes(&self) -> Vec<u8> {
        let mut words: Vec<i64> = vec![
            self.kind,
            self.seed as i64,
            self.frames as i64,
            self.repeats as i64,
            self.cuts.into(),
            self.noise_bits.into(),
            self.tone.len() as i64,
        ];
        words.extend(self.tone.iter().map(|t| i64::from(*t)));
        let s = &self.settings;
        let front = &s.front_end;
        words.extend([i64::from(s.code_bits), self.carrier.0 as i64, self.carrier.1.into()]);
        words.extend([i64::from(front.order), front.ratio.into(), front.differential_delay.into()]);
        words.extend([front.path as i64, front.pruned_bits.into()]);
        words.push(s.firs.len() as i64);
        for (ratio, scale, taps) in &s.firs {
            words.extend([i64::from(*ratio), (*scale).into(), taps.len() as i64]);
            words.extend(taps.iter().map(|t| i64::from(*t)));
        }
        words.push(s.alignments.len() as i64);
        for a in &s.alignments {
            words.extend([a.cosine.to_bits(), a.sine.to_bits()]);
        }
        words.push(s.monitor.is_some().into());
        if let Some(m) = &s.monitor {
            words.extend([
                m.channel.into(),
                m.calibration.to_bits(),
                m.weak.to_bits(),
                m.lost.to_bits(),
                m.phase.to_bits(),
            ]);
        }
        words.push(s.bridges.len() as i64);
        for b in &s.bridges {
            match b.kind {
                BridgeKind::Difference { channel, full } => {
                    words.extend([0, channel.into(), full.to_bits()]);
                }
                BridgeKind::Separate { channels, least_sum } => {
                    let [a, b] = channels.map(i64::from);
                    words.extend([1, a, b, least_sum.to_bits()]);
                }
            }
            words.extend([b.strays, b.weights, b.gaps].as_flattened().iter().map(|f| f.to_bits()));
            words.extend([b.gap_am, b.offset_am]);
            words.extend([b.range, b.quadrature, b.phase, b.floor].map(|f| f.to_bits()));
        }
        words.push(s.cross_coupling.len() as i64);
        words.extend(s.cross_coupling.iter().map(|share| share.to_bits()));
        words.push(s.electrodes.len() as i64);
        for e in &s.electrodes {
            words.push(e.gap_am);
            words.extend(e.position_am);
            words.extend(e.normal.map(|part| part.to_bits()));
            words.extend(e.half_sides.as_flattened().iter().map(|part| i64::from(part.to_bits())));
            words.extend([e.total_share, e.drive_share].map(|share| share.to_bits()));
        }
        words.push(s.axes.into());
        for matrix in [&s.solve, &s.geometry] {
            words.push(matrix.len() as i64);
            words.extend(matrix.iter().map(|c| c.to_bits()));
        }
        words.push(s.residual_am);
        words.iter().flat_map(|word| word.to_le_bytes()).collect()
    }
}
