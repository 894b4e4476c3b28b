//! The page over HTTP, for a browser on this machine alone.

use super::asked::Asked;
use super::desk::Desk;
use super::guard::{Guard, MOST_DROPPED, MOST_SENT, POLICY, Request as Shown};
use super::house::{House, News, Step, refused};
use crate::error::{Error, Fault};
use crate::report::picture::paint;
use crate::watch::Wake;
use axum::body::Bytes;
use axum::extract::rejection::{BytesRejection, JsonRejection};
use axum::extract::{DefaultBodyLimit, Path, Query, Request, State};
use axum::http::header::{
    CACHE_CONTROL, CONTENT_SECURITY_POLICY, CONTENT_TYPE, COOKIE, HOST, LOCATION, ORIGIN, REFERRER_POLICY,
    SET_COOKIE, X_CONTENT_TYPE_OPTIONS,
};
use axum::http::{HeaderMap, HeaderValue, Method, StatusCode};
use axum::middleware::{Next, from_fn, from_fn_with_state};
use axum::response::sse::{Event, KeepAlive, Sse};
use axum::response::{IntoResponse, Response};
use axum::routing::{get, post, put};
use axum::{Json, Router};
use serde_json::Value;
use std::collections::HashMap;
use std::convert::Infallible;
use std::future::Future;
use std::net::Ipv4Addr;
use std::sync::Arc;
use std::time::Duration;
use tokio::net::TcpListener;
use tokio_stream::StreamExt;
use tokio_stream::wrappers::WatchStream;

type Shared = State<Arc<House>>;
/// Why not, for the script to show.
type Refused = (StatusCode, Json<Value>);
type Done = Result<Json<Value>, Refused>;

/// What is under way at the end is given this long.
const LAST_WORDS: Duration = Duration::from_secs(2);

/// A port that is bound, and the desk that will be shown there.
pub struct Server {
    listener: TcpListener,
    house: Arc<House>,
}

impl Server {
    /// On 127.0.0.1. Port 0: any that is free.
    ///
    /// # Errors
    /// The port is taken or not allowed.
    pub async fn bind(desk: Desk, port: u16) -> Result<Server, Error> {
        let refused = |error: std::io::Error| {
            Fault::new(
                format!("port {port} of this machine cannot be used ({error})"),
                "Name another with --port, or leave it out to have a free one chosen.",
            )
        };
        let listener = TcpListener::bind((Ipv4Addr::LOCALHOST, port))
            .await
            .map_err(refused)?;
        let port = listener.local_addr().map_err(refused)?.port();
        let house = Arc::new(House::new(desk, Guard::new(port)));
        Ok(Server { listener, house })
    }

    /// Whoever opens it is let in.
    pub fn address(&self) -> String {
        self.house.guard.address()
    }

    /// Until `end`.
    ///
    /// # Errors
    /// The system takes the port away.
    pub async fn run(self, end: impl Future<Output = ()> + Send + 'static) -> Result<(), Error> {
        let house = self.house;
        let wake = Wake::on(house.folder());
        let enough = wake.end();
        let looks = house.clone();
        let looking = tokio::task::spawn_blocking(move || look(&looks, wake));
        let mut over = house.news.subscribe();
        let told = house.clone();
        let serving = axum::serve(self.listener, routes(house)).with_graceful_shutdown(async move {
            end.await;
            // Streams of news would stay open for ever.
            told.news.send_replace(News::Over);
        });
        let at_last = async move {
            let _ = over.wait_for(|news| *news == News::Over).await;
            tokio::time::sleep(LAST_WORDS).await;
        };
        let ended = tokio::select! {
            ended = serving => ended,
            () = at_last => Ok(()),
        };
        enough.now();
        // It ends after the reading that is under way.
        let _ = looking.await;
        ended.map_err(|error| {
            Fault::new(
                format!("the page cannot be shown any longer ({error})"),
                "Start it again.",
            )
            .into()
        })
    }
}

/// Looks at the folder whenever something happens there, until `wake` is told to end.
fn look(house: &House, mut wake: Wake) {
    let mut soon = false;
    while wake.wait(soon) {
        // What is wrong with test.toml shows when it is written or read again.
        if let Ok(looked) = house.look() {
            wake.keep(looked.is_there);
            soon = looked.is_waiting;
        }
    }
}

fn routes(house: Arc<House>) -> Router {
    Router::new()
        .route("/", get(page))
        .route("/look.css", get(look_css))
        .route("/hand.js", get(hand_js))
        .route("/icon.svg", get(icon))
        .route("/now", get(now))
        .route("/numbers", get(numbers))
        .route("/events", get(events))
        .route("/try", post(try_out))
        .route("/change", post(change))
        .route("/undo", post(|house| step(house, Step::Undo)))
        .route("/redo", post(|house| step(house, Step::Redo)))
        .route("/write", post(|house| step(house, Step::Write)))
        .route("/start-over", post(|house| step(house, Step::StartOver)))
        .route(
            "/drop/{name}",
            put(drop_in).layer(DefaultBodyLimit::max(MOST_DROPPED)),
        )
        .layer(DefaultBodyLimit::max(MOST_SENT))
        .layer(from_fn_with_state(house.clone(), guarded))
        .layer(from_fn(with_headers))
        .with_state(house)
}

/// Nothing is kept by the browser: an answer of yesterday must not be taken for one of today.
async fn with_headers(request: Request, next: Next) -> Response {
    let mut response = next.run(request).await;
    for (name, value) in [
        (CONTENT_SECURITY_POLICY, POLICY),
        (X_CONTENT_TYPE_OPTIONS, "nosniff"),
        (REFERRER_POLICY, "no-referrer"),
        (CACHE_CONTROL, "no-store"),
    ] {
        response
            .headers_mut()
            .insert(name, HeaderValue::from_static(value));
    }
    response
}

