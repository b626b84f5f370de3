//! `listen --send`: commands to a board that answers late, or never, and carries out each of them once.

use crate::bench::quietgap;
use crate::line::Bench;
use quietgap_telemetry::command::Inbox;
use quietgap_telemetry::frame::Sender;
use quietgap_telemetry::message::{Answer, Command, Message, Outcome, Piece};
use quietgap_telemetry::{Decoder, Wire};
use serde_json::Value;
use std::io::{Read, Write};
use std::net::{TcpListener, TcpStream};
use std::thread::JoinHandle;

/// A board at the other end: what it carried out.
fn board(
    server: TcpListener,
    mut answers: impl FnMut(u32, &Command, &mut TcpStream) -> bool + Send + 'static,
) -> JoinHandle<Vec<Command>> {
    std::thread::spawn(move || {
        let (mut line, _) = server.accept().expect("a listener");
        let (mut decoder, mut inbox, mut sender) =
            (Decoder::new(), Inbox::new(), Sender::default());
        let mut done = Vec::new();
        let mut bytes = [0; 4096];
        let mut met = 0;
        while let Ok(count @ 1..) = line.read(&mut bytes) {
            for byte in &bytes[..count] {
                let Some((number, command)) = decoder.push_command(*byte) else { continue };
                met += 1;
                let outcome = inbox.meet(number, || {
                    if command == Command::Injection(1_000_000) {
                        return Outcome::Refused;
                    }
                    done.push(command.clone());
                    Outcome::Done
                });
                if answers(met, &command, &mut line) {
                    let answer = Answer { command: number, sample: 7, outcome };
                    let wire: Wire = sender.wire(&Message::Answer(answer)).expect("fits");
                    line.write_all(&wire).expect("heard");
                }
            }
        }
        done
    })
}

fn listen(bench: &Bench, server: &TcpListener, commands: &[&str]) -> (Option<i32>, Vec<Value>) {
    let mut command = quietgap();
    command.current_dir(bench.path("x").parent().expect("a folder"));
    command.args([
        "listen",
        &format!("tcp:{}", server.local_addr().expect("an address")),
        "--json",
    ]);
    command.args(["--seconds", "20"]);
    commands.iter().for_each(|text| {
        command.args(["--send", text]);
    });
    let output = command.output().expect("it runs");
    let lines = String::from_utf8(output.stdout).expect("text");
    (output.status.code(), lines.lines().map(|l| serde_json::from_str(l).expect("JSON")).collect())
}

fn fates(lines: &[Value]) -> Vec<(String, String, u64)> {
    let told = lines.iter().filter(|line| line["kind"] == "command");
    let text = |line: &Value, key: &str| line[key].as_str().expect("text").to_owned();
    told.map(|l| (text(l, "command"), text(l, "outcome"), l["tries"].as_u64().expect("a number")))
        .collect()
}

/// The first answer to each is lost: sent again, carried out once. A calibration comes whole.
#[test]
fn commands_are_carried_out_once() {
    let bench = Bench::new();
    let calibration: String = (0..300).map(|n| format!("row {n}\n")).collect();
    std::fs::write(bench.path("c.toml"), &calibration).expect("written");
    let server = TcpListener::bind("127.0.0.1:0").expect("a port");
    let mut last = None;
    let board = board(server.try_clone().expect("a server"), move |_, command, _| {
        // Of a calibration, only its first piece is met twice.
        let again = last.replace(command.clone()) == Some(command.clone());
        again || matches!(command, Command::Calibration(Piece { index: 1.., .. }))
    });
    let asked = ["start", "mark:77", "injection:0.25", "calibration:c.toml", "stop"];
    let (code, lines) = listen(&bench, &server, &asked);
    let fates = fates(&lines);
    assert_eq!(code, Some(0), "{fates:?}");
    let pieces = calibration.len().div_ceil(192);
    assert_eq!(fates.len(), 4 + pieces);
    assert!(
        fates.iter().all(|(text, outcome, tries)| {
            outcome == if *tries == 1 { "done" } else { "before" } && asked.contains(&text.as_str())
        }),
        "{fates:?}"
    );
    let done = board.join().expect("it ends");
    assert_eq!(done.len(), 4 + pieces);
    assert_eq!(done[..3], [Command::Start, Command::Mark(77), Command::Injection(250_000)]);
    let whole: Vec<u8> = done[3..3 + pieces]
        .iter()
        .flat_map(|command| match command {
            Command::Calibration(piece) => piece.bytes.to_vec(),
            other => panic!("{other:?}"),
        })
        .collect();
    assert_eq!(whole, calibration.as_bytes());
    assert_eq!(done[3 + pieces], Command::Stop);
}

/// A board that refuses, or says nothing: told, with exit code 1.
#[test]
fn what_is_not_done_is_told() {
    let bench = Bench::new();
    let server = TcpListener::bind("127.0.0.1:0").expect("a port");
    let other =
        board(server.try_clone().expect("a server"), |_, command, _| *command != Command::Start);
    let (code, lines) = listen(&bench, &server, &["injection:1", "start"]);
    assert_eq!(code, Some(1));
    let told = fates(&lines);
    assert_eq!(told[0], ("injection:1".to_owned(), "refused".to_owned(), 1));
    assert_eq!(told[1], ("start".to_owned(), "unanswered".to_owned(), 6));
    assert_eq!(lines.last().expect("an end")["undone"], 2);
    // Sent six times, carried out once.
    assert_eq!(other.join().expect("it ends"), [Command::Start]);
}

/// What hears nothing is sent nothing; what is no command is refused before a line is opened.
#[test]
fn refusals() {
    let bench = Bench::new();
    std::fs::write(bench.path("f.bin"), [0]).expect("written");
    for (arguments, says) in [
        (["f.bin", "--send", "start"], "tcp:HOST:PORT or a device"),
        (["-", "--send", "start"], "tcp:HOST:PORT or a device"),
        (["tcp:127.0.0.1:9", "--send", "begin"], "--send begin: allowed start, stop"),
        (["tcp:127.0.0.1:9", "--send", "calibration:nowhere.toml"], "nowhere.toml"),
    ] {
        let mut command = quietgap();
        command
            .current_dir(bench.path("x").parent().expect("a folder"))
            .arg("listen")
            .args(arguments);
        let output = command.output().expect("it runs");
        let text = String::from_utf8_lossy(&output.stderr).into_owned();
        assert_eq!(output.status.code(), Some(2), "{text}");
        assert!(text.contains(says), "{text}");
    }
}
