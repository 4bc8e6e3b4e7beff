//! The page: a scrub designed by hand in a browser, on this machine only.
//!
//! The scrub that is being worked on is the text of its file, and every change is an edit of that text: what the page shows is
//! what `gritwise blend` would say of the file once it is saved, errors included.
//!
//! What the page asks is answered by [`Page::answer`]: a path and JSON in, JSON or a file out. It knows no HTTP, no clock and no disk;
//! its files are in a folder of two makers, the disk and [`Memory`]. Two bring it calls: the server, and a module without one.
//!
//! # The server
//! It listens on the loopback address, hands out the page (its assets are in the binary) and passes calls on. Who may ask: a request
//! must name this server as its host, and every call of the API must carry the token that only the printed address holds (another
//! site's page can do neither). Files are opened beneath one folder only.
//!
//! # Without a server
//! `.ci/page` compiles the calls to WebAssembly (`src/standalone`, which tells of the module's interface) and puts them with the same
//! assets into one file, `gritwise.html`: it opens from the disk by a double click, and its content security policy, in the file
//! itself, lets nothing out to any network. `call.js` asks the module where the page holds one, else the server; the answers are the
//! same texts. The module runs in a worker (`alone.js`); draws, searches and dossiers each in a worker of its own, that the page stays
//! live and that they can be stopped. Files are kept by `places.js`: in the browser's own store, or in a folder of the machine where
//! the browser can open one; `place.js` brings them in and takes them away. The same for a static host has a manifest and a cache.
//!
//! Its numbers are the command line's, but for the last bit of functions such as the exponential, which the system's library and the
//! compiler's own round differently (`tests/page_browser/alone.rs` holds every example to that). There is one thread to a worker and
//! none else, on which no result depends.
//!
//! # The API, version 1
//! All paths begin with `/api/1/`. Bodies and answers are JSON; keys carry their units and are those of `--json`. The token
//! goes into the header `x-gritwise-token`. A draft is `{ file, text, tables }`: the name of the scrub file, its text as it
//! would be saved, and size tables `{ name, text }` that are not on disk yet. An error is `{ error }`, with `file`, `line` and
//! `column` where they are known; `error` is what the command line prints.
//!
//! | call | takes | gives |
//! |---|---|---|
//! | `GET folder` | | `folder` (its name), and `scrubs`, `shelves`, `aims`, `tables`, `size_tables` (those of them with sizes), `broken` in it |
//! | `GET tables` | | what the pickers offer: materials with ranges and sources, sieves, grits, roundness classes, bands |
//! | `GET scrub?file=` | | the draft of a file: a scrub, a shelf or an aim |
//! | `GET start` | | the draft of a new scrub, under a name that the folder has free |
//! | `GET example` | | the same of the example that `gritwise start` writes |
//! | `GET shelf?file=` | | the powders of a shelf: `name`, `material`, `d50_um`, `stock_g`, `price_per_kg`, `tags`, and `values` for an edit |
//! | `POST preview` | `what`: `batch` with `of` (as `download/batch`), or of a `draft` its `label`, a `ladder` with `vary`, a `stand-in` with `powder` and `shelf` | `text`, as the command line prints it |
//! | `POST assess` | `draft`, [more](#assess) | `draft` after the edits, and [all that is shown of it](#assess) |
//! | `POST compare` | `drafts`, two to six | as `compare --json` |
//! | `POST differences` | `file`, `here`, `there`: two texts of it | a list of `what`, `before` (here), `after` (there) |
//! | `POST table` | `name`; `text` or `bytes`, `tables`, `charge_g`, [see there](#tables) | `name` to save it by, `kind`, `report` (as `size --json`), `text`, `loss_pct` of the charge |
//! | `POST grains` | a line of JSON, then the bytes of photographs, [see there](#photographs) | `report` (as `grains --json`), `pictures` (an SVG document of each), `values` for an edit of the powder |
//! | `POST aim` | `aim` (the keys of `[aim]`), `draft` | `report` (as `aim --json`), `drafts` of the blends |
//! | `POST confidence` | `draft`; `draws` (32 768 at most), `seed` | as `confidence --json` |
//! | `POST file` | `draft` of a shelf or an aim, `edits`, `base` | `draft` after the edits, `definition`, `powders` of a shelf, `unsaved` |
//! | `POST beside` | `names` of files of the folder | by name the SHA-256 of what each holds now, null for one that cannot be read |
//! | `POST save` | `draft`, `base` | `draft`; 409 with `disk` when the file is not `base` any more; 422 over a file of another kind |
//! | `GET examples` | | `name`, `text` of the shipped examples |
//! | `GET downloads` | | `key`, `label`, `file`, `of_batch` of every file to be had of a draft |
//! | `GET download/all` | | a zip of the folder's scrub files and tables |
//! | `POST download/KEY` | `draft`; [what to make](#batches) | the file |
//!
//! Whoever gives a call up, by closing its connection, has it ended: draws and searches ask whether they are still wanted.
//!
//! `base` is the text that the draft began from, null for a new file. Status 400: no such call or a malformed body; 401: no
//! token; 403: another host or site; 404: no such file; 405: the page itself is only read; 409: see `save`; 413: more than
//! 64 MiB at once; 415: the body is not said to be JSON; 422: the input is wrong; 500: the machine or the program failed.
//!
//! # Assess
//! `edits` is a list of [`crate::files::edit::Edit`]; `restate` `{ powder, form }` says a size in another form; the
//! curves reach over `range_um` at least, so that others can be laid over them: they share their sizes. `definition` is the
//! file as JSON, `forms` how each powder's size is stated, `report` as `blend --json`, `scale` a
//! [`crate::band::BandScale`], `charts` a [`crate::plot::SizeCharts`].
//!
//! With `base`, what the file holds on disk, `unsaved` says what differs from it; with `since`, the text before this step, `step` says
//! what it did: lists of `{ what, before, after }`. Among `edits` are those of any table or list of the file by its path (`set`,
//! `put-in`, `take-out`, `move`), with which phases, ingredients, acid, base, fill and use are edited.
//!
//! `whole` stands there beside `formula` where that can be read: `total_pct`, `lines` (all ingredients and powders as in
//! `formula --json`) and `checks` (the same, those that pass too, each with `name`, the `part` of the scrub that it is about, the
//! `lines` that it names, its `bound`: `at-least`, `at-most` or `exactly`, and what would `mend` it).
//!
//! `formula` stands there where the file has phases, an acid or anything else that `gritwise formula` checks: a list of
//! `{ level, text }`, `stop` before `warn` before `note`. Stops and warnings are checks, notes what could not be judged, the
//! index of the grains on the skin with what goes on dissolving, and cautions that are not in `report`. A formula that cannot be read is a `stop`.
//! `tables_read` are name and SHA-256 of the folder's tables that were read; sent with the next call, it makes `changed` say in
//! words which of them hold something else now.
//!
//! # Tables
//! A new table comes as `text` or, so that what is no UTF-8 is refused with its line, as the `bytes` of its file (a list of
//! numbers); without either it is one of `tables`, those in hand, or else of the folder. A new one is given a name that neither
//! the folder nor `tables` has for another text. A file has 8 MiB at most, as on the command line.
//!
//! # Photographs
//! The line of JSON: `photos`, a list of `{ name, bytes }` (how many of the bytes behind the line are each one's); `scale`, one of
//! `{ um_per_pixel }`, `{ bar: "500 px = 1 mm" }`, `{ square_um }`; `ground` (`light`, `dark`), `dust_um`; `draft` and `powder` (its position), to
//! have the sizes held against the table of that powder. The body has 64 MiB at most. The pictures are looked at and let go.
//!
//! # Batches
//! `mass`, `units`, `loss`, `resolution` and `shelf` are the options of `gritwise batch`, written as there, with its defaults;
//! `batch_g` is a mass in g. A batch of which neither mass nor units are said weighs 1000 g.
//!
//! # The page
//! The scrub in hand is the text of its file. A slider or a box becomes an edit (`files::edit`), the program makes it in the
//! text, reads the text as `blend` would and answers with report, scale and curves; undo is the text before. So nothing is
//! worked out twice: the script places points and writes numbers. What is kept is assessed once and held in the page: the curves
//! of all scrubs share their sizes, so that one is laid over another point by point. `src/page/mod.rs` lists the calls of the
//! API. Files are opened through `source::Files`: the disk for the command line, one folder and the tables in hand for the page. The browser is started with a file that only the user can read, since everybody sees a program's
//! arguments; a browser that is kept from the temporary folder needs the printed address.
//!
//! State stands in one place, `bench.js`: the draft, what the disk holds, the answer, the steps, what is kept. A shelf or an aim in hand
//! beside it is an `OnFile` (`onfile.js`), with steps and base of its own. `store.js` is what the
//! browser remembers of it (drafts that are not saved, versions kept), so that a reload, a crash or a new start of the server loses
//! nothing; for that a folder has a port of its own, by the hash of its place. `disk.js` looks at the file in hand, and at the tables that it rests on, every few seconds.
//! What is typed is taken when it is confirmed (`controls.js`, `picker.js`). Nothing is worked out in a script: differences, sums, losses
//! and the names of steps are the program's. Imports make no circle (a test of `server/assets.rs` follows them).
//!
//! A further file to take away is a row of `ALL` in `src/page/downloads.rs`; the page lists what is there. A further panel is an
//! element in `index.html`, a script of its own that fills it in `show` of `main.js`, and its asset in `server/assets.rs`. Data go into
//! the page by `make`, as text; the browser refuses markup (trusted types). Scripts and styles are laid out by `prettier
//! --print-width 120`.
//!
//! `tests/page.rs` speaks HTTP to it, `tests/page_browser.rs` drives Chromium (what a careful user trips over is in
//! `tests/page_browser/traps.rs`) and leaves screenshots in the target directory, in `page/`. Look at them after a change, and
//! make `plots/page.png` anew from `wide.png` (below 200 kB).

mod aim;
mod answer;
mod archive;
mod assess;
mod calls;
mod differences;
mod downloads;
mod draft;
mod folder;
#[cfg(feature = "photos")]
mod grains;
mod held;
mod kinds;
mod listing;
mod measured;
mod memory;
mod pickers;
mod previews;
#[cfg(feature = "page")]
mod server;
mod shelf;
mod whole;

pub use answer::{IsWanted, Reply};
pub use held::Page;
pub use memory::Memory;
#[cfg(feature = "page")]
pub use server::{Server, ServerError};
