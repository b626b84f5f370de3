//! Captures: every form that is taken, every way one can be wrong.

use super::*;

/// What a WAV file says of itself; the codes stand at the top of its words.
#[derive(Clone)]
struct Wav {
    tag: u16,
    channels: u16,
    rate: u32,
    bits: u16,
    /// Length of the data chunk, where it is not that of the data.
    length: Option<u64>,
    long: bool,
    extensible: bool,
    /// A chunk before the format.
    before: &'static [u8],
    data_first: bool,
}

const PCM24: Wav = Wav {
    tag: 1,
    channels: 2,
    rate: 800_000,
    bits: 24,
    length: None,
    long: false,
    extensible: false,
    before: b"",
    data_first: false,
};

impl Wav {
    fn of(&self, codes: &[i32], code_bits: u32) -> Vec<u8> {
        let bytes = usize::from(self.bits.div_ceil(8));
        let data: Vec<u8> = codes
            .iter()
            .flat_map(|code| {
                let word = i64::from(*code) << (u32::from(self.bits).max(code_bits) - code_bits);
                word.to_le_bytes()[..bytes].to_vec()
            })
            .collect();
        let length = self.length.unwrap_or(data.len() as u64);
        let frame = self.channels * bytes as u16;
        let mut format = if self.extensible { 0xfffe_u16 } else { self.tag }.to_le_bytes().to_vec();
        format.extend(self.channels.to_le_bytes());
        format.extend(self.rate.to_le_bytes());
        format.extend((self.rate * u32::from(frame)).to_le_bytes());
        format.extend(frame.to_le_bytes());
        format.extend(self.bits.to_le_bytes());
        if self.extensible {
            format.extend(22u16.to_le_bytes());
            format.extend(self.bits.to_le_bytes());
            format.extend(3u32.to_le_bytes());
            format.extend(self.tag.to_le_bytes());
            format.extend(b"\0\0\0\0\x10\0\x80\0\0\xaa\0\x38\x9b\x71");
        }
        let chunk = |name: &[u8; 4], length: u32, body: &[u8]| {
            [name.as_slice(), &length.to_le_bytes(), body].concat()
        };
        let short = |length: u64| if self.long { u32::MAX } else { length as u32 };
        let mut body = Vec::new();
        if self.long {
            let sizes = [length.saturating_add(100), length, length / u64::from(frame.max(1))];
            let sizes: Vec<u8> = sizes.iter().flat_map(|n| n.to_le_bytes()).chain([0; 4]).collect();
            body.extend(chunk(b"ds64", 28, &sizes));
        }
        body.extend(self.before);
        let format = chunk(b"fmt ", format.len() as u32, &format);
        let data = chunk(b"data", short(length), &data);
        body.extend(if self.data_first { [data, format] } else { [format, data] }.concat());
        let name = if self.long { b"RF64" } else { b"RIFF" };
        chunk(name, short(body.len() as u64 + 4), &[b"WAVE".as_slice(), &body].concat())
    }
}

