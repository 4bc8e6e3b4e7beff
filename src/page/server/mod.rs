//! The page on this machine: one folder of the disk, one token, the loopback address, until it is told to stop.

mod assets;
mod disk;
mod guard;
mod wire;

use super::held::{KnownAs, Page};
use crate::band::Judge;
use crate::source::sha256_hex;
use crate::tables::Tables;
use axum::Router;
use axum::middleware::from_fn_with_state;
use axum::routing::{any, get};
use axum::serve::ListenerExt;
use disk::{OnDisk, random_hex};
use std::io;
use std::net::{Ipv4Addr, SocketAddr, TcpListener};
use std::path::Path;
use std::sync::{Arc, Mutex};
use std::time::Duration;
use tokio::sync::oneshot;

/// Why the page cannot be served.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum ServerError {
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

/// The page of one folder of the disk, ready to be served.
pub struct Server {
    served: Served,
    listener: TcpListener,
}

/// What answers while the server runs.
struct Served {
    page: Page,
    token: String,
    port: u16,
}

/// Calls that are worked out at the same time; the others wait.
const AT_ONCE: usize = 8;
/// Threads that answer; they only pass on.
const WORKERS: usize = 2;
/// How long calls in hand may take to end after the server was told to stop; one that is only half sent never would.
const GRACE: Duration = Duration::from_secs(1);

impl Server {
    /// Opens a folder and takes a port of the loopback address. 0 takes the folder's own, so that the browser finds again what it
    /// remembers of the folder, and where that is taken any free one.
    ///
    /// # Errors
    /// [`ServerError`] when the folder, the port or the random source is not to be had.
    pub fn new(folder: &Path, port: u16, tables: Tables, judge: Judge) -> Result<Self, ServerError> {
        let named = || folder.display().to_string();
        let opened = OnDisk::open(folder).map_err(|cause| ServerError::Folder { folder: named(), cause })?;
        let place = folder.canonicalize().ok();
        let hash = sha256_hex(place.as_deref().unwrap_or(folder).as_os_str().as_encoded_bytes());
        let bind = |port| TcpListener::bind(SocketAddr::from((Ipv4Addr::LOCALHOST, port)));
        let listener = if port == 0 { bind(own_port(&hash)).or_else(|_| bind(0)) } else { bind(port) };
        let listener = listener.map_err(|cause| ServerError::Port { port, cause })?;
        listener.set_nonblocking(true)?;
        let name = place.as_deref().and_then(Path::file_name).map(|n| n.to_string_lossy().into_owned());
        let known_as = KnownAs { name: name.unwrap_or_else(named), id: hash.chars().take(16).collect() };
        let page = Page::new(Arc::new(opened), known_as, tables, judge);
        let served = Served { page, token: random_hex::<32>()?, port: listener.local_addr()?.port() };
        Ok(Self { served, listener })
    }

    /// The address to open, the token with it; after `#`, where no request and no log carries it. `file` is opened at once.
    pub fn address(&self, file: Option<&str>) -> String {
        let file = file.map_or_else(String::new, |f| format!("&file={}", percent_encoded(f)));
        let Served { port, token, .. } = &self.served;
        format!("http://127.0.0.1:{port}/#token={token}{file}")
    }

    /// Serves until the process is interrupted or told to end; told twice, calls in hand are not waited for.
    ///
    /// # Errors
    /// [`ServerError::System`] when the network fails.
    pub fn serve(self) -> Result<(), ServerError> {
        threads_can_start()?;
        let runtime = tokio::runtime::Builder::new_multi_thread()
            .worker_threads(WORKERS)
            .max_blocking_threads(AT_ONCE)
            .enable_all()
            .build()?;
        let served = Arc::new(self.served);
        let ended = runtime.block_on(async {
            let listener = tokio::net::TcpListener::from_std(self.listener)?;
            // Small answers must not wait for each other's receipts.
            let listener = listener.tap_io(|stream| drop(stream.set_nodelay(true)));
            let (tell, told) = oneshot::channel::<()>();
            let serving = axum::serve(listener, router(served.clone()));
            let serving = serving.with_graceful_shutdown(async { drop(told.await) });
            tokio::select! {
                // Who is answered can already stop it.
                biased;
                () = stopped_for_good(tell) => Ok(()),
                served = serving => served,
            }
        });
        runtime.shutdown_background();
        served.page.settle();
        Ok(ended?)
    }
}

/// Starts as many threads at once as the server needs at least: its runtime would panic where the system refuses one.
fn threads_can_start() -> io::Result<()> {
    let gate = Mutex::new(());
    std::thread::scope(|scope| {
        // None ends before all have begun.
        let _closed = gate.lock();
        let waits = || drop(gate.lock());
        (0..=WORKERS).try_for_each(|_| std::thread::Builder::new().spawn_scoped(scope, waits).map(drop))
    })
    .map_err(|e| io::Error::new(e.kind(), format!("the page needs some threads, and the system starts none: {e}")))
}

fn router(served: Arc<Served>) -> Router {
    Router::new()
        .route("/", get(assets::index))
        .route("/assets/{name}", get(assets::asset))
        .route("/api/1/{*call}", any(wire::call))
        .layer(from_fn_with_state(served.clone(), guard::guard))
        .with_state(served)
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

/// The port of a folder, by the hash of its place: one of those that no service has for its own (RFC 6335: 49152 to 65535).
fn own_port(hash: &str) -> u16 {
    let start = u16::from_str_radix(hash.get(..4).unwrap_or_default(), 16).unwrap_or_default();
    0xC000 | (start & 0x3FFF)
}

/// A name within an address.
fn percent_encoded(name: &str) -> String {
    let plain = |b: u8| b.is_ascii_alphanumeric() || b"-._".contains(&b);
    name.bytes().map(|b| if plain(b) { (b as char).to_string() } else { format!("%{b:02X}") }).collect()
}

#[cfg(test)]
mod tests {
    use super::own_port;

    #[test]
    fn a_folder_has_a_port_of_its_own() {
        for (hash, port) in [("0000aa", 49152), ("ffff", 65535), ("4001", 49153), ("", 49152), ("é", 49152)] {
            assert_eq!(own_port(hash), port, "{hash}");
        }
    }
}
