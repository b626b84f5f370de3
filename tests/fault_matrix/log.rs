//! What a board's log has to say, by the messages that it sent.

use quietgap_acquisition::Faults;
use quietgap_core::Health;
use quietgap_telemetry::Message;

/// Lines of level and text: of each start, each change of health and of faults, and the end.
pub fn expected(name: &str, messages: &[Message]) -> Vec<String> {
    let mut lines = Vec::new();
    let (mut health, mut told) = (Health::OK, (Faults::NONE, 0));
    let mut with_next = (Faults::NONE, 0);
    for message in messages {
        match message {
            Message::Settings(settings) => {
                lines.push(format!("INFO {name} begins, start {}", settings.starts));
                (health, told) = (Health::OK, (Faults::NONE, 0));
            }
            Message::Acquisition(found) => {
                with_next = (Faults::from_bits(found.faults), found.channels);
            }
            Message::Reading(reading) => {
                let now = std::mem::replace(&mut with_next, (Faults::NONE, 0));
                if now.0 != told.0 {
                    let names: Vec<&str> = now.0.names().collect();
                    lines.push(if names.is_empty() {
                        "INFO faults are over".to_owned()
                    } else {
                        format!("WARN faults: {}, channels {:#b}", names.join(" "), now.1)
                    });
                }
                told = now;
                let now = Health::from_bits(reading.health);
                if now != health {
                    let names: Vec<&str> = now.names().collect();
                    lines.push(if now.is_ok() {
                        "INFO readings are healthy".to_owned()
                    } else {
                        format!("WARN readings: {}", names.join(" "))
                    });
                }
                health = now;
            }
            _ => {}
        }
    }
    lines.push(format!("INFO ends after {} frames", messages.len()));
    lines
}

/// The same of what was logged: without the blocks that date it, the plan's checksum, and lost blocks, which messages count
/// now and then only.
pub fn comparable(lines: &[String]) -> Vec<String> {
    let text = |line: &String| {
        let mut words: Vec<&str> = line.split_whitespace().skip(2).collect();
        if let Some(at) = words.iter().position(|word| *word == "plan") {
            words.drain(at..at + 2);
        }
        words.join(" ")
    };
    lines.iter().map(text).filter(|line| !line.starts_with("ERROR blocks lost")).collect()
}
