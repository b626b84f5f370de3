//! Sensor files: values, wiring, plans; each pair the last good and the first bad.

use super::*;

const FIR: &str = "output_rate_hz = 5000.0\n";

/// One change of a sensor file: what, from, last good, first bad, at (part of the line that the
/// message must point at), words that the message must name.
type Change = (&'static str, &'static str, &'static str, &'static str, &'static [&'static str]);

/// Values that are out of range, of the wrong type or missing.
const VALUES: &[Change] = &[
    ("gap_m = 0.002", "gap_m = 0.002", "gap_m = -0.002", "gap_m", &["gap_m", "-0.002"]),
    ("gap_m = 0.002", "gap_m = 2e-3", "gap_m = 0.0", "gap_m", &["electrode[1].gap_m", "is 0"]),
    ("gap_m = 0.002", "gap_m = 0.2e-2", "gap_m = inf", "gap_m", &["gap_m", "inf", "1"]),
    ("injection_v = 5.0", "injection_v = 5.5", "injection_v = nan", "nan", &["injection_v", "NaN"]),
    ("area_m2 = 0.00048", "area_m2 = 480e-6", "area_m2 = -1.0", "area_m2", &["area_m2", "-1"]),
    ("bits = 24", "bits = 32", "bits = 33", "bits = 33", &["converter.bits", "33", "8 to 32"]),
    ("bits = 24", "bits = 8", "bits = 7", "bits = 7", &["converter.bits", "7", "8 to 32"]),
    ("bits = 24", "bits = 23", "bits = \"23\"", "bits", &["bits", "\"23\"", "u32"]),
    ("bits = 24", "bits = 23", "bits = 23.5", "bits", &["bits", "23.5", "u32"]),
    ("bits = 24", "bits = 0x18", "bits = = 24", "bits = =", &["="]),
    ("bits = 24", "bits = 24", "bits = 24\nbits = 24", "bits", &["duplicate", "bits"]),
    ("schema = 1", "schema = 1", "schema = 2", "schema", &["schema", "2", "1"]),
    (
        "name = \"vault-two-bridge\"",
        "name = \"v\"",
        "name = \"\"",
        "name",
        &["name: is empty", "one line of text"],
    ),
    (
        "name = \"vault-two-bridge\"",
        "name = \"two bridges, été\"",
        "name = \"two\\u202Ebridges\"",
        "name",
        &["control character"],
    ),
    (
        "offset_v = 0.8e-3",
        "offset_v = 5.0",
        "offset_v = 5.01",
        "offset_v",
        &["offset_v", "-5 to 5"],
    ),
    ("jitter_s = 2e-12", "jitter_s = 0.0", "jitter_s = -1e-12", "jitter_s", &["jitter_s", "0 to"]),
    ("gain = 1.0", "gain = 0.9", "gain = 0", "gain = 0", &["amplifier.gain", "is 0"]),
    (
        "x-north\"]\n",
        "x-north\"]\ncross_coupling = { south = 0.25 }\n",
        "x-north\"]\ncross_coupling = { south = 0.2501 }\n",
        "cross_coupling",
        &["bridge[1].cross_coupling.south", "0.2501", "0 to 0.25"],
    ),
    (
        "x-north\"]\n",
        "x-north\"]\ncross_coupling = { south = -0.25 }\n",
        "x-north\"]\ncross_coupling = { south = -0.26 }\n",
        "cross_coupling",
        &["cross_coupling.south", "0.26"],
    ),
    (
        "x-north\"]\n",
        "x-north\"]\ncross_coupling = { south = 0.02 }\n",
        "x-north\"]\ncross_coupling = { sooth = 0.02 }\n",
        "cross_coupling",
        &["no bridge `sooth`", "nearest: `south`"],
    ),
    (
        "x-north\"]\n",
        "x-north\"]\ncross_coupling = { south = 0.0 }\n",
        "x-north\"]\ncross_coupling = { north = 0.0 }\n",
        "cross_coupling",
        &["cross_coupling.north", "the bridge itself"],
    ),
    (
        "x-north\"]\n",
        "x-north\"]\ncross_coupling = { south = 1e-9 }\n",
        "x-north\"]\ncross_coupling = { south = nan }\n",
        "cross_coupling",
        &["cross_coupling.south", "no number"],
    ),
    (
        "range = 0.5",
        "range = 0.9",
        "range = 0.91",
        "range = 0.91",
        &["health.range", "0.91", "0.9"],
    ),
    (
        "frequency_hz = 80000.0",
        "frequency_hz = 399999.0",
        "frequency_hz = 400000.0",
        "frequency_hz = 4",
        &["carrier.frequency_hz", "400000"],
    ),
    (
        "frequency_hz = 80000.0",
        "frequency_hz = 0.001",
        "frequency_hz = 0.0",
        "frequency_hz = 0.0",
        &["carrier.frequency_hz", "is 0"],
    ),
    ("gap_m = 0.002", "gap_m = 2.0e-3", "gap_mm = 2.0", "gap_mm", &["`gap_mm`", "`gap_m`"]),
    ("[mass]", "[mass]", "[mas]", "[mas]", &["`mas`", "`mass`"]),
    ("gap_m = 0.002\n", "gap_m = 0.002\n", "", "[[electrode]]", &["`gap_m`"]),
    ("rms_vs_truth_m", "max_vs_ideal_m", "max_vs_idael_m", "idael", &["idael", "`max_vs_ideal_m`"]),
    ("1.0e-8", "0", "-1.0e-8", "-1.0e-8", &["limits.rms_vs_truth_m", "-0.00000001", "0 to"]),
    ("1.0e-8", "1e300", "nan", "nan", &["limits.rms_vs_truth_m", "NaN"]),
    ("1.0e-8", "1", "\"small\"", "small", &["rms_vs_truth_m", "small"]),
];

