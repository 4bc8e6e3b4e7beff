//! A running page and plain HTTP to it: written by hand, so that a test can send what no client library would.
#![allow(dead_code, reason = "each test file uses its own part")]

use serde_json::Value;
use std::fs;
use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::Duration;
use tempfile::TempDir;

pub struct Served {
    pub child: Child,
    pub address: String,
    pub port: u16,
    pub token: String,
    pub folder: TempDir,
}

pub struct Reply {
    pub status: u16,
    pub head: String,
    pub text: String,
}

impl Reply {
    pub fn json(&self) -> Value {
        serde_json::from_str(&self.text).unwrap_or_else(|e| panic!("{e}: {} {}", self.status, self.text))
    }
}

/// A copy of the examples in a folder of its own, served.
pub fn served() -> Served {
    served_with(&["--no-open"], &[])
}

/// The same, with other arguments and in another environment.
pub fn served_with(args: &[&str], environment: &[(&str, &str)]) -> Served {
    let folder = tempfile::tempdir().unwrap();
    for entry in fs::read_dir(Path::new(env!("CARGO_MANIFEST_DIR")).join("examples")).unwrap() {
        let path = entry.unwrap().path();
        fs::copy(&path, folder.path().join(path.file_name().unwrap())).unwrap();
    }
    let mut child = Command::new(env!("CARGO_BIN_EXE_gritwise"))
        .arg("page")
        .args(args)
        .envs(environment.iter().copied())
        .arg(folder.path())
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
        .unwrap();
    let mut address = String::new();
    BufReader::new(child.stdout.take().unwrap()).read_line(&mut address).unwrap();
    let address = address.trim().to_owned();
    let (host, token) = address.split_once("/#token=").unwrap();
    let port = host.rsplit_once(':').unwrap().1.parse().unwrap();
    Served { port, token: token.to_owned(), address: address.clone(), child, folder }
}

impl Drop for Served {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

impl Served {
    /// Sends bytes as they are and reads until the server closes.
    pub fn raw(&self, request: &[u8]) -> Reply {
        let mut stream = TcpStream::connect(("127.0.0.1", self.port)).unwrap();
        stream.set_read_timeout(Some(Duration::from_secs(60))).unwrap();
        // A server that refuses early may close before it has read everything.
        let _ = stream.write_all(request);
        let mut bytes = Vec::new();
        let _ = stream.read_to_end(&mut bytes);
        let reply = String::from_utf8_lossy(&bytes);
        let (head, text) = reply.split_once("\r\n\r\n").unwrap_or((&reply, ""));
        let status = head.split(' ').nth(1).and_then(|s| s.parse().ok()).unwrap_or(0);
        Reply { status, head: head.to_lowercase(), text: text.to_owned() }
    }

    /// A request with these headers beside length and type.
    pub fn request(&self, method: &str, path: &str, headers: &[(&str, &str)], body: Option<&str>) -> Reply {
        self.raw(Self::written(method, path, headers, body).as_bytes())
    }

    fn written(method: &str, path: &str, headers: &[(&str, &str)], body: Option<&str>) -> String {
        let mut text = format!("{method} {path} HTTP/1.1\r\nConnection: close\r\n");
        for (name, value) in headers {
            text += &format!("{name}: {value}\r\n");
        }
        if let Some(body) = body {
            let is_told = headers.iter().any(|(name, _)| *name == "Content-Type");
            text += if is_told { "" } else { "Content-Type: application/json\r\n" };
            text += &format!("Content-Length: {}\r\n", body.len());
        }
        format!("{text}\r\n{}", body.unwrap_or(""))
    }

    /// Sends a call and reads no answer: who drops the connection gives the call up.
    pub fn send(&self, path: &str, body: &str) -> TcpStream {
        let host = self.host();
        let text = Self::written("POST", &format!("/api/1/{path}"), &self.own(&host), Some(body));
        let mut stream = TcpStream::connect(("127.0.0.1", self.port)).unwrap();
        stream.write_all(text.as_bytes()).unwrap();
        stream
    }

    pub fn host(&self) -> String {
        format!("127.0.0.1:{}", self.port)
    }

    pub fn get(&self, path: &str) -> Reply {
        self.request("GET", &format!("/api/1/{path}"), &self.own(&self.host()), None)
    }

    pub fn post(&self, path: &str, body: &Value) -> Reply {
        self.post_text(path, &body.to_string())
    }

    pub fn post_text(&self, path: &str, body: &str) -> Reply {
        self.request("POST", &format!("/api/1/{path}"), &self.own(&self.host()), Some(body))
    }

    fn own<'a>(&'a self, host: &'a str) -> [(&'a str, &'a str); 2] {
        [("Host", host), ("X-Gritwise-Token", &self.token)]
    }

    /// The draft of a file.
    pub fn draft(&self, file: &str) -> Value {
        let reply = self.get(&format!("scrub?file={file}"));
        assert_eq!(reply.status, 200, "{}", reply.text);
        reply.json()
    }
}
