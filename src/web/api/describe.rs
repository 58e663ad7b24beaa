//! The description of the API (`OpenAPI` 3.1), made from the types of the handlers: each argument says
//! what it takes, the answer says what it gives. So a description cannot say other than what is done.

use actix_web::http::{Method, StatusCode};
use utoipa::openapi::path::{
    Operation as Described, OperationBuilder, Parameter, ParameterBuilder, ParameterIn,
};
use utoipa::openapi::request_body::RequestBodyBuilder;
use utoipa::openapi::security::{HttpAuthScheme, HttpBuilder, SecurityScheme};
use utoipa::openapi::{
    ComponentsBuilder, ContentBuilder, HttpMethod, InfoBuilder, OpenApi, OpenApiBuilder, Paths, Ref, RefOr,
    Required, ResponseBuilder, Schema, SecurityRequirement, ServerBuilder, Type, schema::Object,
};
use utoipa::{PartialSchema, ToSchema};

use super::ProblemBody;
use crate::domain::members::Role;
use crate::domain::refusal::Refusal;
use crate::web::input::{Draft, UNKNOWN};

/// Refuse names that `T` does not have.
pub(in crate::web) fn check_names<T: PartialSchema>(sent: &Draft) -> Result<(), Refusal> {
    let RefOr::T(Schema::Object(object)) = T::schema() else { return Ok(()) };
    match sent.fields().into_iter().find(|(name, _)| !object.properties.contains_key(name)) {
        Some((name, _)) => Err(Refusal::unfit(name, UNKNOWN)),
        None => Ok(()),
    }
}

/// An answer that says what it holds.
pub trait Describes {
    /// Adds it to the description.
    fn describe(operation: &mut Operation);
}

/// One route of the API, as its handler describes it.
pub struct Operation {
    method: HttpMethod,
    path: String,
    described: OperationBuilder,
    schemas: Schemas,
}

type Schemas = Vec<(String, RefOr<Schema>)>;

/// Where the schema of a type is found.
pub(super) fn reference<T: ToSchema>() -> Ref {
    Ref::from_schema_name(T::name())
}

impl Operation {
    pub(in crate::web) fn new(method: &Method, path: &str, summary: &str, least: Option<Role>) -> Self {
        let method = match method.as_str() {
            "POST" => HttpMethod::Post,
            "PUT" => HttpMethod::Put,
            "DELETE" => HttpMethod::Delete,
            _ => HttpMethod::Get,
        };
        let feature = path.trim_start_matches(super::UNDER).split('/').nth(1).unwrap_or_default();
        let mut described = OperationBuilder::new().summary(Some(summary)).tag(feature);
        for name in path.split('/').filter_map(|part| part.strip_prefix('{')?.strip_suffix('}')) {
            let name = name.split(':').next().unwrap_or(name);
            described = described.parameter(parameter(name, ParameterIn::Path, "An id.", text()));
        }
        if let Some(least) = least {
            described = described
                .description(Some(format!(
                    "For a member who {} or more ({}).",
                    least.meaning(),
                    least.name()
                )))
                .security(SecurityRequirement::new("token", [] as [&str; 0]));
        }
        Self { method, path: path.to_owned(), described, schemas: Vec::new() }
    }

    fn with(&mut self, add: impl FnOnce(OperationBuilder) -> OperationBuilder) {
        self.described = add(std::mem::take(&mut self.described));
    }

    fn knows<T: ToSchema>(&mut self) -> Ref {
        self.schemas.push((T::name().into_owned(), T::schema()));
        T::schemas(&mut self.schemas);
        reference::<T>()
    }

    pub(in crate::web) fn takes_json<T: ToSchema>(&mut self) {
        let content = ContentBuilder::new().schema(Some(self.knows::<T>())).build();
        let body =
            RequestBodyBuilder::new().content("application/json", content).required(Some(Required::True));
        self.with(|described| described.request_body(Some(body.build())));
    }

    /// Takes a file as it is, of one of these media types.
    pub(in crate::web) fn takes_file(&mut self, media_types: &[&str]) {
        let body = media_types.iter().fold(RequestBodyBuilder::new(), |body, media_type| {
            body.content(*media_type, ContentBuilder::new().build())
        });
        let body = body.required(Some(Required::True)).build();
        self.with(|described| described.request_body(Some(body)));
    }

    pub(in crate::web) fn takes_query<T: PartialSchema>(&mut self) {
        let RefOr::T(Schema::Object(object)) = T::schema() else { return };
        for (name, schema) in object.properties {
            let required = if object.required.contains(&name) { Required::True } else { Required::False };
            let found =
                ParameterBuilder::new().name(name).parameter_in(ParameterIn::Query).required(required);
            self.with(|described| described.parameter(found.schema(Some(schema))));
        }
    }

    pub(in crate::web) fn takes_paging(&mut self) {
        let after = parameter("after", ParameterIn::Query, "What the part before gave as next.", text());
        let limit = parameter("limit", ParameterIn::Query, "How many, up to 200.", whole());
        self.with(|described| described.parameter(after).parameter(limit));
    }

    pub(in crate::web) fn takes_key(&mut self) {
        let words = "A key of your own, 1 to 255 characters: the same key and body give the same answer again \
                     and record nothing twice; the same key with another body is refused.";
        let key = parameter("Idempotency-Key", ParameterIn::Header, words, text());
        self.with(|described| described.parameter(key));
    }

    pub(in crate::web) fn answers<T: ToSchema>(&mut self, status: StatusCode) {
        let content = ContentBuilder::new().schema(Some(self.knows::<T>())).build();
        let words = if status == StatusCode::CREATED { "It was recorded." } else { "What was asked for." };
        let answer = ResponseBuilder::new().description(words).content("application/json", content);
        self.with(|described| described.response(status.as_str(), answer.build()));
    }

