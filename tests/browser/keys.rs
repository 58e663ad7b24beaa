//! The pages by keyboard: what has the focus is seen, is not covered, and comes in the order of the page.

use thirtyfour::prelude::*;

use super::hands::Hands;
use super::{Walked, words};

/// What has the focus: its name or words, whether it is marked, and whether something lies over it.
const FOCUS: &str = "const e = document.activeElement, s = getComputedStyle(e), r = e.getBoundingClientRect(); \
    const over = document.elementFromPoint(Math.min(r.left + r.width / 2, innerWidth - 1), \
        Math.min(Math.max(r.top + Math.min(r.height / 2, 22), 0), innerHeight - 1)); \
    return [e.getAttribute('name') || e.textContent.trim().slice(0, 40), \
        s.outlineStyle !== 'none' && parseFloat(s.outlineWidth) >= 2, \
        r.bottom <= 0 || r.top >= innerHeight || !(e === over || e.contains(over) || over && over.contains(e))]";

async fn tab(hands: &Hands<'_>) -> Walked<(String, bool, bool)> {
    let keys = hands.browser.action_chain().send_keys(Key::Tab + "");
    keys.perform().await.map_err(words)?;
    hands.eyes.ask(FOCUS).await
}

/// From the head of the page with the tabulator to these fields, one after the other.
pub async fn from_field_to_field(hands: &Hands<'_>, names: &[&str]) -> Walked<()> {
    let mut met = Vec::new();
    for _ in 0..60 {
        let (name, marked, covered) = tab(hands).await?;
        if !marked || covered {
            let what = if covered { "is covered" } else { "is not marked" };
            return Err(format!("{}: the focus on “{name}” {what}", hands.here().await?));
        }
        met.push(name);
        let in_order = names.iter().scan(0, |from, name| {
            let at = met[*from..].iter().position(|one| one == name)? + *from;
            *from = at + 1;
            Some(at)
        });
        if in_order.count() == names.len() {
            return Ok(());
        }
    }
    Err(format!("{}: {names:?} are not met in this order: {met:?}", hands.here().await?))
}

/// The way past the head of the page, and through the form in which supplies are drawn.
pub async fn by_keyboard(hands: &Hands<'_>) -> Walked<()> {
    hands.go("/batches").await?;
    let (first, ..) = tab(hands).await?;
    if first != "Skip to the page" {
        return Err(format!("the first key leads to “{first}”"));
    }
    let enter = hands.browser.action_chain().send_keys(Key::Enter + "");
    enter.perform().await.map_err(words)?;
    let (next, ..) = tab(hands).await?;
    if next != "Start a batch" {
        return Err(format!("after the skip comes “{next}”"));
    }
    let row = hands.find(".rows a").await?;
    hands.follow(&row).await?;
    let batch = hands.here().await?;
    hands.go(&format!("{batch}/draw")).await?;
    from_field_to_field(
        hands,
        &["lines.0.source", "lines.0.quantity", "Draw them", "Leave without recording"],
    )
    .await
}
