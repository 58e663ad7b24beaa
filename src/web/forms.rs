//! How a form looks: groups of fields, cautions before the button, and problems where they belong.
//!
//! A [`FormView`] is written down in Rust, piece by piece, and put into a page as `{{ form|safe }}`.
//! It works without script, keeps what was typed, and shows one question group at a time.
//! What a form means, and what is wrong with an answer, is decided elsewhere.

use askama::Template;

pub use field::{Choice, Field, FieldKind};

mod field;

/// A whole form, with its heading above it.
#[derive(Debug, Clone, Default, Template)]
#[template(path = "parts/form.html")]
pub struct FormView {
    /// Where it is sent, with the path prefix.
    pub action: String,
    /// The key that makes sending it twice the same as sending it once.
    pub request_key: String,
    /// The token that shows that the form came from us.
    pub form_token: String,
    /// The heading of the page; empty where the page brings its own.
    pub heading: String,
    /// One sentence under the heading.
    pub intro: String,
    /// Other ways to begin: where each leads, and its words.
    pub starts: Vec<(String, String)>,
    /// The question groups. One stands open as it is; of several, one is open at a time.
    pub groups: Vec<Group>,
    /// What can hurt somebody; it stands before the button.
    pub cautions: Vec<Caution>,
    /// The words on the button.
    pub submit: String,
    /// Where to go without recording anything.
    pub leave: Option<String>,
    /// What has to be put right, in the order in which it is listed.
    pub problems: Vec<Problem>,
    /// They are questions: the answer yes records what was typed as it is.
    pub asks: bool,
}

/// One thing to put right, in the words that say what to do.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Problem {
    /// The path of the field, such as `lines.0.quantity`.
    pub field: String,
    /// What to do: "Write how much came, with a unit: 24 L, or 2.5 kg".
    pub message: String,
}

/// Questions that belong together, or one set of questions asked several times.
#[derive(Debug, Clone, Default, Template)]
#[template(path = "parts/group.html")]
pub struct Group {
    /// Its name, in a few words: "What came".
    pub name: String,
    /// The fields; those of a repeated group are named `lines.0.item`, `lines.0.quantity`, `lines.1.item` …
    pub fields: Vec<Field>,
    /// The fields are lines of the same questions.
    pub repeat: bool,
    /// What one line of a repeated group is called: "line", "supply".
    pub each: String,
}

/// A warning where a person can still act.
#[derive(Debug, Clone, Template)]
#[template(path = "parts/caution.html")]
pub struct Caution {
    /// What it is about: "Caution: glass and pressure".
    pub title: String,
    /// What to do and what to leave, a sentence or two each.
    pub points: Vec<String>,
    /// Why, and from where that is known; empty where the points say it.
    pub why: String,
    /// From where that is known.
    pub source: String,
    /// The field in which the reason is given for going on all the same, where one is needed.
    pub reason: Option<Field>,
}

impl FormView {
    /// A form that is sent to `action` by a button with the words `submit`.
    pub fn new(action: impl Into<String>, heading: impl Into<String>, submit: impl Into<String>) -> Self {
        Self { action: action.into(), heading: heading.into(), submit: submit.into(), ..Self::default() }
    }

    /// The two hidden values that every form carries.
    #[must_use]
    pub fn keys(mut self, request_key: impl Into<String>, form_token: impl Into<String>) -> Self {
        self.request_key = request_key.into();
        self.form_token = form_token.into();
        self
    }

    /// One sentence under the heading.
    #[must_use]
    pub fn intro(mut self, intro: impl Into<String>) -> Self {
        self.intro = intro.into();
        self
    }

    /// Other ways to begin, as links under the heading.
    #[must_use]
    pub fn starts(mut self, starts: Vec<(String, String)>) -> Self {
        self.starts = starts;
        self
    }

    /// One more question group.
    #[must_use]
    pub fn group(mut self, group: Group) -> Self {
        self.groups.push(group);
        self
    }

    /// The fields of a form that has a single group.
    #[must_use]
    pub fn fields(self, fields: impl Into<Vec<Field>>) -> Self {
        self.group(Group::new("", fields))
    }

    /// One more caution before the button.
    #[must_use]
    pub fn caution(mut self, caution: Caution) -> Self {
        self.cautions.push(caution);
        self
    }

    /// What stands in the way are questions that can be answered with yes.
    #[must_use]
    pub fn asking(mut self) -> Self {
        self.asks = true;
        self
    }

    /// The way out beside the button.
    #[must_use]
    pub fn leave(mut self, href: impl Into<String>) -> Self {
        self.leave = Some(href.into());
        self
    }

    /// Fills every field with what was typed; what was not sent is empty. Secrets stay empty.
    #[must_use]
    pub fn filled(mut self, typed: impl Fn(&str) -> Option<String>) -> Self {
        for field in self.fields_mut() {
            field.value =
                if field.kind.is_secret() { String::new() } else { typed(&field.name).unwrap_or_default() };
        }
        self
    }

