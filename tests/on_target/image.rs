//! What a linked image holds: functions, sizes, calls and stack, read from its ELF file.

use object::{Object, ObjectSection, ObjectSymbol, SectionKind, SymbolKind};
use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

/// One function of the image.
#[derive(Debug, Default)]
pub struct Function {
    pub size: u64,
    /// Bytes its own frame takes.
    pub frame: u64,
    /// Addresses it calls or jumps to, outside itself.
    pub calls: BTreeSet<u64>,
    /// It calls through a register.
    pub indirect: bool,
    /// Where its code names an address of a function in its constants.
    pub names: BTreeSet<u64>,
}

/// Functions by address, names demangled.
#[derive(Debug)]
pub struct Image {
    pub functions: BTreeMap<u64, (String, Function)>,
    /// Code and constants, bytes.
    pub flash: u64,
    /// What is at rest in memory that is written, bytes; the stack not among it.
    pub ram: u64,
}

impl Image {
    pub fn read(path: &Path) -> Self {
        let bytes = std::fs::read(path).unwrap_or_else(|e| panic!("{}: {e}", path.display()));
        let file = object::File::parse(&*bytes).expect("an ELF file");
        let loaded = |kind| {
            matches!(kind, SectionKind::Text | SectionKind::ReadOnlyData | SectionKind::Data)
        };
        let flash = file.sections().filter(|s| loaded(s.kind())).map(|s| s.size()).sum();
        let written = |kind| matches!(kind, SectionKind::Data | SectionKind::UninitializedData);
        let ram = file.sections().filter(|s| written(s.kind())).map(|s| s.size()).sum();
        let mut functions = BTreeMap::new();
        for symbol in file.symbols().filter(|s| s.kind() == SymbolKind::Text && s.size() > 0) {
            // The lowest bit says Thumb.
            let start = symbol.address() & !1;
            let name = format!("{:#}", rustc_demangle::demangle(symbol.name().expect("a name")));
            let index = symbol.section_index().expect("in a section");
            let section = file.section_by_index(index).expect("a section");
            let code = section
                .data_range(start, symbol.size())
                .expect("readable")
                .expect("the symbol's code");
            functions.insert(start, (name, Function::read(start, code)));
        }
        Self { functions, flash, ram }
    }

    /// Names that tell of a panic, a failed check, or text being made.
    pub fn panics(&self) -> Vec<&str> {
        const SIGNS: [&str; 8] = [
            "core::panicking",
            "panic_",
            "slice_index_fail",
            "unwrap_failed",
            "expect_failed",
            "core::fmt",
            "rust_begin_unwind",
            "div_by_zero",
        ];
        let names = self.functions.values().map(|(name, _)| name.as_str());
        names.filter(|name| SIGNS.iter().any(|sign| name.contains(sign))).collect()
    }

    /// Size of all functions whose name holds `part`.
    pub fn size_of(&self, part: &str) -> u64 {
        let found = self.functions.values().filter(|(name, _)| name.contains(part));
        found.map(|(_, function)| function.size).sum()
    }

    /// Deepest stack below `root`, bytes, from the frames and the call graph. A call through a
    /// register may reach every function that some constant or instruction of the caller names.
    pub fn deepest(&self, root: &str) -> u64 {
        // Itself before what is made for it: closures, tables of calls.
        let named = |end: bool| {
            let is = |name: &str| if end { name.ends_with(root) } else { name.contains(root) };
            self.functions.iter().find(|(_, (name, _))| is(name))
        };
        let (start, _) =
            named(true).or_else(|| named(false)).unwrap_or_else(|| panic!("no {root}"));
        self.below(*start, &mut Vec::new())
    }

    /// Size of all functions that `root` may reach, itself among them.
    pub fn reached(&self, root: &str) -> u64 {
        self.reach(root).map(|(_, function)| function.size).sum()
    }

    /// Their names.
    pub fn reached_names(&self, root: &str) -> impl Iterator<Item = &str> {
        self.reach(root).map(|(name, _)| name.as_str())
    }

    fn reach(&self, root: &str) -> impl Iterator<Item = &(String, Function)> {
        let mut seen = BTreeSet::new();
        let start = self.functions.iter().filter(|(_, (name, _))| name.contains(root));
        let mut left: Vec<u64> = start.map(|(address, _)| *address).collect();
        while let Some(address) = left.pop() {
            if let Some((_, function)) = self.functions.get(&address)
                && seen.insert(address)
            {
                left.extend(&function.calls);
                left.extend(function.indirect.then_some(&function.names).into_iter().flatten());
            }
        }
        seen.into_iter().map(|address| &self.functions[&address])
    }

