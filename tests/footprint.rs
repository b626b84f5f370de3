//! **Footprint and panics**: the chain linked into images with nothing else. Flash by stage and
//! stack as committed and within limits; nothing that can panic, fail a check, or make text.
//!
//! `QUIETGAP_REWRITE=1 cargo test --test evidence footprint:: -- --ignored` rewrites `benches/cortex-m/expected`.

#[path = "on_target/image.rs"]
mod image;

use crate::build::Core;
use image::Image;
use std::fmt::Write as _;
use std::path::Path;

/// The built-in sensors, their plans made by the compiler; last, one whose plan the board makes.
const IMAGES: [&str; 4] = ["two-bridge", "six-axis", "quarter-rate", SET_UP];
const SET_UP: &str = "set-up";

/// Bytes of flash and of stack that an image of the chain may take: up to 25 KiB of running code, a plan of
/// some 5 KiB (two bridges) to 9 KiB (six axes: electrodes, bridges and matrices as constants), vectors and
/// start.
const CODE: u64 = 25 * 1024;
const FLASH: u64 = 33 * 1024;
const STACK: u64 = 3 * 1024;

/// The chain's modules in signal order, and the compiler's helpers.
const STAGES: [&str; 18] = [
    "quietgap_core::carrier",
    "quietgap_core::fold",
    "quietgap_core::mixer",
    "quietgap_core::cic",
    "quietgap_core::front_end",
    "quietgap_core::fir",
    "quietgap_core::phasor",
    "quietgap_core::monitor",
    "quietgap_core::bridge",
    "quietgap_core::axes",
    "quietgap_core::housing",
    "quietgap_core::position",
    "quietgap_core::health",
    "quietgap_core::readout",
    "quietgap_core::word",
    "quietgap_core::error",
    "compiler_builtins",
    "__aeabi",
];

#[test]
#[ignore = "minutes: builds and runs the boards' images; cargo test --workspace --tests -- --ignored"]
fn nothing_can_panic() {
    for core in Core::ALL {
        let images = core.build(false);
        for sensor in IMAGES {
            let image = Image::read(&images.join(format!("footprint-{sensor}")));
            assert!(image.size_of("quietgap_core::fold") > 1000, "the chain is not in the image");
            assert!(image.panics().is_empty(), "{core:?}, {sensor}: {:?}", image.panics());
        }
        // The test sees a panic where there is one.
        let panics = Image::read(&images.join("footprint-panics"));
        assert!(!panics.panics().is_empty(), "{core:?}: a panic is not seen");
    }
}

/// The log of an image that has one: nothing of it is in what a frame's codes go through, or where frames of telemetry are made.
#[test]
#[ignore = "minutes: builds and runs the boards' images; cargo test --workspace --tests -- --ignored"]
fn no_sample_meets_the_log() {
    for core in Core::ALL {
        let image = Image::read(&core.build(false).join("line"));
        let logs = |root: &str| {
            let names = image.reached_names(root);
            names.filter(|n| n.contains("defmt") || n.contains("quietgap_board::log")).count()
        };
        assert!(logs("__cortex_m_rt_main") > 3, "{core:?}: there is no log");
        for root in ["push_frames", "quietgap_acquisition", "station::report"] {
            assert!(image.reached_names(root).count() > 3, "{core:?}: {root} is not in the image");
            assert_eq!(logs(root), 0, "{core:?}, {root}");
        }
    }
}

/// Flash and RAM of a whole board of six axes: blocks, intake, chain, telemetry, commands.
const WHOLE_FLASH: u64 = 40 * 1024;
const WHOLE_RAM: u64 = 24 * 1024;

#[test]
#[ignore = "minutes: builds and runs the boards' images; cargo test --workspace --tests -- --ignored"]
fn a_whole_board_fits() {
    for core in Core::ALL {
        let image = Image::read(&core.build(false).join("footprint-line"));
        println!("{}: flash {}, RAM {}", core.name(), image.flash, image.ram);
        for part in ["quietgap_core::fold", "quietgap_acquisition", "quietgap_telemetry"] {
            assert!(image.size_of(part) > 1000, "{core:?}: {part} is not in the image");
        }
        assert!(image.panics().is_empty(), "{core:?}: {:?}", image.panics());
        assert!(image.flash < WHOLE_FLASH, "{core:?}: {} bytes of flash", image.flash);
        assert!(image.ram < WHOLE_RAM, "{core:?}: {} bytes of RAM", image.ram);
    }
}

#[test]
#[ignore = "minutes: builds and runs the boards' images; cargo test --workspace --tests -- --ignored"]
fn flash_and_stack() {
    let mut table = String::from(
        "# Bytes: made by QUIETGAP_REWRITE=1 cargo test --test evidence footprint:: -- --ignored\n",
    );
    let built = Core::ALL.map(|core| (core, core.build(false)));
    let compiler = Core::M7.compiler();
    let _ = writeln!(table, "# {compiler}");
    for (core, images) in built {
        for sensor in IMAGES {
            let image = Image::read(&images.join(format!("footprint-{sensor}")));
            let (set_up, run) = (image.deepest("__cortex_m_rt_main"), image.deepest("push_frames"));
            let reached = image.reached("push_frames");
            let flash = image.flash;
            // Everything: interrupt vectors, the chain, its start, its constants.
            assert!(
                sensor == SET_UP || flash < FLASH,
                "{core:?}, {sensor}: {flash} bytes of flash"
            );
            assert!(reached < CODE, "{core:?}, {sensor}: {reached} bytes of running code");
            let _ = write!(
                table,
                "{} {sensor} flash={flash} run_code={reached} set_up_stack={set_up} stack={run}",
                core.name(),
            );
            // Its plan made by the compiler, the readout is loaded in place.
            assert!(sensor == SET_UP || set_up < STACK, "{core:?}, {sensor}: {set_up} to set up");
            assert!(run < STACK, "{core:?}, {sensor}: {run} bytes of stack");
            for stage in STAGES {
                let name = stage.rsplit("::").next().expect("a name");
                let _ = write!(table, " {name}={}", image.size_of(stage));
            }
            table.push('\n');
        }
    }
    let path =
        Path::new(env!("CARGO_MANIFEST_DIR")).join("benches/cortex-m/expected/footprint.txt");
    if std::env::var_os("QUIETGAP_REWRITE").is_some() {
        std::fs::write(&path, &table).expect("the expected file can be written");
        return;
    }
    let committed = std::fs::read_to_string(&path).expect("an expected file");
    let rows = |table: &str| -> Vec<String> {
        table.lines().filter(|line| !line.starts_with('#')).map(str::to_owned).collect()
    };
    let (committed, table) = (rows(&committed), rows(&table));
    assert_eq!(committed.len(), table.len());
    for (want, is) in committed.iter().zip(&table) {
        for (want, is) in want.split(' ').zip(is.split(' ')) {
            match (want.split_once('='), is.split_once('=')) {
                (Some((key, want)), Some((same, is))) => {
                    assert_eq!(key, same);
                    let [want, is]: [f64; 2] = [want, is].map(|n| n.parse().expect("a number"));
                    // Compilers differ by a few instructions.
                    let slack = (0.02 * want).max(32.0);
                    assert!(
                        (is - want).abs() <= slack,
                        "{key} is {is} of {compiler}, committed {want}, of the compiler in {}: rewrite, if that is meant",
                        path.display(),
                    );
                }
                _ => assert_eq!(want, is),
            }
        }
    }
}
