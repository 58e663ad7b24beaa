//! A page that is one form.

use askama::Template;

use super::forms::FormView;
use super::frame::Frame;

/// One form with the way back.
#[derive(Debug, Clone, Template)]
#[template(path = "form.html")]
pub struct FormPage {
    /// The surroundings.
    pub frame: Frame,
    /// Where it leads back to: address with the prefix, and its name.
    pub up: Option<(String, String)>,
    /// The form.
    pub form: FormView,
}

impl FormPage {
    /// The page of a form; one with problems says so in the title of the window.
    pub fn new(mut frame: Frame, up: Option<(String, String)>, form: FormView) -> Self {
        if !form.problems.is_empty() {
            frame.title = format!("Problem: {}", frame.title);
        }
        Self { frame, up, form }
    }
}
