//! The page without a server: its calls, and a folder in memory, for whoever runs WebAssembly.
//!
//! The interface is plain bytes over linear memory, eight functions of whole numbers and no imports. A binding generator
//! (`wasm-bindgen`) would write the same copy of bytes in its own words, but would need a program of exactly its own version beside
//! the compiler, and would tie the module to the browser; this one runs wherever WebAssembly does, and a test can ask it from anywhere.
//!
//! There is one buffer. The host asks for [`room`], writes into it, calls, and reads [`length`] bytes at [`place`]; what it reads is
//! good until it next asks for room. Memory may grow in any of them: a host takes its view of it anew each time.
//!
//! | export | buffer before | buffer after | gives |
//! |---|---|---|---|
//! | `room(n)` | | n bytes of zero | its place |
//! | `put(n)` | n bytes of a file's name, what it holds | | |
//! | `remove()` | a file's name | | |
//! | `get()` | a file's name | what it holds | 1, or 0 where there is none |
//! | `call(n, 0)` | a call's path of n bytes | media type, a line feed, the answer | its status |
//! | `call(n, 1)` | the same with its body behind | the same | its status |
//!
//! The calls are those of [`gritwise::page`]. A panic ends the module (it is built to abort): the host makes another one.

use gritwise::band::Judge;
use gritwise::page::{Memory, Page, Reply};
use gritwise::tables::Tables;
use std::sync::{Arc, LazyLock, Mutex, MutexGuard, PoisonError};

/// All that the module holds.
struct ModuleState {
    buffer: Vec<u8>,
    folder: Arc<Memory>,
    /// The page, or what is wrong with the tables that it was built with.
    page: Result<Page, String>,
}

static HELD: LazyLock<Mutex<ModuleState>> = LazyLock::new(|| {
    let folder = Arc::new(Memory::default());
    Mutex::new(ModuleState { buffer: Vec::new(), page: page(folder.clone()), folder })
});

fn page(folder: Arc<Memory>) -> Result<Page, String> {
    let tables = Tables::built_in().map_err(|e| e.to_string())?;
    let judge = Judge::new(&tables).map_err(|e| e.to_string())?;
    Ok(Page::in_memory(folder, tables, judge))
}

fn held() -> MutexGuard<'static, ModuleState> {
    HELD.lock().unwrap_or_else(PoisonError::into_inner)
}

impl ModuleState {
    /// Takes the buffer in two parts, the first of so many bytes.
    fn taken(&mut self, first: usize) -> (String, Vec<u8>) {
        let mut first_part = std::mem::take(&mut self.buffer);
        let rest = first_part.split_off(first.min(first_part.len()));
        (String::from_utf8_lossy(&first_part).into_owned(), rest)
    }

    fn answer(&self, path: &str, body: Option<&[u8]>) -> Reply {
        match &self.page {
            Ok(page) => page.answer(path, body),
            Err(problem) => Reply { status: 500, media: "text/plain", bytes: problem.clone().into_bytes() },
        }
    }
}

/// Makes room for so many bytes, and tells where.
#[allow(unsafe_code, reason = "a name that the host links to")]
#[unsafe(no_mangle)]
pub extern "C" fn room(bytes: usize) -> *mut u8 {
    let mut held = held();
    held.buffer = vec![0; bytes];
    held.buffer.as_mut_ptr()
}

/// Where the buffer is.
#[allow(unsafe_code, reason = "a name that the host links to")]
#[unsafe(no_mangle)]
pub extern "C" fn place() -> *const u8 {
    held().buffer.as_ptr()
}

/// How many bytes it holds.
#[allow(unsafe_code, reason = "a name that the host links to")]
#[unsafe(no_mangle)]
pub extern "C" fn length() -> usize {
    held().buffer.len()
}

/// Puts a file into the folder.
#[allow(unsafe_code, reason = "a name that the host links to")]
#[unsafe(no_mangle)]
pub extern "C" fn put(name_bytes: usize) {
    let mut held = held();
    let (name, bytes) = held.taken(name_bytes);
    held.folder.put(&name, bytes);
}

/// Takes a file out of the folder.
#[allow(unsafe_code, reason = "a name that the host links to")]
#[unsafe(no_mangle)]
pub extern "C" fn remove() {
    let mut held = held();
    let (name, _) = held.taken(usize::MAX);
    held.folder.remove(&name);
}

/// Fetches what a file of the folder holds; whether there is one.
#[allow(unsafe_code, reason = "a name that the host links to")]
#[unsafe(no_mangle)]
pub extern "C" fn get() -> u32 {
    let mut held = held();
    let (name, _) = held.taken(usize::MAX);
    let found = held.folder.get(&name);
    let is_there = found.is_some();
    held.buffer = found.unwrap_or_default();
    is_there.into()
}

/// Answers a call, and gives the status of the answer.
#[allow(unsafe_code, reason = "a name that the host links to")]
#[unsafe(no_mangle)]
pub extern "C" fn call(path_bytes: usize, has_body: u32) -> u32 {
    let mut held = held();
    let (path, body) = held.taken(path_bytes);
    let Reply { status, media, bytes } = held.answer(&path, (has_body != 0).then_some(body.as_slice()));
    held.buffer = [media.as_bytes(), b"\n", &bytes].concat();
    status.into()
}
