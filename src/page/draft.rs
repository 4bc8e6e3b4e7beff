//! A scrub that is being worked on: the text of its file, with size tables that are not on disk yet.

use serde::{Deserialize, Serialize};

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Draft {
    pub file: String,
    pub text: String,
    #[serde(default)]
    pub tables: Vec<TableText>,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct TableText {
    pub name: String,
    pub text: String,
}
