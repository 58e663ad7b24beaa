//! How a route comes to be: registering a handler enters it in the table, with who may ask read off its
//! arguments.
//!
//! A handler's first argument is a [`Rank`]; without one it does not compile. A page that records takes
//! a form whose origin is checked; without one it does not compile either. So no route is missing from
//! the table that the tests walk, and none states a rank that it does not check.

use std::collections::BTreeMap;

use actix_web::guard::{self, Guard};
use actix_web::http::Method;
use actix_web::middleware::from_fn;
use actix_web::{FromRequest, Handler, HttpRequest, Responder, web};

use super::api::describe::{Describes, Description, Operation};
use super::guard::unbroken;
use super::problem::Problem;
use crate::domain::members::Role;

/// One route, as the tests walk it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Route {
    /// `GET`, `POST`, `PUT` or `DELETE`.
    pub method: Method,
    /// The path from `/`, with its variables in braces; the path prefix of the server is put before it.
    pub path: String,
    /// The least role that may ask; none where nobody need be signed in.
    pub least: Option<Role>,
}

/// Who may ask: the first argument of every handler.
pub trait Rank: FromRequest {
    /// The least role; none for anyone.
    const LEAST: Option<Role>;
}

/// Which form a handler takes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Takes {
    /// None.
    Nothing,
    /// One with the token of the session it was made for.
    Form,
    /// One from somebody who has no session yet.
    OpenForm,
}

/// Any other argument of a handler.
pub trait Part: FromRequest {
    /// Whether it is a form.
    const TAKES: Takes = Takes::Nothing;
    /// What it adds to the description of the API.
    fn describe(_operation: &mut Operation) {}
}

/// The request itself, for what only the server library reads.
impl Part for HttpRequest {}

/// The arguments of a handler: a rank, then parts.
pub trait Arguments: FromRequest + 'static {
    /// The least role; none for anyone.
    const LEAST: Option<Role>;
    /// Which form it takes.
    const TAKES: Takes;
    /// What the arguments add to the description of the API.
    fn describe(operation: &mut Operation);
}

macro_rules! arguments {
    ($($part:ident)*) => {
        impl<R: Rank + 'static, $($part: Part + 'static),*> Arguments for (R, $($part,)*) {
            const LEAST: Option<Role> = R::LEAST;
            const TAKES: Takes = {
                #[allow(unused_mut, reason = "a handler may have no part")]
                let mut takes = Takes::Nothing;
                $(if !matches!($part::TAKES, Takes::Nothing) { takes = $part::TAKES; })*
                takes
            };
            fn describe(_operation: &mut Operation) {
                $($part::describe(_operation);)*
            }
        }
    };
}

arguments! {}
arguments! { A }
arguments! { A B }
arguments! { A B C }
arguments! { A B C D }
arguments! { A B C D E }

/// The routes of one resource: what it answers to, and how.
#[derive(Default)]
struct Resource {
    methods: Vec<Method>,
    routes: Vec<actix_web::Route>,
}

impl Resource {
    /// Answers at this path.
    fn at(self, path: &str) -> actix_web::Resource {
        let allowed: Vec<_> = self.methods.iter().map(Method::as_str).collect();
        let allowed = allowed.join(", ");
        let wrong_method = move || {
            let problem = Problem::wrong_method(&allowed);
            async move { Err::<actix_web::HttpResponse, _>(problem) }
        };
        let at = web::resource(path).default_service(web::to(wrong_method));
        self.routes.into_iter().fold(at, actix_web::Resource::route)
    }
}

/// What lies under a path, by its next segment, so that a request is compared with its own branch alone and not with
/// every route there is. Words come before variables: `/batches/new` before `/batches/{id}`, in whatever order the
/// routes are written.
#[derive(Default)]
struct Branch {
    own: Option<Resource>,
    under: BTreeMap<(bool, String), Branch>,
}

impl Branch {
    /// The resource of this path.
    fn resource(&mut self, path: &str) -> &mut Resource {
        let steps = path.split('/').skip(1).map(|part| (part.starts_with('{'), part.to_owned()));
        let branch = steps.fold(self, |branch, step| branch.under.entry(step).or_default());
        branch.own.get_or_insert_default()
    }

    /// Put all of it to work.
    fn install(self, service: &mut web::ServiceConfig) {
        if let Some(own) = self.own {
            service.service(own.at(""));
        }
        for ((_, part), branch) in self.under {
            let path = format!("/{part}");
            match branch.own {
                Some(own) if branch.under.is_empty() => service.service(own.at(&path)),
                _ => service.service(web::scope(&path).configure(|service| branch.install(service))),
            };
        }
    }
}

/// Routes as they are registered.
#[derive(Default)]
pub struct Table {
    /// Every route, in the order of registration.
    pub routes: Vec<Route>,
    /// The description of the API, where it is asked for: it is longer than all the rest.
    pub description: Option<Description>,
    root: Branch,
}