/// Parts that do not fit each other.
const WIRING: &[Change] = &[
    ("\"phi\"", "\"phi\"", "\"psi\"", "psi", &["axes.names", "`psi`", "x, y, z, theta, eta, phi"]),
    ("\"x\", \"phi\"", "\"x\"", "\"phi\", \"x\"", "names", &["axes.names", "order"]),
    ("\"x\", \"phi\"", "\"phi\"", "\"x\", \"x\"", "names", &["axes.names", "once"]),
    ("\"x\", \"phi\"", "\"x\", \"phi\"", "\"x\", \"y\"", "names", &["axes.names", "tell", "apart"]),
    ("\"x\", \"phi\"", "\"x\", \"phi\"", "\"x\", \"eta\"", "names", &["axes.names", "apart"]),
    ("\"x\", \"phi\"", "\"x\"", "", "names", &["axes.names", "0 axes", "1 to 2"]),
    (
        "\"x\", \"phi\"",
        "\"x\", \"phi\"",
        "\"x\", \"y\", \"phi\"",
        "names",
        &["axes.names", "3 axes", "1 to 2"],
    ),
    ("name = \"x+south\"", "name = \"x+south\"", "name = \"x+north\"", "x+north", &["twice"]),
    (
        "\"x+south\", \"x-south\"]",
        "\"x+south\", \"x-south\"]",
        "\"x+south\", \"x-soth\"]",
        "x-soth",
        &["bridge[2].electrodes", "`x-soth`", "`x-south`"],
    ),
    (
        "\"x+south\", \"x-south\"]",
        "\"x-south\", \"x+south\"]",
        "\"x+south\", \"z-\"]",
        "z-",
        &["bridge[2].electrodes", "`z-`", "sensing"],
    ),
    (
        "\"x+south\", \"x-south\"]",
        "\"x+south\", \"x-south\"]",
        "\"x+south\", \"x+north\"]",
        "x+north",
        &["bridge[2].electrodes", "opposite"],
    ),
    (
        "\"x+south\", \"x-south\"]",
        "\"x+south\", \"x-south\"]",
        "\"x+south\", \"x-north\"]",
        "x-north",
        &["bridge[2].electrodes", "`x-north`", "bridge[1]"],
    ),
    ("role = \"inject\"", "role = \"inject\"", "role = \"injct\"", "injct", &["injct", "inject"]),
    ("channel = 1", "channel = 1", "channel = 2", "channel = 2", &["channel 2", "0 to 1"]),
    ("channel = 1", "channel = 1", "channel = 0", "channel = 0", &["channel 0", "once"]),
    ("channel = 1", "channel = 1", "channel = 256", "channel = 256", &["channel", "256", "u8"]),
    ("channel = 1", "channel = 1", "channel = -1", "channel = -1", &["channel", "-1", "u8"]),
    ("channel = 1", "channel = 1", "channels = [1, 2]", "kind", &["bridge[2].kind", "`channel`"]),
    ("name = \"north\"", "name = \"n-1\"", "name = \"n,1\"", "n,1", &["bridge[1].name", "`n,1`"]),
    (
        "name = \"north\"",
        "name = \"East\"",
        "name = \"south\"",
        "south",
        &["bridge[2].name", "twice"],
    ),
    (
        "normal = [1.0, 0.0, 0.0]",
        "normal = [1, 0, 0]",
        "normal = [2.0, 0.0, 0.0]",
        "normal",
        &["electrode[1].normal", "is 2"],
    ),
    (
        "width_axis = [0.0, 1.0, 0.0]",
        "width_axis = [0.0, 0.6, 0.8]",
        "width_axis = [0.6, 0.8, 0.0]",
        "width_axis",
        &["electrode[1].width_axis", "0.6"],
    ),
];

