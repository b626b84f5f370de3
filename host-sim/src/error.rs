//! Errors for people: what, given, allowed, where. Every one of them ends a command with
//! exit code 2, before anything is written.

use std::path::Path;

/// Something wrong with an input, an output path or a setting.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Error(String);

/// Result with [`Error`].
pub type Result<T> = std::result::Result<T, Error>;

impl Error {
    /// An error that says `message`.
    pub fn new(message: impl Into<String>) -> Self {
        Self(plain(&message.into()))
    }

    /// An error in a file, at a line where one is known (counted from 1).
    pub fn in_file(path: &Path, line: Option<usize>, message: impl std::fmt::Display) -> Self {
        Self::new(match line {
            Some(line) => format!("{}:{line}: {message}", path.display()),
            None => format!("{}: {message}", path.display()),
        })
    }
}

/// Most characters of a message: what it quotes of a file may be of any length.
const MOST_CHARACTERS: usize = 300;

/// One line, control characters and what turns the direction of writing escaped, the middle left out
/// where it is long: file and line stand in front, what is allowed at the end.
fn plain(message: &str) -> String {
    let turns = |c| matches!(c, '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}');
    let escaped: Vec<char> = message
        .chars()
        .flat_map(|c| {
            let escape = c.is_control() || turns(c);
            let escaped = escape.then(|| c.escape_default());
            escaped.into_iter().flatten().chain((!escape).then_some(c))
        })
        .collect();
    if escaped.len() <= MOST_CHARACTERS {
        return escaped.into_iter().collect();
    }
    let (head, tail) = (&escaped[..MOST_CHARACTERS / 2], &escaped[escaped.len() - 120..]);
    head.iter().chain(&[' ', '.', '.', '.', ' ']).chain(tail).collect()
}

impl std::fmt::Display for Error {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(&self.0)
    }
}

impl std::error::Error for Error {}

/// Longest text file that is read.
const MOST_BYTES: u64 = 1 << 26;

/// Reads a text file; `role` says in messages what it was to be.
///
/// # Errors
/// Not there, not a file, longer than 64 MiB, not UTF-8.
pub fn read_text(path: &Path, role: &str) -> Result<String> {
    let fault = |e: &dyn std::fmt::Display| Error::in_file(path, None, format_args!("{role}: {e}"));
    let found = std::fs::metadata(path).map_err(|e| fault(&e))?;
    if !found.is_file() {
        return Err(fault(&if found.is_dir() { "is a folder" } else { "is not a file" }));
    }
    if found.len() > MOST_BYTES {
        return Err(fault(&format!("has {} bytes, allowed {MOST_BYTES}", found.len())));
    }
    std::fs::read_to_string(path).map_err(|e| fault(&e))
}

/// Line, counted from 1, of byte `offset` of `text`.
#[must_use]
pub fn line_of(text: &str, offset: usize) -> usize {
    text.bytes().take(offset).filter(|b| *b == b'\n').count() + 1
}

/// The candidate nearest to `word` by edit distance, if it is near enough to be a slip.
pub fn nearest<'a>(word: &str, candidates: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    candidates
        .into_iter()
        .map(|c| (distance(word, c), c))
        .min()
        .filter(|(d, c)| *d <= 1 + c.len() / 2)
        .map(|(_, c)| c)
}

fn distance(a: &str, b: &str) -> usize {
    let b: Vec<char> = b.chars().collect();
    let mut row: Vec<usize> = (0..=b.len()).collect();
    for (i, x) in a.chars().enumerate() {
        let mut diagonal = row[0];
        row[0] = i + 1;
        for (j, y) in b.iter().enumerate() {
            let next = (diagonal + usize::from(x != *y)).min(row[j] + 1).min(row[j + 1] + 1);
            diagonal = std::mem::replace(&mut row[j + 1], next);
        }
    }
    row[b.len()]
}
