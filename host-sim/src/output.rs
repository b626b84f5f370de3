//! **Output files** that appear whole or not at all.

use crate::error::{Error, Result};
use std::io::{BufWriter, Write};
use std::path::{Path, PathBuf};

/// A file written beside its place and moved there when finished.
#[derive(Debug)]
pub struct AtomicFile {
    path: PathBuf,
    file: BufWriter<tempfile::NamedTempFile>,
}

impl AtomicFile {
    /// Opens a temporary file in the folder of `path`.
    ///
    /// # Errors
    /// The folder does not exist or is not writable, or `path` is a folder.
    pub fn create(path: &Path) -> Result<Self> {
        let fault =
            |e: &dyn std::fmt::Display| Error::in_file(path, None, format!("cannot write: {e}"));
        // A link stays and its target is replaced; a folder, device or socket is left alone.
        let target = path.canonicalize().unwrap_or_else(|_| path.to_owned());
        match std::fs::symlink_metadata(&target) {
            Ok(found) if found.is_dir() => return Err(fault(&"it is a folder")),
            Ok(found) if !found.is_file() => return Err(fault(&"it is not a file")),
            _ => {}
        }
        let path = target.as_path();
        let folder = match path.parent() {
            Some(folder) if !folder.as_os_str().is_empty() => folder,
            _ => Path::new("."),
        };
        if !folder.is_dir() {
            return Err(fault(&format_args!("there is no folder {}", folder.display())));
        }
        let mut builder = tempfile::Builder::new();
        #[cfg(unix)]
        {
            // As any program's output: readable by others, within the user's umask.
            use std::os::unix::fs::PermissionsExt;
            builder.permissions(std::fs::Permissions::from_mode(0o666));
        }
        let file = builder.prefix(".unfinished-").tempfile_in(folder).map_err(|e| fault(&e))?;
        Ok(Self { path: path.to_owned(), file: BufWriter::with_capacity(1 << 16, file) })
    }

    /// Writes through `put`.
    ///
    /// # Errors
    /// A failing write.
    pub fn write(
        &mut self,
        put: impl FnOnce(&mut BufWriter<tempfile::NamedTempFile>) -> std::io::Result<()>,
    ) -> Result<()> {
        put(&mut self.file)
            .map_err(|e| Error::in_file(&self.path, None, format!("cannot write: {e}")))
    }

    /// Moves the file to its place.
    ///
    /// # Errors
    /// A failing write or move.
    pub fn finish(mut self) -> Result<()> {
        let fault =
            |e: std::io::Error| Error::in_file(&self.path, None, format!("cannot write: {e}"));
        self.file.flush().map_err(fault)?;
        let file = self.file.into_inner().map_err(|e| fault(e.into_error()))?;
        file.persist(&self.path).map_err(|e| fault(e.error))?;
        Ok(())
    }
}

impl Write for AtomicFile {
    fn write(&mut self, bytes: &[u8]) -> std::io::Result<usize> {
        self.file.write(bytes)
    }

    fn flush(&mut self) -> std::io::Result<()> {
        self.file.flush()
    }
}

/// A value without the keys of objects that have none.
#[must_use]
pub fn without_nulls(value: &serde_json::Value) -> serde_json::Value {
    use serde_json::Value;
    match value {
        Value::Object(object) => {
            let kept = object.iter().filter(|(_, value)| !value.is_null());
            Value::Object(kept.map(|(key, value)| (key.clone(), without_nulls(value))).collect())
        }
        Value::Array(array) => Value::Array(array.iter().map(without_nulls).collect()),
        other => other.clone(),
    }
}

/// A file that appears whole, or standard output for `-`.
#[derive(Debug)]
pub enum Output {
    /// To appear.
    File(AtomicFile),
    /// As it comes.
    Standard(std::io::BufWriter<std::io::Stdout>),
}

impl Output {
    /// Opens it.
    ///
    /// # Errors
    /// As of [`AtomicFile::create`].
    pub fn create(path: &Path) -> Result<Self> {
        if path == Path::new("-") {
            return Ok(Self::Standard(BufWriter::new(std::io::stdout())));
        }
        AtomicFile::create(path).map(Self::File)
    }

    /// Writes text. A pipe that nobody reads any more is no fault.
    ///
    /// # Errors
    /// A failing write.
    pub fn write(&mut self, text: std::fmt::Arguments<'_>) -> Result<()> {
        match self {
            Self::File(file) => file.write(|out| out.write_fmt(text)),
            Self::Standard(out) => match out.write_fmt(text) {
                Err(e) if e.kind() == std::io::ErrorKind::BrokenPipe => std::process::exit(0),
                Err(e) => Err(Error::new(format!("standard output: cannot write: {e}"))),
                Ok(()) => Ok(()),
            },
        }
    }

    /// Moves the file to its place, or flushes.
    ///
    /// # Errors
    /// A failing write or move.
    pub fn finish(self) -> Result<()> {
        match self {
            Self::File(file) => file.finish(),
            Self::Standard(mut out) => match out.flush() {
                Err(e) if e.kind() != std::io::ErrorKind::BrokenPipe => {
                    Err(Error::new(format!("standard output: cannot write: {e}")))
                }
                _ => Ok(()),
            },
        }
    }
}

/// Writes a whole text file.
///
/// # Errors
/// As of [`AtomicFile`].
pub fn write_text(path: &Path, text: &str) -> Result<()> {
    let mut file = AtomicFile::create(path)?;
    file.write(|f| f.write_all(text.as_bytes()))?;
    file.finish()
}
