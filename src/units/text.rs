//! Names and remarks: what people write, trimmed, bounded, and folded for comparing.

use super::Misread;

/// One line of text, between 1 and `most` characters, without control characters.
pub fn line(text: &str, most: usize, what: &str) -> Result<String, Misread> {
    let text = text.split_whitespace().collect::<Vec<_>>().join(" ");
    if text.is_empty() {
        return Err(Misread::new(format!("Write {what}")));
    }
    bounded(&text, most, what)?;
    Ok(text)
}

/// Free text of at most `most` characters; it may be empty and may hold line breaks.
pub fn remark(text: &str, most: usize, what: &str) -> Result<String, Misread> {
    let text = text.replace("\r\n", "\n").trim().to_owned();
    bounded(&text.replace('\n', " "), most, what)?;
    Ok(text)
}

fn bounded(text: &str, most: usize, what: &str) -> Result<(), Misread> {
    if text.chars().any(char::is_control) {
        return Err(Misread::new(format!("Write {what} without control characters")));
    }
    let length = text.chars().count();
    if length > most {
        return Err(Misread::new(format!("Write {what} in at most {most} characters; this has {length}")));
    }
    Ok(())
}

/// The form in which names are compared and searched: lower case, the usual accents taken off.
pub fn folded(text: &str) -> String {
    if text.is_ascii() {
        return text.to_ascii_lowercase();
    }
    let mut folded = String::with_capacity(text.len());
    for letter in text.to_lowercase().chars() {
        match letter {
            'à' | 'á' | 'â' | 'ã' | 'ä' | 'å' => folded.push('a'),
            'ç' => folded.push('c'),
            'è' | 'é' | 'ê' | 'ë' => folded.push('e'),
            'ì' | 'í' | 'î' | 'ï' => folded.push('i'),
            'ñ' => folded.push('n'),
            'ò' | 'ó' | 'ô' | 'õ' | 'ö' | 'ø' => folded.push('o'),
            'ù' | 'ú' | 'û' | 'ü' => folded.push('u'),
            'ß' => folded.push_str("ss"),
            'æ' => folded.push_str("ae"),
            'œ' => folded.push_str("oe"),
            '’' | '‘' => folded.push('\''),
            other => folded.push(other),
        }
    }
    folded
}

/// With what a cell begins that a spreadsheet would run, the wide forms too.
pub const RUN: [char; 11] = ['=', '+', '-', '@', '\t', '\r', '\n', '＝', '＋', '－', '＠'];

/// What somebody typed as a cell that no spreadsheet runs, so that [`as_typed`] gives it back.
pub fn as_cell(text: &str) -> String {
    if text.starts_with(RUN) || text.starts_with('\'') { format!("'{text}") } else { text.to_owned() }
}

/// What was typed, from the cell that [`as_cell`] made of it.
pub fn as_typed(cell: &str) -> &str {
    cell.strip_prefix('\'').unwrap_or(cell)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_cell_is_never_run_and_gives_back_what_was_typed() {
        for text in ["", "Cane sugar", "=1+1", "'=1+1", "''", "-3", "＝A1", "\n"] {
            let cell = as_cell(text);
            assert!(!cell.starts_with(RUN), "{text}");
            assert_eq!(as_typed(&cell), text);
        }
    }

    #[test]
    fn a_name_is_trimmed_and_bounded() {
        assert_eq!(line("  Cane \t sugar ", 80, "a name").unwrap(), "Cane sugar");
        assert_eq!(line(" ", 80, "a name").unwrap_err().to_string(), "Write a name");
        assert!(line("a\0b", 80, "a name").unwrap_err().to_string().contains("control"));
        assert!(line(&"x".repeat(10_000), 80, "a name").unwrap_err().to_string().contains("10000"));
    }

    #[test]
    fn names_that_look_alike_fold_alike() {
        assert_eq!(folded("Sheep’s Crème"), folded("sheep's creme"));
    }
}