    fn below(&self, address: u64, path: &mut Vec<u64>) -> u64 {
        let Some((name, function)) = self.functions.get(&address) else { return 0 };
        assert!(!path.contains(&address), "{name} calls itself: no bound");
        path.push(address);
        let mut targets: Vec<u64> = function.calls.iter().copied().collect();
        if function.indirect {
            assert!(!function.names.is_empty(), "{name} calls what it does not name");
            targets.extend(&function.names);
        }
        let deepest = targets.into_iter().map(|to| self.below(to, path)).max().unwrap_or(0);
        path.pop();
        function.frame + deepest
    }
}

impl Function {
    /// Decodes what moves the stack pointer and what calls: Thumb-2 as in the Armv7-M reference
    /// manual (encodings from memory, checked by the marks seen on the emulator).
    fn read(start: u64, code: &[u8]) -> Self {
        let mut made = Self { size: code.len() as u64, ..Self::default() };
        let half = |at: usize| {
            code.get(at..at + 2).map_or(0, |b| u32::from(u16::from_le_bytes([b[0], b[1]])))
        };
        let end = start + code.len() as u64;
        // Halves of addresses built by movw and movt, by register.
        let mut low = [0u32; 16];
        let mut at = 0;
        while at < code.len() {
            let (first, second) = (half(at), half(at + 2));
            let here = start + at as u64;
            if first < 0xe800 {
                at += 2;
                match first {
                    // push {...}; sub sp, #imm.
                    f if f & 0xfe00 == 0xb400 => {
                        made.frame += 4 * u64::from((f & 0x1ff).count_ones())
                    }
                    f if f & 0xff80 == 0xb080 => made.frame += 4 * u64::from(f & 0x7f),
                    // blx register, and bx of one other than the return address.
                    f if f & 0xff80 == 0x4780 => made.indirect = true,
                    f if f & 0xff80 == 0x4700 && (f >> 3) & 15 != 14 => made.indirect = true,
                    _ => {}
                }
                continue;
            }
            at += 4;
            let immediate =
                u64::from((first >> 10 & 1) << 11 | (second >> 12 & 7) << 8 | second & 0xff);
            match first {
                // stmdb sp!, {...}; str register, [sp, #-n]!; vpush.
                0xe92d => made.frame += 4 * u64::from(second.count_ones()),
                0xf84d if second & 0xd00 == 0xd00 => made.frame += u64::from(second & 0xff),
                0xed2d => made.frame += 4 * u64::from(second & 0xff),
                // sub.w sp, sp, #modified; subw sp, sp, #imm12.
                f if f & 0xfbef == 0xf1ad && second & 0x8f00 == 0x0d00 => {
                    made.frame += expand(immediate as u32);
                }
                f if f & 0xfbff == 0xf2ad && second & 0x8f00 == 0x0d00 => made.frame += immediate,
                // movw and movt.
                f if f & 0xfbf0 == 0xf240 => {
                    low[(second >> 8 & 15) as usize] = (first & 15) << 12 | immediate as u32;
                }
                f if f & 0xfbf0 == 0xf2c0 => {
                    let high = (first & 15) << 12 | immediate as u32;
                    let address = u64::from(high << 16 | low[(second >> 8 & 15) as usize]);
                    // Functions' addresses are odd.
                    if address & 1 == 1 {
                        made.names.insert(address & !1);
                    }
                }
                // bl and b.w.
                f if f & 0xf800 == 0xf000 && second & 0x9000 == 0x9000 => {
                    let sign = f >> 10 & 1;
                    let (i1, i2) = (!(second >> 13 ^ sign) & 1, !(second >> 11 ^ sign) & 1);
                    let offset = sign << 24
                        | i1 << 23
                        | i2 << 22
                        | (f & 0x3ff) << 12
                        | (second & 0x7ff) << 1;
                    let offset = i64::from((offset << 7) as i32 >> 7);
                    let to = here.wrapping_add(4).wrapping_add_signed(offset);
                    if !(start..end).contains(&to) {
                        made.calls.insert(to);
                    }
                }
                _ => {}
            }
        }
        made
    }
}

/// A modified immediate constant.
fn expand(immediate: u32) -> u64 {
    let byte = immediate & 0xff;
    u64::from(match immediate >> 8 {
        0 => byte,
        1 => byte << 16 | byte,
        2 => byte << 24 | byte << 8,
        3 => byte * 0x0101_0101,
        _ => (0x80 | byte & 0x7f).rotate_right(immediate >> 7),
    })
}