/// Plans, and constants that the readout cannot hold: no overflow is left to a run.
const PLANS: &[Change] = &[
    ("order = 2", "order = 6", "order = 7", "order = 7", &["plan.order", "7", "1 to 6"]),
    ("order = 2", "order = 1", "order = 0", "order = 0", &["plan.order", "0", "1 to 6"]),
    (FIR, "", "differential_delay = 3\n", "delay = 3", &["plan.differential_delay", "1 to 2"]),
    (
        "ratio = 160\nrate_hz = 800000.0\noutput_rate_hz = 5000.0",
        "ratio = 4096",
        "ratio = 4097",
        "ratio = 4097",
        &["plan.ratio", "4097", "2 to 4096"],
    ),
    (
        "rate_hz = 800000.0\nout",
        "rate_hz = 8e5\nout",
        "rate_hz = 800001.0\nout",
        "1.0",
        &["800001"],
    ),
    (FIR, "output_rate_hz = 5e3", "output_rate_hz = 10.0", "= 10.0", &["10", "160", "5000 Hz"]),
    (
        "order = 2\nratio = 160\nrate_hz = 800000.0\noutput_rate_hz = 5000.0",
        "order = 6\ndifferential_delay = 2\nratio = 2896",
        "order = 6\ndifferential_delay = 2\nratio = 2897",
        "[plan]",
        &["front end", "128", "1 to 127"],
    ),
    (
        "order = 2\nratio = 160\nrate_hz = 800000.0\noutput_rate_hz = 5000.0",
        "order = 6\ndifferential_delay = 1\nratio = 4096",
        "order = 6\ndifferential_delay = 2\nratio = 4096",
        "[plan]",
        &["front end", "130", "1 to 127"],
    ),
    (
        FIR,
        "[[plan.fir]]\nratio = 2\nscale_bits = 2\ntaps = [1, 2, 1]\n",
        "[[plan.fir]]\nratio = 2\nscale_bits = 2\ntaps = [1, 2, 2]\n",
        "taps",
        &["plan.fir[1].taps", "mirror", "symmetric"],
    ),
    (
        FIR,
        "[[plan.fir]]\nratio = 2\nscale_bits = 2\ntaps = [-1, 3, -1]\n",
        "[[plan.fir]]\nratio = 2\nscale_bits = 2\ntaps = [-1, 2, -1]\n",
        "taps",
        &["plan.fir[1].taps", "sum"],
    ),
    (
        FIR,
        "[[plan.fir]]\nratio = 2\nscale_bits = 0\ntaps = [1]\n",
        "[[plan.fir]]\nratio = 2\nscale_bits = 0\ntaps = []\n",
        "taps",
        &["plan.fir[1].taps", "no taps"],
    ),
    (
        FIR,
        "[[plan.fir]]\nratio = 1\nscale_bits = 30\ntaps = [2147483647, 2147483647]\n",
        "[[plan.fir]]\nratio = 1\nscale_bits = 30\ntaps = [1431655765, 1431655766, 1431655765]\n",
        "[[plan.fir]]",
        &["FIR stage 1", "sum of |taps|", "4294967296", "4294967295"],
    ),
    (
        FIR,
        "[[plan.fir]]\nratio = 1\nscale_bits = 30\ntaps = [1073741824]\n",
        "[[plan.fir]]\nratio = 0\nscale_bits = 30\ntaps = [1073741824]\n",
        "ratio = 0",
        &["plan.fir[1].ratio", "is 0", "1 to 4096"],
    ),
    (
        FIR,
        "[[plan.fir]]\nratio = 1\nscale_bits = 30\ntaps = [1073741824]\n",
        "[[plan.fir]]\nratio = 1\nscale_bits = 31\ntaps = [1073741824]\n",
        "scale_bits = 31",
        &["plan.fir[1].scale_bits", "is 31", "0 to 30"],
    ),
    (
        "ratio = 160\n",
        "ratio = 160\npath = \"coherent\"\n",
        "ratio = 160\npath = \"cohernt\"\n",
        "cohernt",
        &["path", "cohernt", "coherent"],
    ),
    (
        FIR,
        "[plan.mask]\npass_hz = 3.0\npass_db = 0.001\nalias_into_hz = 4.0\nalias_db = 120.0\n",
        "[plan.mask]\npass_hz = nan\npass_db = 0.001\nalias_into_hz = 4.0\nalias_db = 120.0\n",
        "pass_hz",
        &["plan.mask.pass_hz", "NaN"],
    ),
    (
        "channel = 0",
        "channel = 0\na0_code = 1e6",
        "channel = 0\na0_code = 1e15",
        "[[bridge]]",
        &["bridge 1", "full-bridge word", "allowed"],
    ),
    (
        "channel = 0",
        "channel = 0\na0_code = 1e6",
        "channel = 0\na0_code = 1e-20",
        "[[bridge]]",
        &["bridge 1", "full-bridge word", "allowed"],
    ),
];

