//! What is built in: every dependency under a licence that asks for no more than to be named, from the
//! registry, and none in two versions without a reason. Its licences are what each package states.

use serde_json::Value;
use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;
use std::process::Command;

/// Each by itself is enough.
const LICENCES: [&str; 11] = [
    "MIT",
    "Apache-2.0",
    "Unlicense",
    "BSD-2-Clause",
    // Of `snap`, Parquet's compression: as the one above, and that names are not used to endorse.
    "BSD-3-Clause",
    "CC0-1.0",
    "BSL-1.0",
    "Zlib",
    "NCSA",
    "Unicode-3.0",
    "Apache-2.0 WITH LLVM-exception",
];

/// Under a licence of its own, and why that does: what only tests run is in nothing that is passed on.
const OF_TESTS: [(&str, &str); 3] =
    [("cbindgen", "MPL-2.0"), ("alterable_logger", "MPL-2.0"), ("colored", "MPL-2.0")];

/// In more than one version, and why.
const TWICE: [(&str, &str); 8] = [
    ("syn", "derive macros move to its third version one by one; not in what is built"),
    (
        "getrandom",
        "Parquet's hashes ask the system for a seed by an older one than temporary files do",
    ),
    (
        "num-bigint",
        "npy headers are parsed by an older one than Parquet's decimals, which are not used here",
    ),
    ("itertools", "of benchmarks' criterion, older than the terminal's; not in what is built"),
    ("toml", "of the generator of the C header, older than ours; tests alone"),
    ("toml_datetime", "as above"),
    ("winnow", "as above"),
    ("glam", "nalgebra converts from and to several; declarations only"),
];

fn output(program: &str, arguments: &[&str]) -> String {
    let output = Command::new(program).args(arguments).output().expect("it starts");
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    String::from_utf8(output.stdout).expect("text")
}

/// Packages of a manifest that this platform builds.
fn packages(manifest: &str) -> Vec<Value> {
    let about = output("rustc", &["-vV"]);
    let host = about.lines().find_map(|line| line.strip_prefix("host: ")).expect("a host");
    let manifest = Path::new(env!("CARGO_MANIFEST_DIR")).join(manifest);
    let manifest = manifest.to_str().expect("text");
    let arguments = ["metadata", "--locked", "--format-version", "1", "--filter-platform", host];
    let text = output(env!("CARGO"), &[&arguments[..], &["--manifest-path", manifest]].concat());
    let mut all: Value = serde_json::from_str(&text).expect("JSON");
    let nodes = all["resolve"]["nodes"].as_array().expect("nodes");
    let used: BTreeSet<String> =
        nodes.iter().map(|node| node["id"].as_str().expect("an id").to_owned()).collect();
    let packages = all["packages"].as_array_mut().expect("packages");
    packages.retain(|package| used.contains(package["id"].as_str().expect("an id")));
    std::mem::take(packages)
}

/// Whether an expression of licences can be met: one of those joined by OR, all of those joined by AND.
fn is_met(expression: &str) -> bool {
    let expression = expression.replace('/', " OR ");
    let one_of = |words: &str| {
        let words = words.trim().trim_start_matches('(').trim_end_matches(')');
        words.split(" OR ").any(|licence| LICENCES.contains(&licence.trim()))
    };
    expression.split(" AND ").all(one_of)
}

#[test]
fn licences_and_sources() {
    assert!(is_met("(MIT OR GPL-3.0) AND Unicode-3.0") && is_met("Unlicense/MIT"));
    assert!(!is_met("GPL-3.0") && !is_met("MIT AND GPL-3.0"));
    for manifest in [
        "Cargo.toml",
        "benches/cortex-m/Cargo.toml",
        "tests/fuzz/Cargo.toml",
        "tests/log/Cargo.toml",
    ] {
        let packages = packages(manifest);
        assert!(packages.len() > 10, "{manifest}: {}", packages.len());
        for package in packages {
            let name = package["name"].as_str().expect("a name");
            // A package exported for a sensor is never published, and states none: here it is the project's.
            let exported = package["source"].is_null()
                && package["publish"].as_array().is_some_and(Vec::is_empty)
                && name.ends_with("-board");
            let stated = package["license"].as_str();
            let licence = stated.unwrap_or(if exported { LICENCES[0] } else { "none stated" });
            let of_tests = OF_TESTS.contains(&(name, licence));
            assert!(of_tests || is_met(licence), "{manifest}: {name}: {licence}");
            let source = package["source"].as_str().unwrap_or("this project");
            assert!(
                source == "this project" || source.starts_with("registry+"),
                "{manifest}: {name}: from {source}"
            );
        }
    }
}

#[test]
fn none_twice() {
    let mut versions: BTreeMap<String, BTreeSet<String>> = BTreeMap::new();
    for package in packages("Cargo.toml") {
        let text = |key: &str| package[key].as_str().expect("text").to_owned();
        versions.entry(text("name")).or_default().insert(text("version"));
    }
    let twice: Vec<&String> =
        versions.iter().filter(|(_, versions)| versions.len() > 1).map(|(name, _)| name).collect();
    let allowed = TWICE.map(|(name, _)| name);
    let new: Vec<_> = twice.iter().filter(|name| !allowed.contains(&name.as_str())).collect();
    assert!(new.is_empty(), "in two versions: {new:?}");
    let gone: Vec<_> = allowed.iter().filter(|name| !twice.iter().any(|t| t == *name)).collect();
    assert!(gone.is_empty(), "no longer in two versions, take out of the list: {gone:?}");
}
