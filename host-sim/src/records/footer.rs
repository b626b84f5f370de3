//! **The footer of a Parquet file, before the library reads it.** In the compact protocol of Thrift a list says how many
//! elements it has; of what it does not know the library skips as many, and a truth value in a list costs it no byte: a
//! footer of a kilobyte that claims a hundred million of them takes seconds, one of lists of such lists hours.

/// Deepest that structures and lists stand in each other; the library refuses what is deeper.
const DEEPEST: u32 = 64;

/// Why a walk through a footer ends before its end.
enum Stop {
    /// A list or map claims so many elements, and so many bytes are left.
    Claims(u64, usize),
    /// It breaks off, or holds what it cannot: the library says so better.
    Broken,
}

/// What is wrong with a footer that claims more elements than its bytes can hold; each takes one at least.
#[must_use]
pub fn claims(footer: &[u8]) -> Option<String> {
    let mut rest = footer;
    match skip(&mut rest, STRUCT, 0) {
        Err(Stop::Claims(claimed, left)) => {
            Some(format!("its footer claims a list of {claimed} in {left} bytes"))
        }
        Err(Stop::Broken) | Ok(()) => None,
    }
}

/// Types of a field, as the compact protocol numbers them (Thrift, `thrift-compact-protocol.md`).
const TRUE: u8 = 1;
const FALSE: u8 = 2;
const BYTE: u8 = 3;
const DOUBLE: u8 = 7;
const BINARY: u8 = 8;
const LIST: u8 = 9;
const SET: u8 = 10;
const MAP: u8 = 11;
const STRUCT: u8 = 12;
const UUID: u8 = 13;

fn byte(rest: &mut &[u8]) -> Result<u8, Stop> {
    let (first, later) = rest.split_first().ok_or(Stop::Broken)?;
    *rest = later;
    Ok(*first)
}

fn bytes(rest: &mut &[u8], count: u64) -> Result<(), Stop> {
    let count = usize::try_from(count).map_err(|_| Stop::Broken)?;
    *rest = rest.get(count..).ok_or(Stop::Broken)?;
    Ok(())
}

/// A number in groups of seven bits, the least significant first.
fn number(rest: &mut &[u8]) -> Result<u64, Stop> {
    let mut value = 0;
    for shift in (0..64).step_by(7) {
        let group = byte(rest)?;
        value |= u64::from(group & 0x7f) << shift;
        if group < 0x80 {
            return Ok(value);
        }
    }
    Err(Stop::Broken)
}

fn elements(rest: &mut &[u8], count: u64, kinds: &[u8], depth: u32) -> Result<(), Stop> {
    if count > rest.len() as u64 {
        return Err(Stop::Claims(count, rest.len()));
    }
    for _ in 0..count {
        for kind in kinds {
            // In a list a truth value is a byte; as a field it is the type itself.
            let kind = if matches!(*kind, TRUE | FALSE) { BYTE } else { *kind };
            skip(rest, kind, depth + 1)?;
        }
    }
    Ok(())
}

fn skip(rest: &mut &[u8], kind: u8, depth: u32) -> Result<(), Stop> {
    if depth > DEEPEST {
        return Err(Stop::Broken);
    }
    match kind {
        TRUE | FALSE => Ok(()),
        BYTE => byte(rest).map(|_| ()),
        // 16, 32 and 64 bits.
        4..=6 => number(rest).map(|_| ()),
        DOUBLE => bytes(rest, 8),
        BINARY => {
            let count = number(rest)?;
            bytes(rest, count)
        }
        LIST | SET => {
            let head = byte(rest)?;
            let short = u64::from(head >> 4);
            let count = if short == 15 { number(rest)? } else { short };
            elements(rest, count, &[head & 15], depth)
        }
        MAP => {
            let count = number(rest)?;
            let kinds = if count > 0 { byte(rest)? } else { 0 };
            elements(rest, count, &[kinds >> 4, kinds & 15], depth)
        }
        STRUCT => loop {
            let head = byte(rest)?;
            if head == 0 {
                return Ok(());
            }
            if head >> 4 == 0 {
                number(rest)?;
            }
            skip(rest, head & 15, depth + 1)?;
        },
        UUID => bytes(rest, 16),
        _ => Err(Stop::Broken),
    }
}
