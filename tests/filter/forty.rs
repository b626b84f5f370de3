//! Forty specifications of every sort the workbench is for, in one line each, and a few that nothing meets.

/// Name and text.
pub fn specifications() -> Vec<(&'static str, String)> {
    let text = |(name, rate, carrier, output, pass, db, into, alias, more): &Row| {
        let text = format!(
            "schema = 1\nrate_hz = {rate}\ncarrier_hz = {carrier}\noutput_rate_hz = {output}\nchannels = 6\n\
             [mask]\npass_hz = {pass}\npass_db = {db}\nalias_into_hz = {into}\nalias_db = {alias}\n{more}"
        );
        (*name, text)
    };
    ROWS.iter().map(text).collect()
}

/// Name; rate, carrier, output rate; pass band, its ripple in dB; band kept free and by how many dB; more.
type Row = (&'static str, f64, f64, f64, f64, f64, f64, f64, &'static str);

const MAINS: &str = "[[line]]\nname = \"mains\"\nfrequency_hz = 99950.0\nreject_db = 100\n\
                     [[line]]\nname = \"third\"\nfrequency_hz = 99850.0\nreject_db = 100\n";

#[rustfmt::skip]
const ROWS: [Row; 44] = [
    // Millihertz: slow readings of a quiet pendulum.
    ("10 S/s", 1e6, 1e5, 10.0, 3.0, 0.001, 4.0, 120.0, ""),
    ("10 S/s, wide", 1e6, 1e5, 10.0, 4.0, 0.01, 4.5, 100.0, ""),
    ("10 S/s, narrow", 1e6, 1e5, 10.0, 0.5, 0.01, 0.5, 100.0, ""),
    ("10 S/s, 140 dB", 1e6, 1e5, 10.0, 3.0, 0.0001, 4.0, 140.0, ""),
    ("1 S/s", 1e6, 1e5, 1.0, 0.3, 0.001, 0.4, 140.0, ""),
    ("1 S/s, narrow", 1e6, 1e5, 1.0, 0.1, 0.001, 0.1, 120.0, ""),
    ("a tenth", 1e6, 1e5, 0.1, 0.03, 0.001, 0.04, 120.0, ""),
    ("2 S/s from 800 kS/s", 8e5, 1e5, 2.0, 0.6, 0.01, 0.8, 110.0, ""),
    ("10 S/s from 800 kS/s", 8e5, 1e5, 10.0, 3.0, 0.001, 4.0, 120.0, ""),
    ("20 S/s from 2 MS/s", 2e6, 1e5, 20.0, 6.0, 0.01, 8.0, 120.0, ""),
    ("4 S/s from 500 kS/s", 5e5, 1e5, 4.0, 1.0, 0.01, 1.5, 100.0, ""),
    ("16 S/s of a power of two", 1_048_576.0, 131_072.0, 16.0, 5.0, 0.01, 6.0, 110.0, ""),
    ("audio converter", 192e3, 24e3, 10.0, 3.0, 0.01, 4.0, 110.0, ""),
    // Servo: short delay.
    ("servo 10 kS/s", 1e6, 1e5, 1e4, 2000.0, 0.1, 2000.0, 60.0, "delay_s = 0.000215\n"),
    ("servo 10 kS/s, patient", 1e6, 1e5, 1e4, 2000.0, 0.1, 2000.0, 60.0, ""),
    ("servo 1 kS/s", 1e6, 1e5, 1000.0, 300.0, 0.01, 300.0, 100.0, "delay_s = 0.008\n"),
    ("servo 1 kS/s, fast", 1e6, 1e5, 1000.0, 200.0, 0.1, 200.0, 70.0, "delay_s = 0.0022\n"),
    ("servo 5 kS/s", 1e6, 1e5, 5000.0, 1000.0, 0.1, 1000.0, 80.0, "delay_s = 0.0006\n"),
    ("servo 20 kS/s", 2e6, 2e5, 2e4, 5000.0, 0.05, 5000.0, 70.0, "delay_s = 0.00013\n"),
    ("servo 500 S/s", 8e5, 1e5, 500.0, 100.0, 0.05, 120.0, 80.0, "delay_s = 0.0055\n"),
    ("100 S/s", 1e6, 1e5, 100.0, 30.0, 0.01, 40.0, 100.0, ""),
    ("100 S/s, delay", 1e6, 1e5, 100.0, 20.0, 0.05, 30.0, 80.0, "delay_s = 0.03\n"),
    ("50 S/s", 8e5, 8e4, 50.0, 10.0, 0.01, 12.0, 120.0, ""),
    // Mains lines beside the carrier.
    ("mains, 10 S/s", 1e6, 1e5, 10.0, 3.0, 0.01, 4.0, 80.0, MAINS),
    ("mains, 100 S/s", 1e6, 1e5, 100.0, 20.0, 0.01, 30.0, 70.0, MAINS),
    ("mains, 20 S/s", 8e5, 1e5, 20.0, 5.0, 0.01, 6.0, 90.0, MAINS),
    ("mains, 1 S/s", 1e6, 1e5, 1.0, 0.3, 0.01, 0.4, 90.0, MAINS),
    // Prime ratios.
    ("7 x 11 x 13", 1_001_000.0, 91_000.0, 1000.0, 300.0, 0.01, 350.0, 90.0, ""),
    ("31", 310e3, 31e3, 1e4, 2000.0, 0.1, 2500.0, 70.0, ""),
    ("97", 97e4, 1e5, 1e4, 3000.0, 0.05, 3000.0, 60.0, ""),
    ("2 x 61", 1.22e6, 122e3, 1e4, 2500.0, 0.05, 3000.0, 80.0, ""),
    ("3 x 7 x 37", 777e3, 77_700.0, 1000.0, 250.0, 0.02, 300.0, 90.0, ""),
    ("1009", 1.009e6, 100_900.0, 1000.0, 200.0, 0.05, 250.0, 80.0, ""),
    // Four samples a carrier period.
    ("quarter rate, 5 S/s", 320e3, 80e3, 5.0, 1.5, 0.001, 2.0, 120.0, ""),
    ("quarter rate, 10 S/s", 4e5, 1e5, 10.0, 3.0, 0.01, 4.0, 100.0, ""),
    ("quarter rate, 1 kS/s", 4e5, 1e5, 1000.0, 300.0, 0.01, 350.0, 90.0, ""),
    ("quarter rate, 16 S/s", 262_144.0, 65_536.0, 16.0, 4.0, 0.01, 5.0, 110.0, ""),
    // Carriers that do not fold, few and odd ratios.
    ("not coherent, 10 S/s", 1e6, 97_310.5, 10.0, 3.0, 0.001, 4.0, 120.0, ""),
    ("not coherent, 1 kS/s", 8e5, 77_310.5, 1000.0, 250.0, 0.01, 300.0, 90.0, ""),
    ("by 12", 1e6, 25e4, 1e6 / 12.0, 1e4, 0.05, 1e4, 80.0, ""),
    // Nothing meets these: too fast for the bands, or more than taps and words can.
    ("servo in no time", 1e6, 1e5, 1e4, 3000.0, 0.1, 3000.0, 80.0, "delay_s = 0.00012\n"),
    ("servo a little too fast", 1e6, 1e5, 1000.0, 300.0, 0.01, 300.0, 100.0, "delay_s = 0.0024\n"),
    ("cheaper than a read", 1e6, 1e5, 10.0, 3.0, 0.001, 4.0, 120.0, "instructions_per_sample = 2.0\n"),
    ("one order", 1e6, 1e5, 10.0, 3.0, 0.001, 4.0, 150.0, ""),
];
