//! Tables from elsewhere, as spreadsheets and loggers write them: their letters, what separates their cells, and how
//! they write days.

use crate::domain::refusal::Refusal;

pub mod moments;

/// Text from the bytes of a file: UTF-8 with or without its mark, UTF-16 as spreadsheets write it, else Latin-1.
pub fn decode(bytes: Vec<u8>) -> String {
    let wide = |bytes: &[u8], read: fn([u8; 2]) -> u16| {
        let units: Vec<u16> = bytes.chunks_exact(2).map(|pair| read([pair[0], pair[1]])).collect();
        String::from_utf16_lossy(&units)
    };
    match &bytes[..] {
        [0xEF, 0xBB, 0xBF, rest @ ..] => String::from_utf8_lossy(rest).into_owned(),
        [0xFF, 0xFE, rest @ ..] => wide(rest, u16::from_le_bytes),
        [0xFE, 0xFF, rest @ ..] => wide(rest, u16::from_be_bytes),
        _ => String::from_utf8(bytes)
            .unwrap_or_else(|other| other.as_bytes().iter().map(|byte| char::from(*byte)).collect()),
    }
}

/// The separator that splits most lines into the same number of cells, more than one. What stands between quotes does
/// not separate.
pub fn separator(text: &str) -> Result<u8, Refusal> {
    let lines: Vec<&str> = text.lines().filter(|line| !line.trim().is_empty()).take(20).collect();
    let cells = |sign: u8| {
        let counts: Vec<usize> = lines.iter().map(|line| bare(line, sign)).collect();
        let usual = *counts.last()?;
        let agree = counts.iter().filter(|count| **count == usual).count();
        (usual > 0).then_some((agree, sign))
    };
    // A comma may be a decimal sign: it counts only where nothing else separates.
    let found = [b'\t', b';'].into_iter().filter_map(cells).max().or_else(|| cells(b','));
    found.map(|found| found.1).ok_or_else(|| {
        Refusal::unfit(
            "rows",
            "Cells are separated by a comma, a semicolon or a tab; this has none of them. Send the table as it was \
             saved, with a row of names over its columns",
        )
    })
}

/// How often a sign stands in a line outside quotes.
fn bare(line: &str, sign: u8) -> usize {
    let mut quoted = false;
    let mut count = 0;
    for byte in line.bytes() {
        quoted ^= byte == b'"';
        count += usize::from(byte == sign && !quoted);
    }
    count
}

/// What separates, for people.
pub const fn named(separator: u8) -> &'static str {
    match separator {
        b'\t' => "tabs",
        b';' => "semicolons",
        _ => "commas",
    }
}