impl Table {
    /// One that describes what is registered.
    pub fn describing() -> Self {
        Self { description: Some(Description::default()), ..Self::default() }
    }

    /// Where pages are registered.
    pub fn pages(&mut self) -> Pages<'_> {
        Pages(self)
    }

    /// Where the API is registered; its paths begin after `/api/v1`.
    pub fn api(&mut self) -> Api<'_> {
        Api(self)
    }

    fn add<F, Args>(&mut self, method: Method, path: &str, handler: F)
    where
        F: Handler<Args, Output: Responder + 'static>,
        Args: Arguments,
    {
        let resource = self.root.resource(path);
        resource.routes.push(route(&method).to(handler).wrap(from_fn(unbroken)));
        resource.methods.push(method.clone());
        self.routes.push(Route { method, path: path.to_owned(), least: Args::LEAST });
    }

    /// Put all of it to work.
    pub fn install(self, service: &mut web::ServiceConfig) {
        self.root.install(service);
    }
}

fn route(method: &Method) -> actix_web::Route {
    if method == Method::GET {
        web::route().guard(guard::Any(guard::Get()).or(guard::Head()))
    } else {
        let method = method.clone();
        web::route().guard(guard::fn_guard(move |request| guard::Method(method.clone()).check(request)))
    }
}

/// Registers pages.
pub struct Pages<'t>(&'t mut Table);

impl Pages<'_> {
    /// A page that is shown.
    pub fn get<F, Args>(&mut self, path: &str, handler: F) -> &mut Self
    where
        F: Handler<Args, Output: Responder + 'static>,
        Args: Arguments,
    {
        const { assert!(matches!(Args::TAKES, Takes::Nothing), "what is shown takes no form") }
        self.0.add(Method::GET, path, handler);
        self
    }

    /// A form that is sent.
    pub fn post<F, Args>(&mut self, path: &str, handler: F) -> &mut Self
    where
        F: Handler<Args, Output: Responder + 'static>,
        Args: Arguments,
    {
        const {
            let fits = if Args::LEAST.is_none() { Takes::OpenForm } else { Takes::Form };
            assert!(fits as u8 == Args::TAKES as u8, "a member sends a Form, anyone else an OpenForm");
        }
        self.0.add(Method::POST, path, handler);
        self
    }
}

/// Registers the API.
pub struct Api<'t>(&'t mut Table);

macro_rules! methods {
    ($($(#[$doc:meta])* $name:ident $method:ident),*) => {$(
        $(#[$doc])*
        pub fn $name<F, Args>(&mut self, path: &str, summary: &str, handler: F) -> &mut Self
        where
            F: Handler<Args, Output: Responder + Describes + 'static>,
            Args: Arguments,
        {
            self.add(Method::$method, path, summary, handler)
        }
    )*};
}

impl Api<'_> {
    methods! {
        /// Reads.
        get GET,
        /// Records.
        post POST,
        /// Replaces.
        put PUT,
        /// Takes away.
        delete DELETE
    }

    /// What is sent and answered is described by a table instead of types.
    pub fn described<F, Args>(
        &mut self,
        path: &str,
        summary: &str,
        describe: impl FnOnce(&mut Operation),
        handler: F,
    ) -> &mut Self
    where
        F: Handler<Args, Output: Responder + 'static>,
        Args: Arguments,
    {
        const { assert!(matches!(Args::TAKES, Takes::Nothing), "the API takes JSON, not forms") }
        let path = format!("{}{path}", super::api::UNDER);
        if let Some(description) = &mut self.0.description {
            let mut operation = Operation::new(&Method::POST, &path, summary, Args::LEAST);
            Args::describe(&mut operation);
            describe(&mut operation);
            description.add(operation);
        }
        self.0.add(Method::POST, &path, handler);
        self
    }

    fn add<F, Args>(&mut self, method: Method, path: &str, summary: &str, handler: F) -> &mut Self
    where
        F: Handler<Args, Output: Responder + Describes + 'static>,
        Args: Arguments,
    {
        const { assert!(matches!(Args::TAKES, Takes::Nothing), "the API takes JSON, not forms") }
        let path = format!("{}{path}", super::api::UNDER);
        if let Some(description) = &mut self.0.description {
            let mut operation = Operation::new(&method, &path, summary, Args::LEAST);
            Args::describe(&mut operation);
            F::Output::describe(&mut operation);
            description.add(operation);
        }
        self.0.add(method, &path, handler);
        self
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::web::routes;

    #[test]
    fn no_branch_has_two_variables_of_which_the_first_would_take_all() {
        fn look(branch: &Branch, path: &str) {
            let variables: Vec<_> = branch.under.keys().filter(|(variable, _)| *variable).collect();
            assert!(variables.len() < 2, "{path} leads to {variables:?}");
            for ((_, part), below) in &branch.under {
                look(below, &format!("{path}/{part}"));
            }
        }
        look(&routes::table().root, "");
    }
}