    pub(in crate::web) fn answers_nothing(&mut self) {
        self.with(|described| {
            described.response("204", ResponseBuilder::new().description("It was done.").build())
        });
    }

    pub(in crate::web) fn answers_file(&mut self) {
        self.with(|described| {
            described.response("200", ResponseBuilder::new().description("A file.").build())
        });
    }

    /// Takes JSON whose shape stands in a table.
    pub(in crate::web) fn takes_shape(&mut self, name: String, shape: Schema) {
        let content = ContentBuilder::new().schema(Some(Ref::from_schema_name(&name))).build();
        self.schemas.push((name, shape.into()));
        let body =
            RequestBodyBuilder::new().content("application/json", content).required(Some(Required::True));
        self.with(|described| described.request_body(Some(body.build())));
    }

    /// Takes and answers JSON whose shapes stand in a table; `shared` are the types they name.
    pub(in crate::web) fn exchanges(
        &mut self,
        taken: (String, Schema),
        answered: (String, Schema),
        shared: impl FnOnce(&mut Vec<(String, RefOr<Schema>)>),
    ) {
        let answer = Ref::from_schema_name(&answered.0);
        self.takes_shape(taken.0, taken.1);
        self.schemas.push((answered.0, answered.1.into()));
        shared(&mut self.schemas);
        let content = ContentBuilder::new().schema(Some(answer)).build();
        let words = "What was worked out; nothing is recorded.";
        let answer = ResponseBuilder::new().description(words).content("application/json", content).build();
        self.with(|described| described.response("200", answer));
    }

    fn finish(mut self) -> (HttpMethod, String, Described, Schemas) {
        let content = ContentBuilder::new().schema(Some(self.knows::<ProblemBody>())).build();
        let answer = ResponseBuilder::new()
            .description("It was not done: what stands in the way, and what to do.")
            .content("application/problem+json", content);
        let described = self.described.response("default", answer.build()).build();
        (self.method, self.path, described, self.schemas)
    }
}

fn parameter(name: &str, place: ParameterIn, words: &str, schema: Object) -> Parameter {
    let required = if place == ParameterIn::Path { Required::True } else { Required::False };
    ParameterBuilder::new()
        .name(name)
        .parameter_in(place)
        .required(required)
        .description(Some(words))
        .schema(Some(Schema::Object(schema)))
        .build()
}

fn text() -> Object {
    Object::with_type(Type::String)
}

fn whole() -> Object {
    Object::with_type(Type::Integer)
}

/// The description as it grows.
#[derive(Default)]
pub struct Description {
    paths: Paths,
    schemas: Schemas,
}

impl Description {
    pub(in crate::web) fn add(&mut self, operation: Operation) {
        let (method, path, described, schemas) = operation.finish();
        self.paths.add_path_operation(path, vec![method], described);
        self.schemas.extend(schemas);
    }

    /// The whole document as JSON; `at` is the path prefix of the server.
    pub fn written(self, at: &str) -> String {
        self.document(at).to_pretty_json().unwrap_or_else(|error| {
            tracing::error!(%error, "the description of the API cannot be written");
            "{}".to_owned()
        })
    }

    fn document(self, at: &str) -> OpenApi {
        let token = HttpBuilder::new()
            .scheme(HttpAuthScheme::Bearer)
            .description(Some(
                "A token that a member makes on their own page; it reads, or reads and records.",
            ))
            .build();
        let components = ComponentsBuilder::new()
            .schemas_from_iter(self.schemas)
            .security_scheme("token", SecurityScheme::Http(token))
            .build();
        let words = "Ids are strings. A quantity is {\"amount\":\"12.5\",\"unit\":\"kg\"}. Money is a decimal \
                     string in the currency of the club. Days are YYYY-MM-DD, instants RFC 3339. A field that \
                     is not described here is refused.";
        let info = InfoBuilder::new()
            .title("Undercroft")
            .version(env!("CARGO_PKG_VERSION"))
            .description(Some(words))
            .build();
        let server = if at.is_empty() { "/" } else { at };
        OpenApiBuilder::new()
            .info(info)
            .servers(Some([ServerBuilder::new().url(server).build()]))
            .paths(self.paths)
            .components(Some(components))
            .build()
    }
}

#[cfg(test)]
mod tests {
    use serde_json::Value;

    use crate::web::routes;

    #[test]
    fn no_two_shapes_share_a_name() {
        let mut schemas = routes::described().schemas;
        schemas.sort_by(|one, other| one.0.cmp(&other.0));
        for pair in schemas.windows(2).filter(|pair| pair[0].0 == pair[1].0) {
            assert!(pair[0] == pair[1], "{} has two shapes", pair[0].0);
        }
    }

    #[test]
    fn every_shape_that_is_named_is_described() {
        fn names(value: &Value, found: &mut Vec<String>) {
            match value {
                Value::Object(fields) => {
                    found.extend(fields.get("$ref").and_then(Value::as_str).map(str::to_owned));
                    fields.values().for_each(|inner| names(inner, found));
                }
                Value::Array(values) => values.iter().for_each(|inner| names(inner, found)),
                _ => {}
            }
        }
        let document: Value = serde_json::from_str(&routes::described().written("")).unwrap();
        let mut found = Vec::new();
        names(&document, &mut found);
        assert!(!found.is_empty());
        for name in found {
            assert!(document.pointer(&name[1..]).is_some(), "{name}");
        }
    }
}
