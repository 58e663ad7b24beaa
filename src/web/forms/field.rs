//! One field of a form: its label, what may be typed, what was typed, and what is wrong with it.

use askama::Template;

/// One question.
#[derive(Debug, Clone, Template)]
#[template(path = "parts/field.html")]
pub struct Field {
    /// Its dotted path: `day`, `lines.0.quantity`. The id in the page has hyphens for the dots.
    pub name: String,
    /// The question, above the field.
    pub label: String,
    /// How to answer, under the label.
    pub hint: String,
    /// What stands in the field: the typed text, the value of the choice, or `yes` for a tick.
    pub value: String,
    /// What to put right.
    pub error: Option<String>,
    /// The unit beside the field.
    pub after: String,
    /// What kind of answer it takes.
    pub kind: FieldKind,
}

/// The kinds of answers.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum FieldKind {
    /// A line of text, also an amount with its unit.
    Text,
    /// A number, perhaps with decimals.
    Decimal,
    /// A whole number.
    Whole,
    /// A day, typed as people write it.
    Day,
    /// A mail address.
    Email,
    /// A password; `new` when it is being chosen.
    Password {
        /// It is being chosen, not asked for.
        new: bool,
    },
    /// Several lines of text.
    Area,
    /// One of many, from a list that opens.
    Select(Vec<Choice>),
    /// One of a few, all in sight.
    Radios(Vec<Choice>),
    /// Yes or no.
    Check,
    /// A file of rows.
    File,
    /// Photos and PDFs; a phone offers its camera.
    Pictures,
    /// Carried along, not seen.
    Hidden,
}

/// One of the answers that can be chosen.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Choice {
    /// What is sent.
    pub value: String,
    /// What is read.
    pub text: String,
    /// The heading it stands under; choices of one group follow each other.
    pub group: Option<String>,
}

impl Choice {
    /// A choice outside any group.
    pub fn new(value: impl Into<String>, text: impl Into<String>) -> Self {
        Self { value: value.into(), text: text.into(), group: None }
    }

    /// The same choice under a heading.
    #[must_use]
    pub fn under(mut self, group: impl Into<String>) -> Self {
        self.group = Some(group.into());
        self
    }
}