#[test]
fn captures() {
    let mut bench = Bench::new();
    let codes = codes(16);
    let int32 = int32(&codes);
    let frames = FRAMES;
    let with =
        |kind: &str, order: &str, shape: &str| npy_of(1, &header(kind, order, shape), &int32);
    let shape = format!("({frames}, 2)");
    let good = npy(&codes);
    let wav = PCM24.of(&codes, 24);
    let doubled = [codes.as_slice(), &codes].concat();
    let odd = PCM24.of(&codes, 24).len() as u64 - 44 - 1;
    let mut unknown = wav.clone();
    unknown[8..12].copy_from_slice(b"WEVA");
    // A header that says it is longer than the file, and a count of bytes beyond 64 bits.
    let endless = [b"\x93NUMPY\x02\0".as_slice(), &u32::MAX.to_le_bytes(), b"{'descr'"].concat();
    let rows: Vec<(&str, Vec<u8>, &[&str])> = vec![
        ("empty file", Vec::new(), &["0 bytes"]),
        ("three bytes", b"\x93NU".to_vec(), &["3 bytes"]),
        ("text", MOTION.into(), &["npy", "WAV"]),
        ("npy magic alone", good[..6].to_vec(), &["npy header"]),
        ("npy header cut", good[..100].to_vec(), &["npy header"]),
        ("npy header endless", endless, &["npy header"]),
        ("npy header not a dictionary", npy_of(1, "[1, 2]", &int32), &["npy header"]),
        ("npy without a shape", npy_of(1, "{'descr': '<i4'}", &int32), &["npy header"]),
        ("float", with("<f4", "False", &shape), &["<f4", "<i4", "<i2"]),
        ("64 bits", with("<i8", "False", &shape), &["<i8", "<i4", "<i2"]),
        ("unsigned", with("<u4", "False", &shape), &["<u4", "<i4", "<i2"]),
        ("big-endian", with(">i4", "False", &shape), &[">i4", "<i4", "<i2"]),
        ("Fortran order", with("<i4", "True", &shape), &["Fortran", "C order"]),
        ("one dimension", with("<i4", "False", "(6400,)"), &["[6400]", "(samples, channels)"]),
        ("three dimensions", with("<i4", "False", "(1600, 2, 2)"), &["[1600, 2, 2]"]),
        ("no channels", with("<i4", "False", "(3200, 0)"), &["[3200, 0]"]),
        ("one channel", with("<i4", "False", "(6400, 1)"), &["1 channel", "the sensor has 2"]),
        ("three channels", with("<i4", "False", "(2000, 3)"), &["3 channels", "the sensor has 2"]),
        ("negative frames", with("<i4", "False", "(-1, 2)"), &["npy header"]),
        ("npy cut by a byte", good[..good.len() - 1].to_vec(), &["truncated", "25727", "25728"]),
        ("a frame more", with("<i4", "False", "(3201, 2)"), &["truncated", "25728", "25736"]),
        ("2^64 bytes", with("<i4", "False", "(2305843009213693952, 2)"), &["truncated"]),
        ("2^64 and 8 bytes", with("<i4", "False", "(2305843009213693953, 2)"), &["truncated"]),
        ("RIFF, not WAVE", unknown, &["WAVE"]),
        ("float WAV", Wav { tag: 3, bits: 32, ..PCM24 }.of(&codes, 24), &["tag 3", "PCM"]),
        (
            "float, extensible WAV",
            Wav { tag: 3, bits: 32, extensible: true, ..PCM24 }.of(&codes, 24),
            &["tag 3", "PCM"],
        ),
        ("8-bit WAV", Wav { bits: 8, ..PCM24 }.of(&codes, 24), &["8-bit", "16, 24"]),
        ("16 bits for 24", Wav { bits: 16, ..PCM24 }.of(&codes, 24), &["16-bit", "24 bits"]),
        ("WAV without channels", Wav { channels: 0, ..PCM24 }.of(&codes, 24), &["no channels"]),
        (
            "WAV of four channels",
            Wav { channels: 4, ..PCM24 }.of(&doubled, 24),
            &["4 channels", "the sensor has 2"],
        ),
        ("WAV rate", Wav { rate: 799_999, ..PCM24 }.of(&codes, 24), &["799999", "800000"]),
        ("odd data", Wav { length: Some(odd), ..PCM24 }.of(&codes, 24), &["19199", "frames of 6"]),
        ("no data chunk", wav[..36].to_vec(), &["no data chunk"]),
        ("WAV header cut", wav[..30].to_vec(), &["header"]),
        ("data before format", Wav { data_first: true, ..PCM24 }.of(&codes, 24), &["format"]),
        ("WAV cut by a byte", wav[..wav.len() - 1].to_vec(), &["truncated", "19243", "19244"]),
        (
            "RF64 of nearly 2^64 bytes",
            Wav { long: true, length: Some(u64::MAX / 6 * 6), ..PCM24 }.of(&codes, 24),
            &["truncated"],
        ),
    ];
    for (what, bytes, words) in rows {
        bench.put("bad", bytes);
        let words = [&["bad: "], words].concat();
        for out in ["new", "old"] {
            let mut command = vec!["demodulate", "sensor.toml", "bad", "--json", "--out", out];
            bench.refused(what, &command, &words);
            command.push("--ideal");
            bench.refused(what, &command, &words);
        }
        bench.refused(what, &["verify", "sensor.toml", "--capture", "bad", "--json"], &words);
    }
    bench.done();
}