async fn guarded(State(house): Shared, request: Request, next: Next) -> Response {
    let headers = request.headers();
    let text = |name| {
        headers
            .get(name)
            .and_then(|value: &HeaderValue| value.to_str().ok())
    };
    let shown = Shown {
        changes: request.method() != Method::GET && request.method() != Method::HEAD,
        host: text(HOST),
        origin: text(ORIGIN),
        cookies: text(COOKIE),
    };
    let opens = request.uri().path() == "/" && request.method() == Method::GET;
    let admitted = match Query::<HashMap<String, String>>::try_from_uri(request.uri()) {
        Ok(query) if opens && query.contains_key("token") => {
            return match house.guard.admits_host(&shown) {
                Ok(()) => opened(&house, query.get("token").map_or("", String::as_str)),
                Err(why) => (StatusCode::FORBIDDEN, why).into_response(),
            };
        }
        _ => house.guard.admits(&shown),
    };
    match admitted {
        Ok(()) => next.run(request).await,
        Err(why) => (StatusCode::FORBIDDEN, why).into_response(),
    }
}

/// The token goes out of the address line and into a cookie.
fn opened(house: &House, token: &str) -> Response {
    if !house.guard.is_token(token) {
        let why = "This address is of an earlier start. Use the one that stillair printed last.";
        return (StatusCode::FORBIDDEN, why).into_response();
    }
    let mut headers = HeaderMap::new();
    headers.insert(LOCATION, HeaderValue::from_static("/"));
    if let Ok(cookie) = HeaderValue::from_str(&house.guard.cookie()) {
        headers.insert(SET_COOKIE, cookie);
    }
    (StatusCode::SEE_OTHER, headers).into_response()
}

/// Off the threads that answer.
async fn worked<T: Send + 'static>(
    house: Arc<House>,
    work: impl FnOnce(&House) -> T + Send + 'static,
) -> Result<T, Refused> {
    let done = tokio::task::spawn_blocking(move || work(&house)).await;
    done.map_err(|_| {
        let fault = Fault::new(
            "the program met something that it did not expect",
            "Undo the last change, and tell of it.",
        );
        (StatusCode::INTERNAL_SERVER_ERROR, Json(refused(&fault.into())))
    })
}

fn told(error: &Error) -> Refused {
    (StatusCode::UNPROCESSABLE_ENTITY, Json(refused(error)))
}

fn typed(kind: &'static str, text: String) -> Response {
    ([(CONTENT_TYPE, kind)], text).into_response()
}

async fn page(State(house): Shared) -> Result<Response, Refused> {
    let text = worked(house, House::page).await?;
    Ok(typed("text/html; charset=utf-8", text))
}

async fn look_css() -> Response {
    let text = format!("{}\n{}", paint::style(), include_str!("look.css"));
    typed("text/css; charset=utf-8", text)
}

async fn hand_js() -> Response {
    typed(
        "text/javascript; charset=utf-8",
        include_str!("hand.js").to_string(),
    )
}

async fn icon() -> Response {
    typed("image/svg+xml", include_str!("icon.svg").to_string())
}

async fn now(State(house): Shared) -> Done {
    worked(house, House::now).await.map(Json)
}

async fn numbers(State(house): Shared) -> Done {
    let numbers = worked(house, House::numbers).await?;
    numbers.map(Json).map_err(|error| told(&error))
}

/// A page that comes late is told where things stand at once.
async fn events(State(house): Shared) -> Sse<impl tokio_stream::Stream<Item = Result<Event, Infallible>>> {
    let news = WatchStream::new(house.news.subscribe())
        .take_while(|news| *news != News::Over)
        .map(|news| {
            let version = match news {
                News::Version(version) => version.to_string(),
                News::Over => String::new(),
            };
            Ok(Event::default().event("version").data(version))
        });
    Sse::new(news).keep_alive(KeepAlive::default())
}

/// The body as what it asks for, or why it is none.
fn read(asked: Result<Json<Asked>, JsonRejection>) -> Result<Asked, Refused> {
    asked.map(|Json(asked)| asked).map_err(|why| {
        let fault = Fault::new(why.body_text(), "Load the page again.");
        (why.status(), Json(refused(&fault.into())))
    })
}

async fn try_out(
    State(house): Shared,
    asked: Result<Json<Asked>, JsonRejection>,
) -> Result<Response, Refused> {
    let asked = read(asked)?;
    let number = house.number_of_try();
    match worked(house, move |house| house.try_out(number, asked)).await? {
        Ok(Some(answer)) => Ok(Json(answer).into_response()),
        Ok(None) => Ok(StatusCode::NO_CONTENT.into_response()),
        Err(error) => Err(told(&error)),
    }
}

async fn change(State(house): Shared, asked: Result<Json<Asked>, JsonRejection>) -> Done {
    let asked = read(asked)?;
    let done = worked(house, move |house| house.change(asked)).await?;
    done.map(Json).map_err(|error| told(&error))
}

async fn step(State(house): Shared, step: Step) -> Done {
    let done = worked(house, move |house| house.step(step)).await?;
    done.map(Json).map_err(|error| told(&error))
}

async fn drop_in(
    State(house): Shared,
    Path(name): Path<String>,
    bytes: Result<Bytes, BytesRejection>,
) -> Done {
    let bytes = bytes.map_err(|why| {
        let fault = Fault::new(why.body_text(), "Copy the file into the folder by hand.");
        (why.status(), Json(refused(&fault.into())))
    })?;
    let done = worked(house, move |house| house.drop_in(&name, &bytes)).await?;
    done.map(Json).map_err(|error| told(&error))
}