macro_rules! makers {
    ($($(#[$doc:meta])* $maker:ident => $kind:expr),+ $(,)?) => {$(
        $(#[$doc])*
        pub fn $maker(name: impl Into<String>, label: impl Into<String>) -> Self {
            Self::of($kind, name, label)
        }
    )+};
}

impl Field {
    /// A field of any kind.
    pub fn of(kind: FieldKind, name: impl Into<String>, label: impl Into<String>) -> Self {
        Self {
            name: name.into(),
            label: label.into(),
            hint: String::new(),
            value: String::new(),
            error: None,
            after: String::new(),
            kind,
        }
    }

    makers! {
        /// A line of text, also an amount with its unit.
        text => FieldKind::Text,
        /// A number, perhaps with decimals.
        decimal => FieldKind::Decimal,
        /// A whole number.
        whole => FieldKind::Whole,
        /// A day. Unless it has a hint of its own, it says how days may be written.
        day => FieldKind::Day,
        /// A mail address.
        email => FieldKind::Email,
        /// A password that is known.
        password => FieldKind::Password { new: false },
        /// A password that is being chosen.
        new_password => FieldKind::Password { new: true },
        /// Several lines of text.
        area => FieldKind::Area,
        /// Yes or no.
        check => FieldKind::Check,
        /// A file of rows.
        file => FieldKind::File,
        /// Photos and PDFs.
        pictures => FieldKind::Pictures,
    }

    /// One of many, from a list that opens.
    pub fn select(name: impl Into<String>, label: impl Into<String>, choices: Vec<Choice>) -> Self {
        Self::of(FieldKind::Select(choices), name, label)
    }

    /// One of a few, all in sight.
    pub fn radios(name: impl Into<String>, label: impl Into<String>, choices: Vec<Choice>) -> Self {
        Self::of(FieldKind::Radios(choices), name, label)
    }

    /// A value that is carried along.
    pub fn hidden(name: impl Into<String>, value: impl Into<String>) -> Self {
        Self::of(FieldKind::Hidden, name, "").value(value)
    }

    /// How to answer.
    #[must_use]
    pub fn hint(mut self, hint: impl Into<String>) -> Self {
        self.hint = hint.into();
        self
    }

    /// What stands in the field.
    #[must_use]
    pub fn value(mut self, value: impl Into<String>) -> Self {
        self.value = value.into();
        self
    }

    /// The unit beside the field.
    #[must_use]
    pub fn after(mut self, after: impl Into<String>) -> Self {
        self.after = after.into();
        self
    }

    /// Whether a person has typed something into it; choices do not count.
    pub(super) fn is_typed(&self) -> bool {
        let chosen = matches!(
            self.kind,
            FieldKind::Select(_)
                | FieldKind::Radios(_)
                | FieldKind::Check
                | FieldKind::File
                | FieldKind::Pictures
                | FieldKind::Hidden
        );
        !chosen && !self.value.trim().is_empty()
    }

    /// The answer in words, for a folded group; none where there is nothing to show.
    pub(super) fn answer(&self) -> Option<String> {
        if self.value.is_empty() {
            return None;
        }
        match &self.kind {
            FieldKind::Hidden
            | FieldKind::Password { .. }
            | FieldKind::Area
            | FieldKind::File
            | FieldKind::Pictures => None,
            FieldKind::Check => Some(self.label.clone()),
            FieldKind::Select(choices) | FieldKind::Radios(choices) => {
                choices.iter().find(|choice| choice.value == self.value).map(|choice| choice.text.clone())
            }
            _ => Some(format!("{} {}", self.value, self.after).trim_end().to_owned()),
        }
    }

    /// The id in the page.
    fn id(&self) -> String {
        id_of(&self.name)
    }

    /// The hint, which a day always has.
    fn hint_text(&self) -> &str {
        if self.hint.is_empty() && self.kind == FieldKind::Day {
            "Such as 30 June 2026, or 2026-06-30."
        } else {
            &self.hint
        }
    }

    /// The ids of the hint and of the message, as far as there are any.
    fn described_by(&self) -> Option<String> {
        let id = self.id();
        match (self.hint_text().is_empty(), self.error.is_some()) {
            (true, false) => None,
            (false, false) => Some(format!("{id}-hint")),
            (true, true) => Some(format!("{id}-error")),
            (false, true) => Some(format!("{id}-hint {id}-error")),
        }
    }
}

impl FieldKind {
    /// What was typed into it is never sent back to the page.
    pub(super) fn is_secret(&self) -> bool {
        matches!(self, Self::Password { .. })
    }

    /// A browser fills it itself.
    pub(super) fn is_file(&self) -> bool {
        matches!(self, Self::File | Self::Pictures)
    }

    /// The attributes that bring the right keyboard and the right help of the browser.
    fn typing(&self) -> &'static str {
        match self {
            Self::Decimal => r#"inputmode="decimal" autocomplete="off" class="num""#,
            Self::Whole => r#"inputmode="numeric" autocomplete="off" class="num""#,
            Self::Day => r#"autocomplete="off" class="day""#,
            Self::Email => r#"type="email" autocomplete="email" autocapitalize="none" spellcheck="false""#,
            Self::Pictures => {
                r#"type="file" multiple accept="image/jpeg,image/png,image/webp,application/pdf""#
            }
            Self::File => r#"type="file" accept=".csv,.tsv,.txt,text/*""#,
            Self::Password { new: false } => r#"type="password" autocomplete="current-password""#,
            Self::Password { new: true } => r#"type="password" autocomplete="new-password""#,
            _ => r#"autocomplete="off""#,
        }
    }
}

/// The id of a field in the page: its path with hyphens for the dots.
pub(super) fn id_of(path: &str) -> String {
    path.replace('.', "-")
}

/// The choices by the heading they stand under, in their order.
fn grouped(choices: &[Choice]) -> Vec<(Option<&str>, &[Choice])> {
    let runs = choices.chunk_by(|one, next| one.group == next.group);
    runs.map(|run| (run[0].group.as_deref(), run)).collect()
}
