//! The diagrams in DEVELOPERS.md are those of the tables that the program runs on.

use acceptance::diagram::{draws_every_state, renewed};

#[test]
fn the_diagrams_are_those_of_the_tables() {
    let page = include_str!("../../../DEVELOPERS.md");
    assert!(
        renewed(page).as_deref() == Some(page),
        "the diagrams in DEVELOPERS.md are stale: cargo run -p acceptance --bin interlock-diagram"
    );
}

#[test]
fn every_state_can_be_reached_in_its_diagram() {
    assert!(draws_every_state());
}

#[test]
fn a_page_that_says_something_else_is_stale() {
    let page = include_str!("../../../DEVELOPERS.md");
    let other = page.replacen(
        "Arming --> Armed: arm granted",
        "Arming --> Tripped: arm granted",
        1,
    );
    assert!(other != page, "the arrow is not drawn");
    assert!(renewed(&other).as_deref() != Some(other.as_str()));
}
