//! **Faults** of what comes from the converter.

quietgap_core::named_set! {
    /// A set of faults.
    Faults,
    /// None.
    NONE, is_none;
    /// Samples are missing.
    0 MISSED "missed";
    /// Samples came twice.
    1 REPEATED "repeated";
    /// Blocks were lost as nobody took the ones before.
    2 LATE "late";
    /// The converter's clock does not keep to the board's.
    3 CLOCK "clock";
    /// A frame's check was another one, or its status not good.
    4 FRAME "frame";
    /// A channel's code stands still.
    5 STUCK "stuck";
    /// A channel moves less than its own noise.
    6 SILENT "silent";
    /// Two channels carry one signal.
    7 SHORTED "shorted";
    /// Channels have changed places.
    8 SWAPPED "swapped";
    /// The carrier in a channel is not what it was.
    9 JUMPED "jumped";
}
