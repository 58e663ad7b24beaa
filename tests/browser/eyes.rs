//! What is looked for on every page: that it is one of ours, no wider than the window, with targets that a cold finger
//! hits, and without anything an engine for accessibility objects to.

use std::cell::{Cell, RefCell};
use std::collections::BTreeSet;

use thirtyfour::prelude::*;

use super::driver::{resize, scripts};
use super::{Look, Walked, words};

/// Whoever looks, and what they have seen.
pub struct Eyes<'w> {
    browser: &'w WebDriver,
    /// How they look.
    pub look: &'w Look,
    engine: String,
    /// Kinds of pages with how they were built: what was heard of one once need not be heard again.
    seen: RefCell<BTreeSet<(String, String)>>,
    looked: Cell<usize>,
}

/// The narrowest phone, in pixels.
const NARROWEST: u32 = 320;

/// Controls that are smaller than a finger, in CSS pixels; a choice is as large as its label. Links within a sentence
/// may be as small as the sentence.
const SMALL: &str = "return [...document.querySelectorAll('.do, .also, .lone, .ways a, .nest a, .views a, .line a, \
    .bays a, summary, input, select, textarea')].map(e => e.closest('label') || e).filter(e => { \
    const r = e.getBoundingClientRect(); \
    return e.type !== 'hidden' && r.width && (r.height < 43.5 || r.width < 43.5); }) \
    .map(e => e.outerHTML.slice(0, 120))";

/// Of what a page is built: the elements with their classes, each once.
const BUILD: &str = "return [...new Set([...document.querySelectorAll('body *')].map(e => \
    e.tagName + '.' + e.getAttribute('class')))].sort().join()";

const AXE: &str = "const done = arguments[arguments.length - 1]; axe.run(document, {runOnly: ['wcag2a', 'wcag2aa', \
    'wcag21a', 'wcag21aa', 'wcag22aa']}).then(r => done(r.violations.map(v => v.id + ': ' + \
    v.nodes.slice(0, 3).map(n => n.html).join(' | '))))";

impl<'w> Eyes<'w> {
    pub fn new(browser: &'w WebDriver, look: &'w Look) -> Self {
        let axe = std::env::var("UNDERCROFT_AXE").expect("UNDERCROFT_AXE names axe.min.js");
        let engine = std::fs::read_to_string(axe).expect("axe can be read");
        Self { browser, look, engine, seen: RefCell::default(), looked: Cell::default() }
    }

    /// How many pages the engine has looked over.
    pub fn looked(&self) -> usize {
        self.looked.get()
    }

    /// A value that the page gives.
    pub async fn ask<T: serde::de::DeserializeOwned>(&self, script: &str) -> Walked<T> {
        let answer = self.browser.execute(script, Vec::new()).await.map_err(words)?;
        answer.convert().map_err(words)
    }

    /// Looks the page over.
    pub async fn look_over(&self) -> Walked<()> {
        let url = self.browser.current_url().await.map_err(words)?.to_string();
        let shown: bool = self.ask("return document.querySelector('main h1') !== null").await?;
        if !shown {
            return Err(format!("{url} has no heading"));
        }
        self.widths(&url).await?;
        let small: Vec<String> = self.ask(SMALL).await?;
        if !small.is_empty() {
            return Err(format!("{url} has targets below 44 px: {small:#?}"));
        }
        let build: String = self.ask(BUILD).await?;
        if self.seen.borrow_mut().insert((kind_of(&url), build)) {
            self.looked.set(self.looked.get() + 1);
            self.listen_to_axe(&url).await?;
        }
        Ok(())
    }

    /// The engine needs scripts: where the page has none they run for as long as it takes; those of the page, which
    /// were passed over when it was loaded, do not come back.
    async fn listen_to_axe(&self, url: &str) -> Walked<()> {
        scripts(self.browser, true).await?;
        self.browser.execute(self.engine.as_str(), Vec::new()).await.map_err(words)?;
        let found = self.browser.execute_async(AXE, Vec::new()).await;
        scripts(self.browser, self.look.script).await?;
        let found: Vec<String> =
            found.and_then(|found| found.convert()).map_err(|error| format!("{url}: {error}"))?;
        if found.is_empty() { Ok(()) } else { Err(format!("{url}: {found:#?}")) }
    }

    /// No page is wider than the window, on a phone not even than the narrowest.
    async fn widths(&self, url: &str) -> Walked<()> {
        self.fits(url, self.look.width).await?;
        if self.look.on_a_phone() {
            resize(self.browser, NARROWEST, self.look.height).await?;
            let fits = self.fits(url, NARROWEST).await;
            resize(self.browser, self.look.width, self.look.height).await?;
            fits?;
        }
        Ok(())
    }

    async fn fits(&self, url: &str, width: u32) -> Walked<()> {
        let wide: u32 = self.ask("return document.documentElement.scrollWidth").await?;
        if wide > width { Err(format!("{url} is {wide} px wide in a window of {width}")) } else { Ok(()) }
    }
}

/// The address with ids as such, so that two items are one kind of page.
pub fn kind_of(url: &str) -> String {
    let path = url.split(['?', '#']).next().unwrap_or_default();
    let path = path.split_once("://").map_or(path, |(_, rest)| rest.find('/').map_or("/", |at| &rest[at..]));
    let part = |part: &str| {
        let id = part.len() == 13 && part.starts_with('0') && part.chars().all(|c| c.is_ascii_alphanumeric());
        if id { "{id}".to_owned() } else { part.to_owned() }
    };
    path.split('/').map(part).collect::<Vec<_>>().join("/")
}