/// Applies rows of changes: the good side is read out, the bad side refused.
fn changes(rows: &[Change]) {
    let mut bench = Bench::new();
    for (from, good, bad, at, words) in rows {
        let text = fast_sensor();
        assert!(text.contains(from), "no `{from}` to change");
        let what = format!("`{from}` to `{bad}`");
        let run = |out| ["demodulate", "given.toml", "capture.npy", "--out", out];
        bench.put("given.toml", text.replacen(from, good, 1));
        bench.passes(&format!("`{from}` to `{good}`"), &run("new"), &["new"]);
        let text = text.replacen(from, bad, 1);
        bench.put("given.toml", &text);
        let words = [&["given.toml"], *words].concat();
        bench.refused(&what, &run("old"), &words);
        bench.refused(&what, &["verify", "given.toml", "--seconds", "0.01", "--json"], &words);
        let error = bench.refused(&what, &run("new"), &words);
        bench.points(&what, &error, "given.toml", &text, at);
    }
    bench.done();
}

#[test]
fn sensor_values() {
    changes(VALUES);
}

#[test]
fn sensor_wiring() {
    changes(WIRING);
}

#[test]
fn sensor_plans() {
    changes(PLANS);
}

/// What takes more than one change.
#[test]
fn sensor_files() {
    let mut bench = Bench::new();
    let text = fast_sensor();
    let (head, plan) = text.split_at(text.find("[plan]").expect("a plan"));
    let (plan_file, named) =
        (plan.replace("[plan]\n", ""), format!("plan_file = \"p.toml\"\n{head}"));
    let run = ["demodulate", "given.toml", "capture.npy", "--out", "new"];
    let refused = |bench: &mut Bench, what: &str, text: &str, at: &str, words: &[&str]| {
        bench.put("given.toml", text);
        let error = bench.refused(what, &run, words);
        bench.points(what, &error, "given.toml", text, at);
    };

    bench.put("p.toml", &plan_file);
    bench.put("given.toml", &named);
    bench.passes("plan in a file", &run, &["new"]);
    let text = format!("plan_file = \"p.toml\"\n{text}");
    refused(&mut bench, "two plans", &text, "plan_file", &["plan_file", "plan", "one"]);
    refused(&mut bench, "no plan", head, "", &["given.toml", "plan", "plan_file"]);
    let text = named.replace("p.toml", "q.toml");
    refused(&mut bench, "no plan file", &text, "", &["q.toml"]);
    for (from, to, at, words) in [
        ("ratio = 160", "ratio = 1", "ratio = 1", ["ratio", "is 1", "2 to 4096"]),
        ("ratio = 160", "raito = 160", "raito", ["unknown key", "`raito`", "`ratio`"]),
        ("output_rate_hz = 5000.0", "output_rate_hz = 5001.0", "5001", ["5001", "160", "5000 Hz"]),
        ("order = 2", "order = ", "order = ", ["p.toml", "", ""]),
    ] {
        let bad = plan_file.replace(from, to);
        bench.put("p.toml", &bad);
        bench.put("given.toml", &named);
        let error = bench.refused(to, &run, &words);
        bench.points(to, &error, "p.toml", &bad, at);
    }

    // What a plan says it is for is the sensor's, or refused.
    let for_it = "carrier_hz = 80000.0\ncode_bits = 24\npruned_bits = 0\n";
    bench.put("p.toml", format!("{for_it}{plan_file}"));
    bench.put("given.toml", &named);
    bench.passes("a plan for this sensor", &run, &["new"]);
    for (from, to, words) in [
        ("80000.0", "80001.0", ["carrier_hz", "80001", "80000"]),
        ("= 24", "= 18", ["code_bits", "18", "24"]),
        ("pruned_bits = 0", "pruned_bits = 33", ["pruned_bits", "33", "0 to 32"]),
        ("pruned_bits = 0", "register_bits = 32", ["register_bits", "32", "64 or 128"]),
    ] {
        let bad = format!("{}{plan_file}", for_it.replace(from, to));
        bench.put("p.toml", &bad);
        let error = bench.refused(to, &run, &words);
        bench.points(to, &error, "p.toml", &bad, words[0]);
    }

    let text = fast_sensor().replace("frequency_hz = 80000.0", "frequency_hz = 80001.7");
    let text = text.replace("ratio = 160", "ratio = 160\npath = \"coherent\"");
    refused(&mut bench, "not coherent", &text, "[plan]", &["front end", "carrier"]);

    // The whole nanohertz nearest to this carrier is half of the sample rate.
    let slow = |frequency: &str| {
        let text = fast_sensor().replace("80000.0", frequency).replace("800000.0", "1.0");
        let text = text.replace("output_rate_hz = 5000.0", "output_rate_hz = 0.00625");
        let text = text.replace("frequency_hz = 83.0", "frequency_hz = 0.3");
        let text = text.replace("frequency_hz = 1210.0", "frequency_hz = 0.3");
        text.replace("noise_corner_hz = 100.0", "noise_corner_hz = 0.1")
            .replace("noise_corner_hz = 10.0", "noise_corner_hz = 0.1")
    };
    bench.put("given.toml", slow("0.499999999"));
    bench.passes("just below half the rate", &run, &["new"]);
    let text = slow("0.4999999995");
    let words = ["given.toml", "carrier"];
    refused(&mut bench, "half the rate to a nanohertz", &text, "frequency_hz", &words);

    let text = fast_sensor().replace("\"inject\"", "\"sense\"");
    refused(&mut bench, "no injection", &text, "[[electrode]]", &["electrode", "inject"]);
    let stage = "[[plan.fir]]\nratio = 1\nscale_bits = 0\ntaps = [1]\n";
    bench.put("given.toml", fast_sensor() + &stage.repeat(6));
    bench.passes("six stages", &run, &["new"]);
    let text = fast_sensor() + &stage.repeat(7);
    refused(&mut bench, "seven stages", &text, "plan", &["plan.fir", "7", "0 to 6"]);
    let text = fast_sensor().replace("gap_m = 0.002", "gap_m = 1e-30");
    refused(&mut bench, "no gap left", &text, "", &["given.toml", "bridge 1", "allowed"]);
    let text = fast_sensor().replace("[amplifier]", "[carrier.amplifier]");
    refused(&mut bench, "wrong place", &text, "amplifier", &["`amplifier`"]);
    refused(&mut bench, "empty", "", "", &["given.toml", "`schema`"]);
    bench.put("given.toml", b"schema = \xff");
    bench.refused("not text", &run, &["given.toml"]);
    bench.done();
}
