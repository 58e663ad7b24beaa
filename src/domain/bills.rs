//! The bill that is kept with a receipt: photos or PDFs, as they were sent.
//!
//! Only four kinds are kept, told by how their bytes begin and never by their name: none of them can run anything in a
//! browser when it is served as what it is. Whatever could, such as a page or a drawing with script in it, is refused.

use std::fmt::Write as _;

use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};

use super::refusal::Refusal;
use crate::units::Misread;
use crate::units::days::Instant;
use crate::units::ids::{BillId, EntryId};

/// The most bytes of one file.
pub const MOST_BYTES: usize = 8 * 1024 * 1024;
/// Files that stand with one receipt at most.
pub const MOST_FILES: usize = 6;
/// The longest name that is kept.
const LONGEST_NAME: usize = 80;

/// What a file is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum FileKind {
    /// A photo.
    Jpeg,
    /// A picture of a screen.
    Png,
    /// A photo, packed otherwise.
    Webp,
    /// A document.
    Pdf,
}

impl FileKind {
    /// All of them.
    pub const ALL: [Self; 4] = [Self::Jpeg, Self::Png, Self::Webp, Self::Pdf];

    /// In the database and as the end of a name.
    pub const fn code(self) -> &'static str {
        match self {
            Self::Jpeg => "jpg",
            Self::Png => "png",
            Self::Webp => "webp",
            Self::Pdf => "pdf",
        }
    }

    /// From its code.
    pub fn from_code(code: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|kind| kind.code() == code)
    }

    /// The media type.
    pub const fn media_type(self) -> &'static str {
        match self {
            Self::Jpeg => "image/jpeg",
            Self::Png => "image/png",
            Self::Webp => "image/webp",
            Self::Pdf => "application/pdf",
        }
    }

    /// For people.
    pub const fn label(self) -> &'static str {
        match self {
            Self::Jpeg => "JPEG",
            Self::Png => "PNG",
            Self::Webp => "WebP",
            Self::Pdf => "PDF",
        }
    }

    /// By the bytes with which it begins, as the formats lay down.
    pub fn of(bytes: &[u8]) -> Option<Self> {
        match bytes {
            [0xFF, 0xD8, 0xFF, ..] => Some(Self::Jpeg),
            [0x89, b'P', b'N', b'G', 0x0D, 0x0A, 0x1A, 0x0A, ..] => Some(Self::Png),
            [b'R', b'I', b'F', b'F', _, _, _, _, b'W', b'E', b'B', b'P', ..] => Some(Self::Webp),
            [b'%', b'P', b'D', b'F', b'-', ..] => Some(Self::Pdf),
            _ => None,
        }
    }
}

/// A file that is to be kept.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct BillFile {
    /// How it was called where it came from.
    pub name: String,
    /// What it is.
    pub kind: FileKind,
    /// By which the same file is known.
    pub fingerprint: String,
    /// What it holds; the fingerprint stands for it.
    #[serde(skip)]
    pub bytes: Vec<u8>,
}

impl BillFile {
    /// A file as it was sent; refused with the words that say what to do.
    pub fn read(called: &str, bytes: Vec<u8>) -> Result<Self, Misread> {
        let name = plain(called);
        let this = if name.is_empty() { "This file".to_owned() } else { format!("“{name}”") };
        if bytes.is_empty() {
            return Err(Misread::new(format!("{this} is empty: take the photo again")));
        }
        if bytes.len() > MOST_BYTES {
            return Err(Misread::new(format!(
                "{this} is too large: at most {} are kept of one file; take the photo with fewer dots, or of a part",
                size(MOST_BYTES)
            )));
        }
        let kind = FileKind::of(&bytes).ok_or_else(|| {
            Misread::new(format!(
                "{this} is neither a JPEG, PNG or WebP picture nor a PDF; nothing else is kept as a bill"
            ))
        })?;
        let fingerprint = Sha256::digest(&bytes).iter().fold(String::new(), |mut text, byte| {
            // Writing to a String does not fail.
            let _ = write!(text, "{byte:02x}");
            text
        });
        Ok(Self { name, kind, fingerprint, bytes })
    }
}

/// The end of a path, without what cannot be shown; empty where nothing is left.
fn plain(called: &str) -> String {
    let last = called.rsplit(['/', '\\']).next().unwrap_or_default();
    let kept: String = last.chars().filter(|letter| !letter.is_control()).take(LONGEST_NAME).collect();
    kept.trim().to_owned()
}

