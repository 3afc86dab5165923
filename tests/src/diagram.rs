//! The diagrams of the two tables of states, drawn from the tables themselves into DEVELOPERS.md.

use bench_core::interlock::{Event, State};
use rig_link::RigState;
use virtual_rig::controller::transition::{self, Change, STATES};

/// Before the diagrams.
const BEGIN: &str = "<!-- diagrams: written by interlock-diagram -->";
/// Behind them.
const END: &str = "<!-- /diagrams -->";

/// `page` with the diagrams of the tables as they are between its markers; `None` when it has none.
#[must_use]
pub fn renewed(page: &str) -> Option<String> {
    let (before, rest) = page.split_once(BEGIN)?;
    let (_, after) = rest.split_once(END)?;
    Some(format!(
        "{before}{BEGIN}\n\nThe bench's interlock; what is not drawn changes nothing:\n\n{}\nThe rig controller \
         (PROTOCOL.md, chapter 7), as the virtual one has it:\n\n{}\n{END}{after}",
        bench(),
        rig()
    ))
}

fn bench() -> String {
    draw(&State::ALL, &Event::ALL, State::after, "Disarmed")
}

fn rig() -> String {
    draw(&STATES, &Change::ALL, transition::after, "Idle")
}

/// A diagram in Mermaid's words: one arrow for each pair of states that something leads from one to the other.
fn draw<S, E>(states: &[S], events: &[E], after: impl Fn(S, E) -> S, first: &str) -> String
where
    S: Copy + PartialEq + std::fmt::Debug,
    E: Copy + std::fmt::Debug,
{
    let mut text = format!("```mermaid\nstateDiagram-v2\n    [*] --> {first}\n");
    for &from in states {
        for &to in states.iter().filter(|&&to| to != from) {
            let by: Vec<_> = events
                .iter()
                .filter(|&&event| after(from, event) == to)
                .map(|event| words(&format!("{event:?}")))
                .collect();
            if !by.is_empty() {
                text += &format!("    {from:?} --> {to:?}: {}\n", by.join(", "));
            }
        }
    }
    text + "```\n"
}

/// `ArmAsked` → `arm asked`.
fn words(name: &str) -> String {
    let mut words = String::new();
    for letter in name.chars() {
        if letter.is_ascii_uppercase() && !words.is_empty() {
            words.push(' ');
        }
        words.push(letter.to_ascii_lowercase());
    }
    words
}

/// Whether an arrow leads to every state in its diagram.
#[must_use]
pub fn draws_every_state() -> bool {
    let (bench, rig) = (bench(), rig());
    let named = |text: &str, name: String| text.contains(&format!("--> {name}"));
    State::ALL.iter().all(|state| named(&bench, format!("{state:?}")))
        && STATES
            .iter()
            .all(|state: &RigState| named(&rig, format!("{state:?}")))
}
