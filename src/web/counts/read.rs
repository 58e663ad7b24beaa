//! What is sent of a count, by a page's form and by a program alike.

use crate::actions::counts::{
    CallingOff, Found, FoundThing, Posting, Recount, Say, Saying, Start, Tallied, Ways,
};
use crate::domain::counts::weighed::{read_any, read_sum};
use crate::domain::counts::{Line, Reason, Tolerance};
use crate::domain::members::Doer;
use crate::domain::refusal::Refusal;
use crate::domain::stock::ItemKind;
use crate::units::Misread;
use crate::units::ids::{CountId, LotId, PlaceId, TallyId};
use crate::units::quantity::{BaseUnit, Milli};
use crate::web::input::{Draft, Reader};

/// The longest name of a count, and of what was found.
const NAME: usize = 120;
/// The longest words to a line.
const WORDS: usize = 200;
/// Lines that are named at once at most.
const MOST_LINES: usize = 1000;

/// What is to be counted.
pub fn start(draft: &Draft, doer: &Doer) -> Result<Start, Refusal> {
    draft.read(doer, |r| Start {
        title: r.optional_line("title", NAME, "a name"),
        places: r.ids("places", "place"),
        kinds: r.choices("kinds", &ItemKind::ALL, ItemKind::code),
        items: r.ids("items", "item"),
    })
}

/// What was counted of a line.
pub fn tally(draft: &Draft, doer: &Doer, count: CountId, line: &Line) -> Result<Tallied, Refusal> {
    draft.read(doer, |r| {
        // A program says which line; a page has it in its address.
        if r.was_sent("line") {
            r.whole("line", 1..=u32::MAX);
        }
        Tallied { count, number: line.number, found: found(r, |text| read_sum(text, line.unit)) }
    })
}

fn found(r: &mut Reader, read: impl FnOnce(&str) -> Result<Milli, Misread>) -> Found {
    let none = r.flag("none");
    let counted = r.optional("counted", read);
    if none && counted.is_some_and(|counted| counted != Milli::ZERO) {
        r.fault(
            "counted",
            "You wrote that something is here, and chose that nothing is; leave one of them out",
        );
    }
    let gross = r.optional("gross", |text| Milli::read_zero(text, BaseUnit::Gram));
    let tare = r.optional("tare", |text| Milli::read_zero(text, BaseUnit::Gram));
    if gross.is_none() && tare.is_some() {
        r.fault("gross", "Write what the scale showed with the vessel on it, such as 12.4 kg");
    }
    Found {
        counted: if none { Some(Milli::ZERO) } else { counted },
        weighed: gross.map(|gross| (gross, tare.unwrap_or_default())),
        opened: r.flag("opened"),
        remark: r.optional_line("remark", WORDS, "a remark"),
        at: r.sent_later("at"),
    }
}

/// Something that is not on the sheet. `lot` is what its code names, with what it is counted in.
pub fn thing(
    draft: &Draft,
    doer: &Doer,
    count: CountId,
    lot: Option<(LotId, BaseUnit)>,
) -> Result<FoundThing, Refusal> {
    draft.read(doer, |r| {
        if !r.is_empty("code") && lot.is_none() {
            r.fault(
                "code",
                "No lot has this code; look at the label again, or leave it empty and write what it is",
            );
        }
        let mut unit = lot.map_or(BaseUnit::Piece, |lot| lot.1);
        let what = r.optional_line("what", NAME, "what it is");
        if lot.is_none() && what.is_empty() && r.is_empty("code") {
            r.fault("what", "Write the code of its label, or what it is");
        }
        let found = found(r, |text| match lot {
            Some((_, unit)) => read_sum(text, unit),
            None => read_any(text).map(|(quantity, read)| {
                unit = read;
                quantity
            }),
        });
        if lot.is_none() && found.counted.is_none() && found.weighed.is_some() {
            unit = BaseUnit::Gram;
        }
        if found.counted.is_none() && found.weighed.is_none() {
            r.fault("counted", "Write how much it is: 3, 2.5 kg or 4 L");
        }
        FoundThing { count, place: r.id("place", "place"), lot: lot.map(|lot| lot.0), what, unit, found }
    })
}

/// Lines to be counted again.
pub fn recount(draft: &Draft, doer: &Doer, count: CountId) -> Result<Recount, Refusal> {
    draft.read(doer, |r| Recount { count, lines: numbers(r, "again") })
}

