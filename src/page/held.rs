//! What the page of one folder holds: the folder, the tables, the token, the port, and what was drawn of late.

use super::workshop::{Workshop, random_hex};
use crate::band::Judge;
use crate::blend::Scrub;
use crate::confidence::{Sampling, Sure, sure};
use crate::source::sha256_hex;
use crate::tables::Tables;
use crate::tasks::Means;
use std::collections::VecDeque;
use std::io;
use std::net::{Ipv4Addr, SocketAddr, TcpListener};
use std::path::Path;
use std::sync::{Mutex, PoisonError};

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
    /// Tells the folder from every other one of this machine, and not where it lies.
    pub(super) folder_id: String,
    pub(super) tables: Tables,
    pub(super) judge: Judge,
    pub(super) token: String,
    pub(super) listener: Option<TcpListener>,
    port: u16,
    /// Scrubs drawn of late, and what came of it: the same ones are asked for again and again, by undo, by versions kept, by two tabs.
    drawn: Mutex<VecDeque<(Scrub, Sure)>>,
}

/// Scrubs whose draws are remembered: the one in hand, the versions kept, and some to go back to.
const REMEMBERED: usize = 12;
impl Page {
    /// Opens a folder and takes a port of the loopback address. 0 takes the folder's own, so that the browser finds again what it
    /// remembers of the folder, and where that is taken any free one.
    ///
    /// # Errors
    /// [`PageError`] when the folder, the port or the random source is not to be had.
    pub fn new(folder: &Path, port: u16, tables: Tables, judge: Judge) -> Result<Self, PageError> {
        let named = || folder.display().to_string();
        let workshop = Workshop::open(folder).map_err(|cause| PageError::Folder { folder: named(), cause })?;
        let place = folder.canonicalize().ok();
        let hash = sha256_hex(place.as_deref().unwrap_or(folder).as_os_str().as_encoded_bytes());
        let bind = |port| TcpListener::bind(SocketAddr::from((Ipv4Addr::LOCALHOST, port)));
        let listener = if port == 0 { bind(own_port(&hash)).or_else(|_| bind(0)) } else { bind(port) };
        let listener = listener.map_err(|cause| PageError::Port { port, cause })?;
        listener.set_nonblocking(true)?;
        let folder_name = place.as_deref().and_then(Path::file_name).map(|n| n.to_string_lossy().into_owned());
        Ok(Self {
            workshop,
            folder_name: folder_name.unwrap_or_else(named),
            folder_id: hash.chars().take(16).collect(),
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

    /// What tasks work with here.
    pub(super) fn means(&self) -> Means<'_> {
        Means { tables: &self.tables, judge: &self.judge }
    }

    /// How sure the verdict on a scrub is.
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
}

/// The port of a folder, by the hash of its place: one of those that no service has for its own (RFC 6335: 49152 to 65535).
fn own_port(hash: &str) -> u16 {
    let start = u16::from_str_radix(hash.get(..4).unwrap_or_default(), 16).unwrap_or_default();
    0xC000 | (start & 0x3FFF)
}

/// Whether a host is the loopback address at a port; browsers leave out port 80.
fn names(host: &str, port: u16) -> bool {
    let (name, named) = host.rsplit_once(':').map_or((host, Some(80)), |(name, port)| (name, port.parse().ok()));
    ["127.0.0.1", "localhost"].contains(&name) && named == Some(port)
}

/// A name within an address.
fn percent_encoded(name: &str) -> String {
    let plain = |b: u8| b.is_ascii_alphanumeric() || b"-._".contains(&b);
    name.bytes().map(|b| if plain(b) { (b as char).to_string() } else { format!("%{b:02X}") }).collect()
}

#[cfg(test)]
mod tests {
    use super::{names, own_port};

    #[test]
    fn a_folder_has_a_port_of_its_own() {
        for (hash, port) in [("0000aa", 49152), ("ffff", 65535), ("4001", 49153), ("", 49152), ("é", 49152)] {
            assert_eq!(own_port(hash), port, "{hash}");
        }
    }

    #[test]
    fn a_host_without_a_port_is_at_80() {
        assert!(names("127.0.0.1", 80) && names("localhost:80", 80) && names("localhost:8080", 8080));
        assert!(!names("127.0.0.1", 8080) && !names("127.0.0.1:80", 8080) && !names("evil.example", 80));
        assert!(!names("127.0.0.1:", 80) && !names("127.0.0.1:x", 80));
    }
}
