//! Auxiliary records that `attribute` is given.

use super::Options;
use quietgap_sim::attribution::together::SQUARED;
use quietgap_sim::error::{Error, Result};
use quietgap_sim::records::{Record, Source};
use std::collections::BTreeSet;

/// A record with its file's name.
type Named = (String, Record);

/// The auxiliary records, and names of columns that never change.
pub(super) fn auxiliary(options: &Options, reading: &str) -> Result<(Vec<Named>, Vec<String>)> {
    let (mut out, mut constant) = (Vec::new(), Vec::new());
    let asked = options.channel.iter().chain(&options.square);
    let mut wanted: BTreeSet<&str> = asked.map(String::as_str).collect();
    let mut known = Vec::new();
    for path in &options.auxiliary {
        let own = path.canonicalize().ok() == options.record.file.canonicalize().ok();
        let rate = if own { options.record.rate } else { options.auxiliary_rate };
        let source = Source::open(path, rate)?;
        let names: Vec<String> =
            source.names().filter(|name| !own || *name != reading).map(str::to_owned).collect();
        known.extend(names.clone());
        let names: Vec<String> = names
            .into_iter()
            .filter(|n| {
                options.channel.is_empty()
                    || options.channel.contains(n)
                    || options.square.contains(n)
            })
            .collect();
        if names.is_empty() {
            continue;
        }
        names.iter().for_each(|name| {
            wanted.remove(name.as_str());
        });
        let mut record = source.read(&names, options.record.flagged, &|_| {})?;
        for name in options.square.iter().filter(|name| names.contains(name)) {
            let n = names.iter().position(|own| own == name).expect("one of these");
            record.columns.push(record.columns[n].iter().map(|x| x * x).collect());
            record.names.push(format!("{name}{SQUARED}"));
        }
        let changes: Vec<bool> =
            (0..record.names.len()).map(|n| !record.series(n).is_constant()).collect();
        let still = record.names.iter().zip(&changes).filter(|(_, changes)| !**changes);
        constant.extend(still.map(|(name, _)| name.clone()));
        let mut keep = changes.iter();
        record.columns.retain(|_| *keep.next().unwrap_or(&true));
        let mut keep = changes.iter();
        record.names.retain(|_| *keep.next().unwrap_or(&true));
        let file = path.file_name().map_or_else(String::new, |f| f.to_string_lossy().into_owned());
        if !record.names.is_empty() {
            out.push((file, record));
        }
    }
    if let Some(name) = wanted.first() {
        return Err(Error::new(format!(
            "column {name}: in none of the auxiliary files, which have {}",
            known.join(", ")
        )));
    }
    if out.is_empty() {
        let said = if constant.is_empty() {
            "no column beside the reading".to_owned()
        } else {
            format!("nothing that changes: {}", constant.join(", "))
        };
        return Err(Error::new(format!("the auxiliary files have {said}")));
    }
    Ok((out, constant))
}
