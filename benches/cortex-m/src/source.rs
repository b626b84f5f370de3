// Codes of a golden capture, the same on board and host; the host includes this file, too.

/// Knuth's 64-bit linear congruential generator. Source: The Art of Computer Programming vol. 2,
/// 3.3.4 (multiplier and increment from memory).
#[derive(Clone, Copy, Debug)]
pub struct Source {
    state: u64,
    frame: usize,
}

impl Source {
    pub const fn new(seed: u64) -> Self {
        Self { state: seed, frame: 0 }
    }
    pub fn next(&mut self) -> u32 {
        self.state = self
            .state
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        (self.state >> 32) as u32
    }
    /// Whole frames of `channels` codes: a tone, weaker from channel to channel, and noise of
    /// `noise_bits`.
    pub fn fill(&mut self, codes: &mut [i32], channels: usize, tone: &[i32], noise_bits: u32) {
        for frame in codes.chunks_exact_mut(channels) {
            let level = tone[self.frame % tone.len()];
            self.frame += 1;
            for (channel, code) in frame.iter_mut().enumerate() {
                let noise = self.next() as i32 >> (32 - noise_bits);
                *code = level / (channel as i32 + 1) + noise;
            }
        }
    }
}