/// The good sides of the pairs above: all forms of the same codes give the same readings.
#[test]
fn captures_of_all_forms_agree() {
    let mut bench = Bench::new();
    let small = codes(16);
    let int16: Vec<u8> = small.iter().flat_map(|c| (*c as i16).to_le_bytes()).collect();
    let shape = format!("({FRAMES}, 2)");
    let sixteen = fast_sensor().replace("bits = 24", "bits = 16");
    bench.put("16.toml", sixteen);
    // LIST is five bytes and so one of padding.
    let list = b"LIST\x05\0\0\0INFO\0\0";
    let forms: Vec<(&str, &str, Vec<u8>)> = vec![
        ("sensor.toml", "npy", npy(&small)),
        ("sensor.toml", "npy 2.0", npy_of(2, &header("<i4", "False", &shape), &int32(&small))),
        ("sensor.toml", "int16 npy", npy_of(1, &header("<i2", "False", &shape), &int16)),
        ("sensor.toml", "24-bit WAV", PCM24.of(&small, 24)),
        ("sensor.toml", "WAV with a list", Wav { before: list, ..PCM24 }.of(&small, 24)),
        ("sensor.toml", "extensible WAV", Wav { extensible: true, ..PCM24 }.of(&small, 24)),
        ("sensor.toml", "32-bit WAV", Wav { bits: 32, ..PCM24 }.of(&small, 24)),
        ("sensor.toml", "RF64", Wav { long: true, ..PCM24 }.of(&small, 24)),
        ("sensor.toml", "32-bit RF64", Wav { long: true, bits: 32, ..PCM24 }.of(&small, 24)),
        ("16.toml", "npy", npy(&small)),
        ("16.toml", "int16 npy", npy_of(1, &header("<i2", "False", &shape), &int16)),
        ("16.toml", "16-bit WAV", Wav { bits: 16, ..PCM24 }.of(&small, 16)),
        ("16.toml", "16-bit RF64", Wav { long: true, bits: 16, ..PCM24 }.of(&small, 16)),
        ("16.toml", "24-bit WAV", PCM24.of(&small, 16)),
        ("16.toml", "32-bit WAV", Wav { bits: 32, ..PCM24 }.of(&small, 16)),
    ];
    let mut first = BTreeMap::new();
    for (sensor, what, bytes) in forms {
        bench.put("capture", bytes);
        let mut line = vec!["demodulate", sensor, "capture", "--out", "readings.csv"];
        if what == "int16 npy" && sensor != "16.toml" {
            // Narrower than the sensor's codes: only said to be them they are taken.
            line.extend(["--words", "i16"]);
        }
        let output = bench.run(&line);
        let error = String::from_utf8_lossy(&output.stderr);
        assert!(output.status.success(), "{sensor}, {what}: {error}");
        let readings = std::fs::read_to_string(bench.folder.path().join("readings.csv")).unwrap();
        assert_eq!(readings.lines().count(), 1 + FRAMES / 160 - 1, "{sensor}, {what}");
        let same = first.entry(sensor).or_insert_with(|| readings.clone());
        assert!(readings == *same, "{sensor}: {what} gives other readings than npy");
    }
    bench.passes("verify", &["verify", "sensor.toml", "--capture", "capture.npy"], &[]);
    bench.done();
}
