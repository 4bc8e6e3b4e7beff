//! The server: one folder, one token, the loopback address, until it is told to stop.

use super::guard::guard;
use super::workshop::{Workshop, random_hex};
use super::{api, assets};
use crate::band::Judge;
use crate::blend::Scrub;
use crate::confidence::{Sampling, Sure, sure};
use crate::tables::Tables;
use crate::tasks::Means;
use axum::Router;
use axum::middleware::from_fn_with_state;
use axum::routing::get;
use axum::serve::ListenerExt;
use std::collections::VecDeque;
use std::io;
use std::net::{Ipv4Addr, SocketAddr, TcpListener};
use std::path::Path;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;
use tokio::sync::oneshot;

/// Why the page cannot be served.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum PageError {
    /// The folder cannot be opened.
    #[error("{folder}: the folder cannot be opened: {cause}")]
    Folder {
        /// As named.
        folder: String,
        /// What the system said.
        cause: io::Error,
    },
    /// The port is not to be had.
    #[error("port {port} cannot be used: {cause}; name another with --port, or leave it out to take any free one")]
    Port {
        /// As asked for.
        port: u16,
        /// What the system said.
        cause: io::Error,
    },
    /// The system's random source or its network fails.
    #[error("the server cannot run: {0}")]
    System(#[from] io::Error),
}

/// The page of one folder, ready to be served.
pub struct Page {
    pub(super) workshop: Workshop,
    /// For people.
    pub(super) folder_name: String,
    pub(super) tables: Tables,
    pub(super) judge: Judge,
    pub(super) token: String,
    listener: Option<TcpListener>,
    port: u16,
    /// Scrubs drawn of late, and what came of it: the same ones are asked for again and again, by undo, by versions kept, by two tabs.
    drawn: Mutex<VecDeque<(Scrub, Sure)>>,
}

/// Calls that are worked out at the same time; the others wait.
const AT_ONCE: usize = 8;
/// Scrubs whose draws are remembered: the one in hand, the versions kept, and some to go back to.
const REMEMBERED: usize = 12;
/// How long calls in hand may take to end after the server was told to stop; one that is only half sent never would.
const GRACE: Duration = Duration::from_secs(1);

impl Page {
    /// Opens a folder and takes a port of the loopback address; 0 takes any free one.
    ///
    /// # Errors
    /// [`PageError`] when the folder, the port or the random source is not to be had.
    pub fn new(folder: &Path, port: u16, tables: Tables, judge: Judge) -> Result<Self, PageError> {
        let named = || folder.display().to_string();
        let workshop = Workshop::open(folder).map_err(|cause| PageError::Folder { folder: named(), cause })?;
        let listener = TcpListener::bind(SocketAddr::from((Ipv4Addr::LOCALHOST, port)));
        let listener = listener.map_err(|cause| PageError::Port { port, cause })?;
        listener.set_nonblocking(true)?;
        let folder_name = folder.canonicalize().ok();
        let folder_name = folder_name.as_deref().and_then(Path::file_name).map(|n| n.to_string_lossy().into_owned());
        Ok(Self {
            workshop,
            folder_name: folder_name.unwrap_or_else(named),
            tables,
            judge,
            token: random_hex::<32>()?,
            port: listener.local_addr()?.port(),
            listener: Some(listener),
            drawn: Mutex::new(VecDeque::new()),
        })
    }

    /// The address to open, the token with it; after `#`, where no request and no log carries it. `file` is opened at once.
    pub fn address(&self, file: Option<&str>) -> String {
        let file = file.map_or_else(String::new, |f| format!("&file={}", percent_encoded(f)));
        format!("http://127.0.0.1:{}/#token={}{file}", self.port, self.token)
    }

