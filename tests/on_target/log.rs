//! What a board logged, as text (`tests/log`).

use std::path::Path;
use std::process::Command;

/// Lines of `log`, which the image wrote: block, level, text.
pub fn lines(image: &Path, log: &Path) -> Vec<String> {
    let manifest = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/log/Cargo.toml");
    let mut command = Command::new(env!("CARGO"));
    command.args(["run", "--quiet", "--locked", "--manifest-path"]).arg(manifest).arg("--");
    let output = command.arg(image).arg(log).output().expect("cargo starts");
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    String::from_utf8(output.stdout).expect("text").lines().map(str::to_owned).collect()
}
