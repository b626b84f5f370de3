//! **C programs**: the header is what cbindgen makes of the interface; a program in C on the host and on the emulated M7 gives the
//! frames that the chain in Rust gives; the interface runs under the address sanitizer.

use crate::build::Core;
use quietgap_sim::instrument::Sensor;
use quietgap_sim::readout::chain::Chain;
use quietgap_sim::simulation::plant::{Parts, Plant};
use quietgap_sim::simulation::scenario;
use quietgap_telemetry::frame::wire;
use quietgap_telemetry::message::{Message, Reading};
use std::path::Path;
use std::process::Command;

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

/// `QUIETGAP_REWRITE=1` in front writes it.
#[test]
fn the_header_is_current() {
    let folder = root().join("core/c");
    let config = cbindgen::Config::from_file(folder.join("cbindgen.toml")).expect("settings");
    let mut header = Vec::new();
    let sources = ["status", "reading", "board", "telemetry"]
        .map(|name| folder.join(format!("src/{name}.rs")));
    let builder = sources.iter().fold(cbindgen::Builder::new(), cbindgen::Builder::with_src);
    builder.with_config(config).generate().expect("a header").write(&mut header);
    let path = folder.join("include/quietgap.h");
    if std::env::var_os("QUIETGAP_REWRITE").is_some() {
        std::fs::write(&path, &header).expect("written");
    }
    let committed = std::fs::read(&path).expect("a header");
    assert!(committed == header, "core/c/include/quietgap.h: rewrite, if that is meant");
}

/// Output of a command that must end well.
fn run(mut command: Command, what: &str) -> String {
    // The outer cargo's own settings are not this build's.
    for (key, _) in std::env::vars().filter(|(key, _)| {
        key.starts_with("CARGO") && key != "CARGO_HOME"
            || key.starts_with("RUST") && !key.starts_with("RUSTUP")
    }) {
        if !command.get_envs().any(|(own, value)| own == key.as_str() && value.is_some()) {
            command.env_remove(key);
        }
    }
    let output = command
        .output()
        .unwrap_or_else(|e| panic!("{command:?}: {e}. It is part of this test: {what}"));
    let text = String::from_utf8_lossy(&output.stdout).into_owned();
    let errors = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "{command:?}: {}\n{text}\n{errors}", output.status);
    text
}

/// Codes of three seconds of the vault in `folder`, and the frames that Rust makes of them.
fn capture(folder: &Path) -> Vec<u8> {
    let sensor = Sensor::load("vault-two-bridge").expect("built in");
    let seconds = 3.2;
    let mut plant = Plant::new(&sensor, scenario::vault(&sensor, seconds, 8), Parts::ALL, 8);
    let mut chain = Chain::new(&sensor.settings).expect("a good plan");
    let (mut codes, mut bytes, mut number) = (Vec::new(), Vec::new(), 0);
    while codes.len() < (seconds * sensor.rate_hz()) as usize * 2 {
        plant.chunk(&mut codes);
    }
    chain.push(&codes, |reading| {
        bytes.extend(wire(number, &Message::Reading(Reading::from(reading))).expect("fits"));
        number += 1;
    });
    assert!(number > 30);
    let codes: Vec<u8> = codes.iter().flat_map(|code| code.to_le_bytes()).collect();
    std::fs::write(folder.join("codes.bin"), codes).expect("written");
    bytes
}

const STRICT: [&str; 6] = ["-std=c99", "-O2", "-Wall", "-Wextra", "-Werror", "-pedantic"];

