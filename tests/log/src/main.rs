//! `quietgap-log IMAGE LOG`: a line of text for each line of a board's log, by the texts that its image's file holds.
//! Bytes that are no line are refused.

use defmt_decoder::{DecodeError, Table};
use std::ffi::OsString;
use std::path::Path;
use std::process::ExitCode;

fn main() -> ExitCode {
    let paths: Vec<_> = std::env::args_os().skip(1).collect();
    let [image, log] = &paths[..] else {
        eprintln!("error: {} arguments, allowed IMAGE LOG", paths.len());
        return ExitCode::from(2);
    };
    let read = |path: &OsString| {
        std::fs::read(path).map_err(|error| format!("{}: {error}", Path::new(path).display()))
    };
    let text = read(image)
        .and_then(|image| Ok((image, read(log)?)))
        .and_then(|(image, log)| text(&image, &log));
    match text {
        Ok(text) => {
            print!("{text}");
            ExitCode::SUCCESS
        }
        Err(error) => {
            eprintln!("error: {error}");
            ExitCode::from(2)
        }
    }
}

fn text(image: &[u8], log: &[u8]) -> Result<String, String> {
    let table = Table::parse(image).map_err(|error| error.to_string())?;
    let table = table.ok_or("the image holds no texts of a log")?;
    let mut decoder = table.new_stream_decoder();
    decoder.received(log);
    let mut text = String::new();
    loop {
        match decoder.decode() {
            Ok(line) => text += &format!("{}\n", line.display(false)),
            Err(DecodeError::UnexpectedEof) => return Ok(text),
            Err(DecodeError::Malformed) => return Err("bytes that are no line of a log".to_owned()),
        }
    }
}
