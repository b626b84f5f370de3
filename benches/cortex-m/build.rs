//! Puts the board's memory map where the linker looks.

fn main() {
    let out = std::env::var("OUT_DIR").expect("cargo sets it");
    let target = std::env::var("TARGET").expect("cargo sets it");
    let is_riscv = target.starts_with("riscv");
    // The M33 board's code and data memories, secure aliases; the other Cortex-M boards' start at zero. The RISC-V
    // board has one memory for both.
    let (flash, ram) = if target.starts_with("thumbv8m") {
        ("0x10000000", "0x38000000")
    } else if is_riscv {
        ("0x80000000", "0x80400000")
    } else {
        ("0x00000000", "0x20000000")
    };
    let mut map = format!(
        "MEMORY {{\n  FLASH : ORIGIN = {flash}, LENGTH = 4M\n  RAM : ORIGIN = {ram}, LENGTH = 4M\n}}\n"
    );
    if is_riscv {
        for section in ["TEXT", "RODATA", "DATA", "BSS", "HEAP", "STACK"] {
            let memory = if matches!(section, "TEXT" | "RODATA") { "FLASH" } else { "RAM" };
            map += &format!("REGION_ALIAS(\"REGION_{section}\", {memory});\n");
        }
        println!("cargo:rustc-link-arg=-Tmemory.x");
    }
    std::fs::write(format!("{out}/memory.x"), map).expect("the output folder can be written");
    println!("cargo:rustc-link-search={out}");
    println!("cargo:rustc-link-arg=-Tlink.x");
    // The log's texts, kept in the file and not in flash.
    println!("cargo:rustc-link-arg=-Tdefmt.x");
    println!("cargo:rustc-link-arg=--nmagic");
    println!("cargo:rustc-check-cfg=cfg(board_m33)");
    if target.starts_with("thumbv8m") {
        println!("cargo:rustc-cfg=board_m33");
    }
    println!("cargo:rerun-if-changed=build.rs");
}
