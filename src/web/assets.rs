//! Style sheets, script and mark, built into the program, so that nothing is fetched from elsewhere.
//!
//! Pages ask for them with `?v=` and a hash of all of them: a browser keeps them for good and still sees
//! every change.

use std::sync::LazyLock;

use actix_web::http::header;
use actix_web::{HttpRequest, HttpResponse};
use sha2::{Digest, Sha256};

use super::extract::{Anyone, Path};
use super::problem::Problem;
use super::respond::Reply;
use super::site::{Site, hex};

/// Name, type, content.
type Asset = (&'static str, &'static str, &'static [u8]);

const ASSETS: [Asset; 9] = [
    ("undercroft.css", "text/css; charset=utf-8", include_bytes!("../../templates/static/undercroft.css")),
    ("print.css", "text/css; charset=utf-8", include_bytes!("../../templates/static/print.css")),
    (
        "undercroft.js",
        "text/javascript; charset=utf-8",
        include_bytes!("../../templates/static/undercroft.js"),
    ),
    ("outbox.js", "text/javascript; charset=utf-8", include_bytes!("../../templates/static/outbox.js")),
    ("phone.js", "text/javascript; charset=utf-8", include_bytes!("../../templates/static/phone.js")),
    ("scan.js", "text/javascript; charset=utf-8", include_bytes!("../../templates/static/scan.js")),
    (
        SERVICE_WORKER,
        "text/javascript; charset=utf-8",
        include_bytes!("../../templates/static/service-worker.js"),
    ),
    (
        "manifest.webmanifest",
        "application/manifest+json",
        include_bytes!("../../templates/static/manifest.webmanifest"),
    ),
    ("mark.svg", "image/svg+xml", include_bytes!("../../templates/static/mark.svg")),
];

/// The script that answers for the whole of the site where the server cannot be reached.
const SERVICE_WORKER: &str = "service-worker.js";

static VERSION: LazyLock<String> = LazyLock::new(|| {
    let hash = Sha256::new();
    let hash =
        ASSETS.iter().fold(hash, |hash, (name, _, content)| hash.chain_update(name).chain_update(content));
    hex(&hash.finalize())[..12].to_owned()
});

/// What changes when any of them does.
pub fn version() -> &'static str {
    &VERSION
}

/// One of them.
pub async fn show(_: Anyone, site: Site, Path(name): Path<String>, request: HttpRequest) -> Reply {
    let (_, content_type, content) =
        ASSETS.iter().find(|asset| asset.0 == name).ok_or_else(|| Problem::missing("file"))?;
    let tag = format!("W/\"{}\"", version());
    let asked_by_version = request.query_string().strip_prefix("v=") == Some(version());
    let keep = if asked_by_version { "public, max-age=31536000, immutable" } else { "public, max-age=300" };
    let known =
        request.headers().get(header::IF_NONE_MATCH).is_some_and(|known| known.as_bytes() == tag.as_bytes());
    let mut answer = if known { HttpResponse::NotModified() } else { HttpResponse::Ok() };
    answer.insert_header((header::ETAG, tag)).insert_header((header::CACHE_CONTROL, keep));
    if name == SERVICE_WORKER {
        answer.insert_header(("Service-Worker-Allowed", site.at("/")));
    }
    Ok(if known { answer.finish() } else { answer.content_type(*content_type).body(*content) })
}
