//! Runs the images.

use crate::build::Core;
use std::path::Path;
use std::process::Command;

/// A case's line: `key=value` words.
#[derive(Debug)]
pub struct Run(Vec<(String, String)>);

impl Run {
    pub fn of(line: &str) -> Self {
        let pairs = line.split(' ').filter_map(|word| word.split_once('='));
        Self(pairs.map(|(k, v)| (k.to_owned(), v.to_owned())).collect())
    }
    pub fn text(&self, key: &str) -> &str {
        let found = self.0.iter().find(|(k, _)| k == key);
        &found.unwrap_or_else(|| panic!("no {key} in {:?}", self.0)).1
    }
    #[allow(dead_code)]
    pub fn has(&self, key: &str) -> bool {
        self.0.iter().any(|(k, _)| k == key)
    }
    pub fn number(&self, key: &str) -> u64 {
        self.text(key).parse().expect("a number")
    }
}

const RV32IMAC: &str = "rv32,f=off,d=off,v=off,zba=off,zbb=off,zbc=off,zbs=off";

impl Core {
    /// The emulator, and the board that it is.
    fn board(self) -> (&'static str, &'static [&'static str]) {
        match self {
            Self::M0 | Self::M4 => ("qemu-system-arm", &["-M", "mps2-an386"]),
            Self::M7 => ("qemu-system-arm", &["-M", "mps2-an500"]),
            Self::M33 => ("qemu-system-arm", &["-M", "mps2-an505"]),
            // Without what the core has that the target has not: an image that uses it stops.
            Self::Riscv32 => {
                ("qemu-system-riscv32", &["-M", "virt", "-bios", "none", "-cpu", RV32IMAC])
            }
        }
    }
    /// An emulator that runs `image` in `folder`, one instruction a nanosecond of its time.
    pub fn emulator(self, image: &Path, folder: &Path) -> Command {
        let mut command = self.uncounted(image, folder);
        command.args(["-icount", "shift=0,sleep=off"]);
        command
    }
    /// The same at the emulator's own pace, three times as fast: its timers count nothing exact.
    pub fn uncounted(self, image: &Path, folder: &Path) -> Command {
        self.with_serial(image, folder, &["none"])
    }
    /// The same, what its serial ports send going where the emulator is told.
    pub fn with_serial(self, image: &Path, folder: &Path, ports: &[&str]) -> Command {
        let (emulator, board) = self.board();
        let mut command = Command::new(emulator);
        command
            .current_dir(folder)
            .args(board)
            .args(["-nographic", "-monitor", "none"])
            .args(ports.iter().flat_map(|port| ["-serial", port]))
            .args(["-semihosting-config", "enable=on,target=native"])
            .arg("-kernel")
            .arg(image);
        command
    }
}

/// Output of an emulator that must end by itself, well.
pub fn finish(mut command: Command) -> String {
    let output = command.output().unwrap_or_else(|error| {
        panic!(
            "{}: {error}. It is part of this test; benches/cortex-m/build says how to get it",
            command.get_program().display()
        )
    });
    let text = String::from_utf8_lossy(&output.stdout).into_owned();
    let errors = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "{command:?}: {}\n{text}\n{errors}", output.status);
    // Depending on its version the emulator writes the board's text to one or the other.
    text + &errors
}

/// Runs cases, as bytes, on one core, each on the readout of `image` that it is for.
pub fn run(
    core: Core,
    images: &Path,
    image: &str,
    cases: impl ExactSizeIterator<Item = Vec<u8>>,
) -> Vec<Run> {
    let folder = tempfile::tempdir().expect("a folder");
    std::fs::write(folder.path().join("cases.bin"), (cases.len() as u64).to_le_bytes())
        .expect("written");
    for (number, case) in cases.enumerate() {
        let path = folder.path().join(format!("case-{number:03}.bin"));
        std::fs::write(path, case).expect("a case is written");
    }
    let text = finish(core.emulator(&images.join(image), folder.path()));
    text.lines().filter(|line| line.starts_with("case=")).map(Run::of).collect()
}