#[test]
#[ignore = "a minute: builds the C library; cargo test --workspace --tests -- --ignored"]
fn the_host_says_the_same() {
    let folder = tempfile::tempdir().expect("a folder");
    let frames = capture(folder.path());
    let target = root().join("target/c-host");
    let mut cargo = Command::new(env!("CARGO"));
    cargo.current_dir(root()).args([
        "rustc",
        "-p",
        "quietgap-c",
        "--lib",
        "--crate-type",
        "staticlib",
        "--release",
        "--locked",
    ]);
    run(
        {
            cargo.arg("--target-dir").arg(&target);
            cargo
        },
        "cargo",
    );
    let program = folder.path().join("readout");
    let mut gcc = Command::new("cc");
    gcc.args(STRICT).arg("-I").arg(root().join("core/c/include")).arg("-o").arg(&program);
    gcc.args(["readout.c", "host.c"].map(|name| root().join("core/c/examples").join(name)));
    gcc.arg(target.join("release/libquietgap.a")).args(["-lpthread", "-ldl", "-lm"]);
    run(gcc, "a C compiler; on Debian: apt-get install gcc libc6-dev");
    let mut readout = Command::new(&program);
    readout.current_dir(folder.path());
    assert_eq!(run(readout, "just built"), "done\n");
    assert!(
        std::fs::read(folder.path().join("c.frames")).expect("frames") == frames,
        "other frames"
    );
}

#[test]
#[ignore = "a minute: builds the C library for a board; cargo test --workspace --tests -- --ignored"]
fn the_board_says_the_same() {
    let folder = tempfile::tempdir().expect("a folder");
    let frames = capture(folder.path());
    let library = Core::M7.build_c().join("libquietgap.a");
    let program = folder.path().join("readout.elf");
    let mut gcc = Command::new("arm-none-eabi-gcc");
    gcc.args([
        "-mcpu=cortex-m7",
        "-mthumb",
        "-mfloat-abi=hard",
        "-mfpu=fpv5-sp-d16",
        "-ffreestanding",
        "-nostdlib",
    ]);
    gcc.args([
        "-std=gnu99",
        "-O2",
        "-Wall",
        "-Wextra",
        "-Werror",
        "-ffunction-sections",
        "-Wl,--gc-sections",
    ]);
    gcc.arg("-I").arg(root().join("core/c/include")).arg("-o").arg(&program);
    gcc.args(["readout.c", "board.c"].map(|name| root().join("core/c/examples").join(name)));
    gcc.arg("-T").arg(root().join("core/c/examples/board.ld")).arg(library);
    run(gcc, "a C compiler for the board; on Debian: apt-get install gcc-arm-none-eabi");
    let mut emulator = Command::new("qemu-system-arm");
    emulator.current_dir(folder.path()).args([
        "-M",
        "mps2-an500",
        "-nographic",
        "-monitor",
        "none",
        "-serial",
        "none",
    ]);
    emulator.args(["-semihosting-config", "enable=on,target=native", "-kernel"]).arg(&program);
    run(emulator, "the emulator; on Debian: apt-get install qemu-system-arm");
    assert!(
        std::fs::read(folder.path().join("c.frames")).expect("frames") == frames,
        "other frames"
    );
}

/// The interface's own test again, every access of memory watched.
#[test]
#[ignore = "a minute: builds the core again; cargo test --workspace --tests -- --ignored"]
fn no_access_beyond_memory() {
    let mut cargo = Command::new(env!("CARGO"));
    cargo.current_dir(root()).args([
        "test",
        "-p",
        "quietgap-c",
        "--test",
        "c_interface",
        "--locked",
    ]);
    // Named, so that tools of the build itself are not watched.
    let mut rustc = Command::new("rustc");
    rustc.arg("-vV");
    let about = run(rustc, "rustc");
    let host = about.lines().find_map(|line| line.strip_prefix("host: ")).expect("a host");
    cargo.args(["--target", host]).arg("--target-dir").arg(root().join("target/c-watched"));
    // The compiler is a stable one; the variable lets it take the flag.
    cargo.env("RUSTC_BOOTSTRAP", "1").env("RUSTFLAGS", "-Zsanitizer=address");
    let text = run(cargo, "cargo");
    assert!(text.contains("4 passed"), "{text}");
}