fn numbers(r: &mut Reader, field: &str) -> Vec<u32> {
    let text = r.text(field);
    let mut found = Vec::new();
    for word in text.split(',').map(str::trim).filter(|word| !word.is_empty()) {
        match word.parse::<u32>() {
            Ok(number) if number > 0 => found.push(number),
            _ => r.fault(field, "Write the numbers of lines, whole numbers such as 3, 17"),
        }
    }
    found.sort_unstable();
    found.dedup();
    if found.len() > MOST_LINES {
        r.fault(field, format!("Name at most {MOST_LINES} lines at once"));
    }
    found
}

/// What is said of one line.
pub fn saying(draft: &Draft, doer: &Doer, count: CountId, number: u32) -> Result<Saying, Refusal> {
    draft.read(doer, |r| {
        let stands: Option<TallyId> = r.optional_id("stands", "count of this line");
        let lot: Option<LotId> = r.optional_id("lot", "lot");
        let left_out = r.flag("leave_out");
        let say = match (stands, lot, left_out) {
            (None, None, false) => Say::Why,
            (Some(tally), None, false) => Say::Stands(tally),
            (None, Some(lot), false) => Say::Is(lot),
            (None, None, true) => Say::LeaveOut,
            _ => {
                r.fault("", "Say one thing of a line at a time");
                Say::Why
            }
        };
        let reason = r.optional_choice("reason", &Reason::ALL, Reason::code);
        if matches!(say, Say::Why) && reason.is_none() {
            r.fault(
                "reason",
                "Say why it differs, which count stands, of which lot it is, or that it is left out",
            );
        }
        Saying { count, number, say, reason, words: r.optional_line("words", WORDS, "the reason in words") }
    })
}

/// What a program posts.
pub fn posting(draft: &Draft, doer: &Doer, count: CountId) -> Result<Posting, Refusal> {
    draft.read(doer, |r| Posting {
        count,
        again: numbers(r, "again"),
        reasons: r.rows_up_to("reasons", MOST_LINES, |r| {
            let number = r.whole("line", 1..=u32::MAX);
            let reason = r.choice("reason", &Reason::ALL, Reason::code);
            (number, reason, r.optional_line("words", WORDS, "the reason in words"))
        }),
        reason: r.optional_choice("reason", &Reason::ALL, Reason::code),
        words: r.optional_line("words", WORDS, "the reason in words"),
    })
}

/// What the page of differences sends, with a field of its own for each of these lines.
pub fn page_posting(draft: &Draft, doer: &Doer, count: CountId, lines: &[u32]) -> Result<Posting, Refusal> {
    draft.read(doer, |r| {
        let mut order = Posting {
            count,
            again: Vec::new(),
            reasons: Vec::new(),
            reason: r.optional_choice("reason", &Reason::ALL, Reason::code),
            words: r.optional_line("words", WORDS, "the reason in words"),
        };
        for number in lines {
            if r.flag(&format!("again-{number}")) {
                order.again.push(*number);
            }
            let reason = r.optional_choice(&format!("reason-{number}"), &Reason::ALL, Reason::code);
            let words = r.optional_line(&format!("words-{number}"), WORDS, "the reason in words");
            match reason {
                Some(reason) => order.reasons.push((*number, reason, words)),
                None if words.is_empty() => {}
                None => r.fault(
                    &format!("reason-{number}"),
                    "Choose what comes nearest; your words are kept with it",
                ),
            }
        }
        order
    })
}

/// Why a count comes to nothing.
pub fn calling_off(draft: &Draft, doer: &Doer, count: CountId) -> Result<CallingOff, Refusal> {
    draft.read(doer, |r| CallingOff { count, reason: r.line("reason", WORDS, "why it is called off") })
}

/// How the club counts; on a page every place has a field.
pub fn ways(draft: &Draft, doer: &Doer, places: &[PlaceId]) -> Result<Ways, Refusal> {
    draft.read(doer, |r| {
        let tolerance = Tolerance {
            permille: r
                .optional_scaled("tolerance_percent", 10, &(0..=1000), "2")
                .and_then(|steps| u32::try_from(steps).ok())
                .unwrap_or_default(),
            pieces: r.optional_whole("tolerance_pieces", 0..=10_000).unwrap_or_default(),
        };
        let mut order: Vec<(PlaceId, u32)> = Vec::new();
        if r.was_sent("order") {
            let listed: Vec<PlaceId> = r.ids("order", "place");
            order.extend(listed.into_iter().zip(1..));
        } else {
            for place in places {
                if let Some(number) = r.optional_whole(&format!("walk-{place}"), 1..=9999) {
                    order.push((*place, number));
                }
            }
        }
        Ways { tolerance, order }
    })
}