    /// How sure the verdict on a scrub is.
    pub(super) fn means(&self) -> Means<'_> {
        Means { tables: &self.tables, judge: &self.judge }
    }

    pub(super) fn drawn(&self, scrub: &Scrub) -> Sure {
        // A call that failed while it held the lock left what was there before.
        let mut known = self.drawn.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some((_, found)) = known.iter().find(|(drawn, _)| drawn == scrub) {
            return found.clone();
        }
        let found = sure(scrub, &self.judge, &self.tables, Sampling::VERDICT);
        known.truncate(REMEMBERED - 1);
        known.push_front((scrub.clone(), found.clone()));
        found
    }

    /// Whether a `Host` header names this server.
    pub(super) fn is_host(&self, host: &str) -> bool {
        names(host, self.port)
    }

    /// Serves until the process is interrupted or told to end; told twice, calls in hand are not waited for.
    ///
    /// # Errors
    /// [`PageError::System`] when the network fails.
    pub fn serve(mut self) -> Result<(), PageError> {
        let listener = self.listener.take().ok_or_else(|| io::Error::other("the port was given away"))?;
        let runtime = tokio::runtime::Builder::new_multi_thread()
            .worker_threads(2)
            .max_blocking_threads(AT_ONCE)
            .enable_all()
            .build()?;
        let page = Arc::new(self);
        let served = runtime.block_on(async {
            let listener = tokio::net::TcpListener::from_std(listener)?;
            // Small answers must not wait for each other's receipts.
            let listener = listener.tap_io(|stream| drop(stream.set_nodelay(true)));
            let (tell, told) = oneshot::channel::<()>();
            let serving = axum::serve(listener, router(page.clone()));
            let serving = serving.with_graceful_shutdown(async { drop(told.await) });
            tokio::select! {
                // Who is answered can already stop it.
                biased;
                () = stopped_for_good(tell) => Ok(()),
                served = serving => served,
            }
        });
        runtime.shutdown_background();
        page.workshop.settle();
        Ok(served?)
    }
}

/// Whether a host is the loopback address at a port; browsers leave out port 80.
fn names(host: &str, port: u16) -> bool {
    let (name, named) = host.rsplit_once(':').map_or((host, Some(80)), |(name, port)| (name, port.parse().ok()));
    ["127.0.0.1", "localhost"].contains(&name) && named == Some(port)
}

fn router(page: Arc<Page>) -> Router {
    Router::new()
        .route("/", get(assets::index))
        .route("/assets/{name}", get(assets::asset))
        .nest("/api/1", api::routes())
        .layer(from_fn_with_state(page.clone(), guard))
        .with_state(page)
}

/// Waits to be told to stop, has `tell` hear of it, and comes back when the grace is over or when told again.
async fn stopped_for_good(tell: oneshot::Sender<()>) {
    stopped().await;
    let again = stopped();
    let _ = tell.send(());
    tokio::select! { () = again => (), () = tokio::time::sleep(GRACE) => () }
}

/// Ctrl-C, or on Unix a request to end.
async fn stopped() {
    let interrupted = tokio::signal::ctrl_c();
    #[cfg(unix)]
    if let Ok(mut ended) = tokio::signal::unix::signal(tokio::signal::unix::SignalKind::terminate()) {
        tokio::select! { _ = interrupted => (), _ = ended.recv() => () }
        return;
    }
    let _ = interrupted.await;
}

/// A name within an address.
fn percent_encoded(name: &str) -> String {
    let plain = |b: u8| b.is_ascii_alphanumeric() || b"-._".contains(&b);
    name.bytes().map(|b| if plain(b) { (b as char).to_string() } else { format!("%{b:02X}") }).collect()
}

#[cfg(test)]
mod tests {
    use super::names;

    #[test]
    fn a_host_without_a_port_is_at_80() {
        assert!(names("127.0.0.1", 80) && names("localhost:80", 80) && names("localhost:8080", 8080));
        assert!(!names("127.0.0.1", 8080) && !names("127.0.0.1:80", 8080) && !names("evil.example", 80));
        assert!(!names("127.0.0.1:", 80) && !names("127.0.0.1:x", 80));
    }
}