/// "640 KiB", "2.4 MiB".
pub fn size(bytes: usize) -> String {
    const KIB: usize = 1024;
    if bytes < KIB {
        return format!("{bytes} bytes");
    }
    if bytes < 1000 * KIB {
        return format!("{} KiB", (bytes + KIB / 2) / KIB);
    }
    let tenths = (bytes * 10 + KIB * KIB / 2) / (KIB * KIB);
    if tenths.is_multiple_of(10) {
        format!("{} MiB", tenths / 10)
    } else {
        format!("{}.{} MiB", tenths / 10, tenths % 10)
    }
}

/// Refuses more files than are kept with a receipt.
pub fn room_for(standing: usize, more: usize) -> Result<(), Refusal> {
    if standing + more <= MOST_FILES {
        return Ok(());
    }
    let there = match standing {
        0 => String::new(),
        1 => "; 1 is there already".to_owned(),
        standing => format!("; {standing} are there already"),
    };
    let words = format!("At most {MOST_FILES} files are kept with a receipt{there}. Leave some out");
    Err(Refusal::unfit("bills", words))
}

/// A file that was kept.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Bill {
    /// Which.
    pub id: BillId,
    /// The receipt.
    pub entry: EntryId,
    /// How it was called where it came from; may be empty.
    pub name: String,
    /// What it is.
    pub kind: FileKind,
    /// How many bytes.
    pub size: usize,
    /// Who added it.
    pub by: String,
    /// When.
    pub at: Instant,
    /// Who struck it out, when, and why; what it held is gone then.
    pub struck: Option<(String, Instant, String)>,
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_file_is_what_its_bytes_say_and_nothing_else_is_kept() {
        let kind = |bytes: &[u8]| BillFile::read("a.pdf", bytes.to_vec()).map(|file| file.kind);
        assert_eq!(kind(b"\xFF\xD8\xFF\xE0\0\x10JFIF"), Ok(FileKind::Jpeg));
        assert_eq!(kind(b"\x89PNG\r\n\x1a\n\0\0"), Ok(FileKind::Png));
        assert_eq!(kind(b"RIFF\x24\0\0\0WEBPVP8 "), Ok(FileKind::Webp));
        assert_eq!(kind(b"%PDF-1.7\n"), Ok(FileKind::Pdf));
        for (bytes, words) in [
            (b"<svg xmlns=\"http://www.w3.org/2000/svg\"><script/></svg>".to_vec(), "neither a JPEG"),
            (b"<!doctype html><script>1</script>%PDF-1.7".to_vec(), "neither a JPEG"),
            (b"GIF89a".to_vec(), "neither a JPEG"),
            (b"RIFF\x24\0\0\0WAVEfmt ".to_vec(), "neither a JPEG"),
            (b"\0\0\0\x18ftypheic".to_vec(), "neither a JPEG"),
            (Vec::new(), "is empty"),
            (vec![0xFF; MOST_BYTES + 1], "at most 8 MiB"),
        ] {
            let misread = BillFile::read("photos\\bill\u{7}.pdf", bytes).unwrap_err().to_string();
            assert!(misread.contains(words) && misread.contains("“bill.pdf”"), "{misread}");
        }
        let whole = [b"\xFF\xD8\xFF".to_vec(), vec![0; MOST_BYTES - 3]].concat();
        assert!(BillFile::read("", whole).is_ok(), "as large as may be");
    }

    #[test]
    fn the_same_bytes_have_the_same_fingerprint() {
        let of = |name: &str, bytes: &[u8]| BillFile::read(name, bytes.to_vec()).unwrap().fingerprint;
        assert_eq!(of("a", b"%PDF-1"), of("b", b"%PDF-1"));
        assert_ne!(of("a", b"%PDF-1"), of("a", b"%PDF-2"));
    }

    #[test]
    fn six_files_have_room_and_sizes_are_said_in_words() {
        assert!(room_for(0, 6).is_ok() && room_for(5, 1).is_ok());
        assert!(room_for(4, 3).unwrap_err().faults[0].message.contains("4 are there already"));
        let sizes = [900, 1024, 655_360, 1_048_576, 2_516_582].map(size);
        assert_eq!(sizes, ["900 bytes", "1 KiB", "640 KiB", "1 MiB", "2.4 MiB"]);
    }
}
