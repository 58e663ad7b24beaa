//! What a hand does on a page: go there, open what is folded, write, choose, press.

use thirtyfour::components::SelectElement;
use thirtyfour::prelude::*;

use super::eyes::Eyes;
use super::{Walked, words};

/// A hand at a browser, with the eyes that look over each page it comes to.
pub struct Hands<'w> {
    pub browser: &'w WebDriver,
    /// The address of the house.
    pub at: &'w str,
    pub eyes: Eyes<'w>,
}

impl Hands<'_> {
    pub async fn go(&self, path: &str) -> Walked<()> {
        self.browser.goto(format!("{}{path}", self.at)).await.map_err(words)?;
        self.eyes.look_over().await
    }

    /// Where this is, without the house and without what follows a question mark.
    pub async fn here(&self) -> Walked<String> {
        let url = self.browser.current_url().await.map_err(words)?.to_string();
        let path = url.strip_prefix(self.at).unwrap_or(&url);
        Ok(path.split(['?', '#']).next().unwrap_or_default().to_owned())
    }

    /// Waits for a page whose address holds `part`: the second of two taps leads on from a page that is going.
    pub async fn comes_to(&self, part: &str) -> Walked<()> {
        for _ in 0..100 {
            if self.browser.current_url().await.map_err(words)?.as_str().contains(part) {
                return Ok(());
            }
            tokio::time::sleep(std::time::Duration::from_millis(50)).await;
        }
        Err(format!("no page with {part} comes after {}", self.here().await?))
    }

    pub async fn find(&self, selector: &str) -> Walked<WebElement> {
        let found = self.browser.find(By::Css(selector)).await;
        found.map_err(|error| format!("no {selector}: {error}"))
    }

    pub async fn press(&self, target: &WebElement) -> Walked<()> {
        target.scroll_into_view().await.map_err(words)?;
        target.click().await.map_err(words)
    }

    /// The field of this name; a group that is folded is opened by its summary, as a finger would.
    async fn field(&self, name: &str) -> Walked<WebElement> {
        let found = self.find(&format!("main [name='{name}']")).await?;
        if !found.is_displayed().await.map_err(words)? {
            let fold = found.find(By::XPath("ancestor::details[not(@open)]/summary")).await;
            self.press(&fold.map_err(|error| format!("{name} is not shown: {error}"))?).await?;
        }
        Ok(found)
    }

    pub async fn fill(&self, name: &str, text: &str) -> Walked<()> {
        let field = self.field(name).await?;
        field.clear().await.map_err(words)?;
        field.send_keys(text).await.map_err(|error| format!("{name}: {error}"))
    }

    pub async fn value(&self, name: &str) -> Walked<String> {
        Ok(self.field(name).await?.prop("value").await.map_err(words)?.unwrap_or_default())
    }

    /// Chooses the first answer whose text holds `part`.
    pub async fn choose(&self, name: &str, part: &str) -> Walked<()> {
        let select = SelectElement::new(&self.field(name).await?).await.map_err(words)?;
        let mut offered = Vec::new();
        for option in select.options().await.map_err(words)? {
            let text = option.text().await.map_err(words)?;
            if text.contains(part) {
                return option.click().await.map_err(|error| format!("{name}, {text}: {error}"));
            }
            offered.push(text);
        }
        Err(format!("{name} does not offer “{part}” but {offered:?}"))
    }

    /// Presses the filled button of the form and looks over where that leads. What is refused is an error.
    pub async fn send(&self) -> Walked<()> {
        let button = self.find("main form button.do").await?;
        self.follow(&button).await?;
        self.eyes.look_over().await?;
        match self.problems().await?.as_slice() {
            [] => Ok(()),
            problems => Err(format!("{} says: {}", self.here().await?, problems.join("; "))),
        }
    }

    /// Presses what leads to another page, and waits until that is there, whole: a form that may wait for a signal asks
    /// for one before it goes.
    pub async fn follow(&self, target: &WebElement) -> Walked<()> {
        self.eyes.ask::<()>("document.documentElement.dataset.seen = 'yes'").await?;
        self.press(target).await?;
        let turned = "return !document.documentElement.dataset.seen && document.readyState === 'complete'";
        let mut said = Ok(false);
        for _ in 0..600 {
            // What is asked while a page goes is answered by an error.
            said = self.eyes.ask(turned).await;
            if said == Ok(true) {
                return Ok(());
            }
            tokio::time::sleep(std::time::Duration::from_millis(50)).await;
        }
        Err(format!("nothing comes after {}: {said:?}", self.here().await?))
    }

    pub async fn problems(&self) -> Walked<Vec<String>> {
        self.eyes.ask("return [...document.querySelectorAll('.problem li')].map(e => e.textContent)").await
    }

    pub async fn says(&self, part: &str) -> Walked<()> {
        let text = self.find("main").await?.text().await.map_err(words)?;
        if text.contains(part) {
            Ok(())
        } else {
            Err(format!("{} does not say “{part}”: {text}", self.here().await?))
        }
    }
}
