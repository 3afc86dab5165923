//! One self-contained page: no network, no script, readable on a telephone, in the dark and on paper.

mod budget;
pub(super) mod page;
mod plain_words;
mod provenance;
mod results;

pub use page::html;
