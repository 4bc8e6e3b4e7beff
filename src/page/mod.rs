//! The page: a scrub designed by hand in a browser, on this machine only.
//!
//! A server on the loopback address hands out one page (its assets are in the binary) and answers it from the library. The
//! scrub that is being worked on is the text of its file, and every change is an edit of that text: what the page shows is
//! what `gritwise blend` would say of the file once it is saved, errors included.
//!
//! Who may ask: a request must name this server as its host, and every call of the API must carry the token that only the
//! printed address holds (another site's page can do neither). Files are opened beneath one folder only.
//!
//! # The API, version 1
//! All paths begin with `/api/1/`. Bodies and answers are JSON; keys carry their units and are those of `--json`. The token
//! goes into the header `x-gritwise-token`. A draft is `{ file, text, tables }`: the name of the scrub file, its text as it
//! would be saved, and size tables `{ name, text }` that are not on disk yet. An error is `{ error }`, with `file`, `line` and
//! `column` where they are known; `error` is what the command line prints.
//!
//! | call | takes | gives |
//! |---|---|---|
//! | `GET folder` | | `scrubs`, `shelves`, `aims`, `tables`, `broken` of the folder |
//! | `GET tables` | | what the pickers offer: materials with ranges and sources, sieves, grits, roundness classes |
//! | `GET scrub?file=` | | the draft of a file |
//! | `GET start` | | the draft of a new scrub |
//! | `POST assess` | `draft`, [more](#assess) | `draft` after the edits, `definition`, `forms`, `report`, `scale`, `charts` |
//! | `POST compare` | `drafts`, two to six | as `compare --json` |
//! | `POST table` | `name`, `text` (left out for one of the folder) | `name` to save it by, `kind`, `report` (as `size --json`) |
//! | `POST aim` | `aim` (the keys of `[aim]`), `draft` | `report` (as `aim --json`), `drafts` of the blends |
//! | `POST confidence` | `draft`; `draws` (32 768 at most), `seed` | as `confidence --json` |
//! | `POST save` | `draft`, `base` | `draft`; 409 with `disk` when the file is not `base` any more |
//! | `GET downloads` | | `key`, `label`, `file`, `of_batch` of every file to be had of a draft |
//! | `POST download/KEY` | `draft`; `batch_g` | the file |
//!
//! `base` is the text that the draft began from, null for a new file. Status 400: no such call or a malformed body; 401: no
//! token; 403: another host or site; 404: no such file; 409: see `save`; 413: too large; 422: the input is wrong.
//!
//! # Assess
//! `edits` is a list of [`crate::scrubfile::edit::Edit`]; `restate` `{ powder, form }` says a size in another form; `kept` are
//! drafts to lay over the curves. `definition` is the file as JSON, `forms` how each powder's size is stated, `report` as
//! `blend --json`, `scale` a [`crate::report::ScaleReport`], `charts` a [`crate::plot::SizeCharts`].

mod aim;
mod answer;
mod api;
mod assets;
mod downloads;
mod draft;
mod guard;
mod listing;
mod pickers;
mod server;
mod workshop;

pub use server::{Page, PageError};
