//! **Two sensors of one motion**: the noise of the one told from that of the other.
//!
//! [`align`] brings the second to the first's times and scale: delay, clocks and gain, fitted to the motion that both see, with uncertainties; values between rows by [`crate::records::resample`].
//! [`noise`] then splits the densities: what both see is motion, what they see apart is noise.

pub mod align;
pub mod noise;
