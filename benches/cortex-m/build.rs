//! Puts the board's memory map where the linker looks.

fn main() {
    let out = std::env::var("OUT_DIR").expect("cargo sets it");
    let target = std::env::var("TARGET").expect("cargo sets it");
    // The M33 board's code and data memories, secure aliases; the others' start at zero.
    let (flash, ram) = if target.starts_with("thumbv8m") {
        ("0x10000000, LENGTH = 4M", "0x38000000, LENGTH = 4M")
    } else {
        ("0x00000000, LENGTH = 4M", "0x20000000, LENGTH = 4M")
    };
    let map = format!("MEMORY {{\n  FLASH : ORIGIN = {flash}\n  RAM : ORIGIN = {ram}\n}}\n");
    std::fs::write(format!("{out}/memory.x"), map).expect("the output folder can be written");
    println!("cargo:rustc-link-search={out}");
    println!("cargo:rustc-link-arg=-Tlink.x");
    println!("cargo:rustc-link-arg=--nmagic");
    println!("cargo:rustc-check-cfg=cfg(board_m33)");
    if target.starts_with("thumbv8m") {
        println!("cargo:rustc-cfg=board_m33");
    }
    println!("cargo:rerun-if-changed=build.rs");
}