    /// Puts each message (field path, what to do) beside its field and into the summary.
    #[must_use]
    pub fn with_problems(mut self, problems: Vec<(String, String)>) -> Self {
        for (path, message) in problems {
            let asked = self.fields_mut().find(|field| field.name == path);
            if let Some(field) = asked.filter(|field| field.error.is_none()) {
                field.error = Some(message.clone());
            }
            self.problems.push(Problem { field: path, message });
        }
        self
    }

    /// Every field, those of the cautions too.
    fn fields_mut(&mut self) -> impl Iterator<Item = &mut Field> {
        let asked = self.groups.iter_mut().flat_map(|group| &mut group.fields);
        asked.chain(self.cautions.iter_mut().filter_map(|caution| caution.reason.as_mut()))
    }

    /// Whether a person sees a field of this name, so that a link can lead to it.
    pub(super) fn has_field(&self, path: &str) -> bool {
        let asked = self.groups.iter().flat_map(|group| &group.fields);
        let mut fields = asked.chain(self.cautions.iter().filter_map(|caution| caution.reason.as_ref()));
        fields.any(|field| field.name == path && field.kind != FieldKind::Hidden)
    }

    /// Whether a file can be sent with it.
    fn takes_file(&self) -> bool {
        self.groups.iter().flat_map(|group| &group.fields).any(|field| field.kind.is_file())
    }

    /// Whether it asks for something that is not shown again.
    fn asks_secret(&self) -> bool {
        let mut fields = self.groups.iter().flat_map(|group| &group.fields);
        fields.any(|field| field.kind.is_secret())
    }

    /// The groups, and whether each is open: those with something to put right; without any, the first.
    fn folds(&self) -> impl Iterator<Item = (&Group, bool)> {
        let any_wrong = self.groups.iter().any(Group::is_wrong);
        let open = move |at: usize, group: &Group| if any_wrong { group.is_wrong() } else { at == 0 };
        self.groups.iter().enumerate().map(move |(at, group)| (group, open(at, group)))
    }
}

impl Problem {
    /// The id of the field in the page.
    pub(super) fn id(&self) -> String {
        field::id_of(&self.field)
    }
}

impl Group {
    /// Questions that belong together.
    pub fn new(name: impl Into<String>, fields: impl Into<Vec<Field>>) -> Self {
        Self { name: name.into(), fields: fields.into(), ..Self::default() }
    }

    /// The same questions `count` times, each time one `each` ("line"). The fields that `ask` makes for
    /// a line are named from within it: `quantity` becomes `lines.0.quantity` where `path` is `lines`.
    pub fn repeated(
        name: impl Into<String>,
        each: impl Into<String>,
        path: &str,
        count: usize,
        ask: impl Fn(usize) -> Vec<Field>,
    ) -> Self {
        let line = |at: usize| {
            ask(at).into_iter().map(move |mut field| {
                field.name = format!("{path}.{at}.{}", field.name);
                field
            })
        };
        Self {
            name: name.into(),
            fields: (0..count).flat_map(line).collect(),
            repeat: true,
            each: each.into(),
        }
    }

    /// Whether something in it has to be put right.
    pub(super) fn is_wrong(&self) -> bool {
        self.fields.iter().any(|field| field.error.is_some())
    }

    /// The fields line by line: those whose names have the same first number.
    fn lines(&self) -> Vec<&[Field]> {
        let line = |field: &Field| field.name.split('.').find_map(|part| part.parse::<usize>().ok());
        self.fields.chunk_by(|one, next| line(one) == line(next)).collect()
    }

    /// The name of a line with a capital, as its legend begins.
    fn each_name(&self) -> String {
        let mut letters = self.each.chars();
        letters.next().map(|first| first.to_uppercase().chain(letters).collect()).unwrap_or_default()
    }

    /// What a folded group shows of itself: its first two answers, or how many lines are filled.
    fn holds(&self) -> String {
        if self.repeat {
            let filled = self.lines().iter().filter(|line| line.iter().any(Field::is_typed)).count();
            return match filled {
                0 => String::new(),
                1 => format!("1 {}", self.each),
                more => format!("{more} × {}", self.each),
            };
        }
        let answers: Vec<_> = self.fields.iter().filter_map(Field::answer).take(2).collect();
        answers.join(", ")
    }
}

impl Caution {
    /// A caution with its points.
    pub fn new<P: Into<String>>(title: impl Into<String>, points: impl IntoIterator<Item = P>) -> Self {
        Self {
            title: title.into(),
            points: points.into_iter().map(Into::into).collect(),
            why: String::new(),
            source: String::new(),
            reason: None,
        }
    }
}

#[cfg(test)]
mod tests;
