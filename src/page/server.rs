//! The server: one folder, one token, the loopback address, until it is told to stop.

use super::guard::guard;
use super::held::{Page, PageError};
use super::{api, assets};
use axum::Router;
use axum::middleware::from_fn_with_state;
use axum::routing::get;
use axum::serve::ListenerExt;
use std::io;
use std::sync::{Arc, Mutex};
use std::time::Duration;
use tokio::sync::oneshot;

/// Calls that are worked out at the same time; the others wait.
const AT_ONCE: usize = 8;
/// Threads that answer; they only pass on.
const WORKERS: usize = 2;
/// How long calls in hand may take to end after the server was told to stop; one that is only half sent never would.
const GRACE: Duration = Duration::from_secs(1);

impl Page {
    /// Serves until the process is interrupted or told to end; told twice, calls in hand are not waited for.
    ///
    /// # Errors
    /// [`PageError::System`] when the network fails.
    pub fn serve(mut self) -> Result<(), PageError> {
        let listener = self.listener.take().ok_or_else(|| io::Error::other("the port was given away"))?;
        threads_can_start()?;
        let runtime = tokio::runtime::Builder::new_multi_thread()
            .worker_threads(WORKERS)
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
