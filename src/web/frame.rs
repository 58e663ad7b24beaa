//! What stands around every page: the club's name, who is signed in, the sections and where one is.
//!
//! `templates/layout.html` draws it. A page struct has a field `frame: Frame`, and its template says
//! `{% extends "layout.html" %}` and fills the block `content`. What a page shows inside is not here.

/// The surroundings of one page.
#[derive(Debug, Clone, Default)]
pub struct Frame {
    /// The path the server answers under: empty, or such as `/cellar`; every address starts with it.
    pub base: String,
    /// The name of the page, first in the title of the window.
    pub title: String,
    /// The name of the club; empty while nobody is signed in.
    pub club: String,
    /// The name of the member who is signed in.
    pub member: String,
    /// The sections in their order.
    pub sections: Vec<Section>,
    /// The token that a form of this page has to bring back.
    pub form_token: String,
    /// What changes when style sheet or script do; asked for as `?v=`.
    pub assets: &'static str,
}

/// One section of the house: a word in the line under the club's name, a bay at the foot.
#[derive(Debug, Clone)]
pub struct Section {
    /// Its name, one word.
    pub name: &'static str,
    /// Where it is, from `/`; the path of [`Frame::base`] is put before it.
    pub href: &'static str,
    /// One live fact, short: "3 due".
    pub fact: String,
    /// The page is in this section.
    pub here: bool,
    /// It stands in the bar of a phone, which has room for four.
    pub near: bool,
}

impl Frame {
    /// Whether a member is signed in; if not, only the name of the program is shown.
    pub fn signed_in(&self) -> bool {
        !self.club.is_empty()
    }

    /// The name over the page: the club's, or the program's while nobody is signed in.
    pub fn house(&self) -> &str {
        if self.signed_in() { &self.club } else { "Undercroft" }
    }

    /// The last word of the bar on a phone, which leads to the arcade: "All six".
    pub fn all(&self) -> String {
        let count = self.sections.len();
        match ["none", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine"].get(count) {
            Some(word) => format!("All {word}"),
            None => format!("All {count}"),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use askama::Template;

    #[derive(Template)]
    #[template(
        source = r#"{% extends "layout.html" %}{% block content %}<h1>Here</h1>{% endblock %}"#,
        ext = "html"
    )]
    struct Page {
        frame: Frame,
    }

    fn page(frame: Frame) -> String {
        Page { frame }.render().expect("a page without a writer that fails")
    }

    fn section(name: &'static str, href: &'static str, here: bool) -> Section {
        Section { name, href, fact: "3 due".into(), here, near: true }
    }

    #[test]
    fn a_member_sees_the_club_and_the_sections_with_where_they_are() {
        let html = page(Frame {
            base: "/cellar".into(),
            title: "Today".into(),
            club: "Tidemill & Friends".into(),
            member: "Maren Holt".into(),
            sections: vec![section("Today", "/", true), section("Stores", "/stores", false)],
            ..Frame::default()
        });
        assert!(html.contains("<title>Today · Tidemill &#38; Friends</title>"));
        assert!(html.contains(r#"<a href="/cellar/me">Maren Holt</a>"#));
        assert!(html.contains(r#"<a href="/cellar/" aria-current="page">Today</a>"#));
        assert!(html.contains(r#"<a href="/cellar/stores">Stores <span>3 due</span></a>"#));
        assert!(html.contains("All two"));
    }

    #[test]
    fn a_stranger_sees_only_the_name_of_the_program() {
        let html = page(Frame { title: "Sign in".into(), ..Frame::default() });
        assert!(html.contains("<title>Sign in · Undercroft</title>"));
        assert!(!html.contains("<nav"));
        assert!(!html.contains("/me"));
    }

    #[test]
    fn nothing_in_the_page_needs_a_looser_content_policy() {
        let html = page(Frame::default());
        assert!(!html.contains("style="));
        assert!(!html.contains("<style"));
        assert!(!html.contains("data:"));
        assert!(html.matches("<script").count() == html.matches("<script src=").count());
    }
}
