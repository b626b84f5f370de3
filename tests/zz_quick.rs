#![allow(dead_code)]
#[path = "on_target/build.rs"]
mod build;
#[path = "on_target/cases.rs"]
mod cases;
#[path = "../benches/cortex-m/src/digest.rs"]
mod digest;
#[path = "on_target/emulator.rs"]
mod emulator;
#[path = "../benches/cortex-m/src/source.rs"]
mod source;
use build::Core;
#[test]
fn quick() {
    let cases: Vec<_> = cases::all(100, 0).into_iter().filter(|c| c.counted).collect();
    let core = Core::M7;
    let folder = core.build(false);
    let runs = emulator::run(core, &folder, "bench", &cases);
    for (case, run) in cases.iter().zip(&runs) {
        let want = case.on_host();
        let same = run.text("digest") == format!("{:016x}", want.digest)
            && run.text("phasors") == format!("{:016x}", want.phasors);
        let [chain, front_end, fir] =
            ["chain", "front_end", "fir"].map(|key| run.number(key) as f64 / case.samples() as f64);
        println!(
            "QQ {:30} chain {chain:.2} fe {front_end:.2} fir {fir:.2} rest {:.2} same {same}",
            case.name,
            chain - front_end - fir
        );
    }
}
