//! The server: how it is reached, what is wrapped around the routes, how it starts and how it stops.

use std::future::ready;
use std::io;
use std::net::{Ipv4Addr, Ipv6Addr, SocketAddr, TcpListener};
use std::sync::OnceLock;
use std::time::Duration;

use actix_web::body::{BoxBody, MessageBody};
use actix_web::dev::{Server, ServiceFactory, ServiceRequest, ServiceResponse};
use actix_web::http::StatusCode;
use actix_web::middleware::{Compress, from_fn};
use actix_web::{App, HttpResponse, HttpServer, web};
use tracing_actix_web::{RootSpanBuilder, TracingLogger};

use super::body::MOST_BYTES;
use super::guard;
use super::health::Metrics;
use super::limits::Limits;
use super::problem::Problem;
use super::routes;
use super::site::State;
use crate::db::Database;

/// How this server is reached.
#[derive(Debug, Clone)]
pub struct Settings {
    /// Where it listens.
    pub listen: SocketAddr,
    /// The path it answers under: empty, or such as `/cellar`, without a slash at the end.
    pub base: String,
    /// The address people use, without the path: `https://cellar.example.org`. Links in mails and codes
    /// begin with it. Where it is https, cookies are kept to TLS.
    pub public: Option<String>,
    /// Sessions may go over a network without TLS: anyone on that network can then take them over.
    pub plain_http: bool,
    /// A proxy of ours stands before it and says in `X-Forwarded-For` who called.
    pub behind_proxy: bool,
    /// Letters are sent from here.
    pub mail: bool,
    /// Threads that answer.
    pub workers: usize,
}

impl Settings {
    /// On an address, with nothing before it.
    pub fn on(listen: SocketAddr) -> Self {
        let workers = std::thread::available_parallelism().map_or(2, usize::from);
        Self {
            listen,
            base: String::new(),
            public: None,
            plain_http: false,
            behind_proxy: false,
            mail: false,
            workers,
        }
    }

    /// Whether browsers reach it over TLS only: said by the public address; without one, assumed
    /// wherever others than this machine can reach it.
    pub fn over_tls(&self) -> bool {
        match &self.public {
            _ if self.plain_http => false,
            Some(public) => public.starts_with("https://"),
            None => !self.listen.ip().is_loopback(),
        }
    }

    /// The name of the session's cookie. `__Host-` makes browsers refuse it from any other host and
    /// without TLS.
    pub fn cookie_name(&self) -> &'static str {
        if self.over_tls() { "__Host-undercroft" } else { "undercroft" }
    }

    /// The beginning of every whole address.
    pub fn origin(&self) -> String {
        if let Some(public) = &self.public {
            return public.clone();
        }
        // Where it listens to all, this machine at least can follow a link to itself.
        let mut listen = self.listen;
        if listen.ip().is_unspecified() {
            listen.set_ip(if listen.is_ipv4() {
                Ipv4Addr::LOCALHOST.into()
            } else {
                Ipv6Addr::LOCALHOST.into()
            });
        }
        format!("http://{listen}")
    }
}

/// Serve until the process is told to stop (SIGTERM, or SIGINT from the keyboard); what is under way is
/// finished.
pub async fn serve(listener: TcpListener, db: Database, settings: Settings) -> io::Result<()> {
    let server = serve_on(listener, db, settings)?;
    let handle = server.handle();
    tokio::spawn(async move {
        if let Err(error) = told_to_stop().await {
            tracing::error!(%error, "signals cannot be received: the server stops only by being killed");
            return;
        }
        tracing::info!("stopping: what is under way is finished first");
        handle.stop(true).await;
    });
    server.await
}

/// Serve on a socket that is open already, until the handle of the server is told to stop.
pub fn serve_on(listener: TcpListener, db: Database, mut settings: Settings) -> io::Result<Server> {
    settings.listen = listener.local_addr()?;
    let workers = settings.workers;
    let state = web::Data::new(State {
        db,
        description: OnceLock::new(),
        settings,
        metrics: Metrics::default(),
        limits: Limits::default(),
    });
    let server = HttpServer::new(move || app(state.clone()))
        .workers(workers)
        .disable_signals()
        .keep_alive(Duration::from_mins(1))
        .client_request_timeout(Duration::from_secs(10))
        .client_disconnect_timeout(Duration::from_secs(5))
        .max_connections(4096)
        .shutdown_timeout(20)
        .listen(listener)?;
    Ok(server.run())
}

#[cfg(unix)]
async fn told_to_stop() -> io::Result<()> {
    use tokio::signal::unix::{SignalKind, signal};
    let (mut term, mut int) = (signal(SignalKind::terminate())?, signal(SignalKind::interrupt())?);
    tokio::select! {
        _ = term.recv() => {}
        _ = int.recv() => {}
    }
    Ok(())
}

#[cfg(not(unix))]
async fn told_to_stop() -> io::Result<()> {
    tokio::signal::ctrl_c().await
}

/// The routes and what is around them. From the outside in: the log, compression, the guard, the routes.
pub fn app(
    state: web::Data<State>,
) -> App<
    impl ServiceFactory<
        ServiceRequest,
        Config = (),
        Response = ServiceResponse<impl MessageBody>,
        Error = actix_web::Error,
        InitError = (),
    >,
> {
    let base = state.settings.base.clone();
    let to_base = format!("{base}/");
    let within = web::scope(&base).configure(|service| routes::table().install(service));
    App::new()
        .app_data(state)
        .app_data(web::PayloadConfig::new(MOST_BYTES))
        .wrap(from_fn(guard::guard))
        .wrap(Compress::default())
        .wrap(TracingLogger::<Logged>::new())
        .configure(move |service| {
            if !base.is_empty() {
                service.route(&base, web::get().to(move || ready(redirect(&to_base))));
            }
        })
        .service(within)
        .default_service(web::to(nowhere))
}

fn redirect(to: &str) -> HttpResponse {
    HttpResponse::PermanentRedirect().insert_header(("Location", to)).finish()
}

async fn nowhere() -> Result<HttpResponse<BoxBody>, Problem> {
    Err(Problem::of_status(StatusCode::NOT_FOUND))
}

/// One line a request. It names the route, never the address as it was sent: some hold secrets.
struct Logged;

impl RootSpanBuilder for Logged {
    fn on_request_start(request: &ServiceRequest) -> tracing::Span {
        let route = request.match_pattern().unwrap_or_default();
        tracing::info_span!("request", method = %request.method(), route)
    }

    fn on_request_end<B: MessageBody>(
        _: tracing::Span,
        outcome: &Result<ServiceResponse<B>, actix_web::Error>,
    ) {
        match outcome {
            Ok(answer) => {
                let route = answer.request().match_pattern().unwrap_or_default();
                tracing::info!(status = answer.status().as_u16(), route, "answered");
            }
            Err(error) => tracing::error!(%error, "not answered"),
        }
    }
}

#[cfg(test)]
pub(super) mod tests;
