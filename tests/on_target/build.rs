//! Builds the images.

use std::path::{Path, PathBuf};
use std::process::Command;

/// An emulated board.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Core {
    /// The smallest: cases alone.
    #[allow(dead_code)]
    M0,
    M4,
    M7,
    M33,
    /// Likewise.
    #[allow(dead_code)]
    Riscv32,
}

impl Core {
    pub const ALL: [Self; 3] = [Self::M4, Self::M7, Self::M33];

    pub fn name(self) -> &'static str {
        match self {
            Self::M0 => "m0",
            Self::M4 => "m4",
            Self::M7 => "m7",
            Self::M33 => "m33",
            Self::Riscv32 => "riscv32",
        }
    }
    /// Builds all images; the folder they are in. What is missing is said by the script.
    pub fn build(self, debug: bool) -> PathBuf {
        self.build_with(if debug { &["--debug"] } else { &[] })
    }

    /// Builds the image of exported packages at a level, without flags that tune loops.
    #[allow(dead_code)]
    pub fn build_at(self, level: &str) -> PathBuf {
        self.build_with(&["--level", level])
    }

    /// Builds the C library; the folder it is in.
    #[allow(dead_code)]
    pub fn build_c(self) -> PathBuf {
        self.build_with(&["--c"])
    }

    /// The compiler of the images, once they are built.
    pub fn compiler(self) -> String {
        let path = format!(
            "{}/benches/cortex-m/target/{}/compiler",
            env!("CARGO_MANIFEST_DIR"),
            self.name()
        );
        std::fs::read_to_string(path).expect("the script leaves it").trim().to_owned()
    }

    fn build_with(self, options: &[&str]) -> PathBuf {
        let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("benches/cortex-m/build");
        let mut command = Command::new(&script);
        command.arg(self.name()).args(options);
        // The outer cargo's own settings are not this build's.
        for (key, _) in std::env::vars().filter(|(key, _)| {
            key.starts_with("CARGO") && key != "CARGO_HOME"
                || key.starts_with("RUST") && !key.starts_with("RUSTUP")
        }) {
            command.env_remove(key);
        }
        let output =
            command.stderr(std::process::Stdio::inherit()).output().expect("the script starts");
        assert!(output.status.success(), "{} {}: no images", script.display(), self.name());
        PathBuf::from(String::from_utf8(output.stdout).expect("a path").trim())
    }
}
