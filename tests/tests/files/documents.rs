//! Tables in the documents that the code decides: each stands there word for word as the code gives it.

#![allow(clippy::unwrap_used, clippy::panic)] // helpers of a test may fail it

use acceptance::recovery::root;
use bench_core::excitation::ExcitationKind;
use bench_core::interlock::{Condition, ENDINGS, Event, State};
use bench_core::rig::{Mounting, Rig};
use std::collections::BTreeSet;
use truerim::session::{SettingsText, plan_for};

fn document(name: &str) -> String {
    std::fs::read_to_string(root().join(name)).unwrap()
}

/// The conditions of the interlock and the other ways to end, as the README's safety chapter lists them.
fn conditions() -> String {
    let mut text = "| condition | fires on | after | mounting |\n| --- | --- | --- | --- |\n".to_owned();
    for condition in Condition::ALL {
        let [fires_on, after, mounting] = condition.terms();
        text += &format!("| {} | {fires_on} | {after} | {mounting} |\n", condition.name());
    }
    for [name, fires_on, after, mounting] in ENDINGS {
        text += &format!("| *{name}* | {fires_on} | {after} | {mounting} |\n");
    }
    text
}

/// The same for rig files, as comments.
fn comments() -> String {
    let row = |condition: Condition| {
        let [fires_on, after, mounting] = condition.terms();
        format!("#   {}: {fires_on}; {after}; {mounting}\n", condition.name())
    };
    Condition::ALL.into_iter().map(row).collect()
}

/// States and events of the interlock, as DEVELOPERS.md shows them; "–" where the state stays.
fn states() -> String {
    let words = |name: &str| {
        name.chars().fold(String::new(), |mut text, letter| {
            if letter.is_ascii_uppercase() && !text.is_empty() {
                text.push(' ');
            }
            text.push(letter.to_ascii_lowercase());
            text
        })
    };
    let mut text = "| state \\ event |".to_owned();
    for event in Event::ALL {
        text += &format!(" {} |", words(&format!("{event:?}")));
    }
    text += "\n| --- |";
    text += &" --- |".repeat(Event::ALL.len());
    for state in State::ALL {
        text += &format!("\n| {} |", words(&format!("{state:?}")));
        for event in Event::ALL {
            let next = state.after(event);
            let word = match next {
                next if next == state => "–".to_owned(),
                State::Armed => "**armed**".to_owned(),
                next => words(&format!("{next:?}")),
            };
            text += &format!(" {word} |");
        }
    }
    text + "\n"
}

#[test]
fn the_readme_lists_every_condition_of_the_interlock_as_it_is() {
    let table = conditions();
    assert!(
        document("README.md").contains(&table),
        "README.md must hold this table:\n{table}"
    );
}

/// The blocks of TOML in a document.
fn blocks(text: &str) -> Vec<&str> {
    let behind = text.split("```toml\n").skip(1);
    behind.filter_map(|rest| rest.split("```").next()).collect()
}

#[test]
fn every_example_of_a_segment_can_be_played() {
    let text = document("docs/procedures.md");
    let belt = document("rigs/belt.toml");
    let [clamped, free] = [Mounting::Clamped, Mounting::Free]
        .map(|mounting| Rig::mounted("rigs/belt.toml", &belt, Some(mounting)).unwrap());
    let [quick, travel] = ["quick", "travel"].map(|name| document(&format!("procedures/{name}.toml")));
    let mut kinds = BTreeSet::new();
    for block in blocks(&text) {
        // End stops are approached by a free rim alone.
        let (rig, shipped) = if block.contains("\"end-stop\"") {
            (&free, &travel)
        } else {
            (&clamped, &quick)
        };
        let head = shipped.split("[[segment]]").next().unwrap();
        // Beside the shipped procedures, whose trace files it names.
        let procedure = SettingsText {
            file: root().join("procedures/example.toml").display().to_string(),
            text: format!("{head}{block}"),
        };
        let plan = plan_for(&procedure, rig, 1).unwrap_or_else(|findings| panic!("{findings}\n{block}"));
        kinds.extend(plan.windows().iter().map(|window| window.kind.word()));
    }
    let all: BTreeSet<&str> = ExcitationKind::WORDS.iter().map(|(word, _)| *word).collect();
    assert_eq!(kinds, all);
}

#[test]
fn the_states_of_the_interlock_are_shown_as_they_are() {
    let table = states();
    assert!(
        document("DEVELOPERS.md").contains(&table),
        "DEVELOPERS.md must hold this table:\n{table}"
    );
}

#[test]
fn every_rig_file_lists_the_conditions_as_they_are() {
    let table = comments();
    for file in ["belt", "geared", "direct", "serial"] {
        assert!(
            document(&format!("rigs/{file}.toml")).contains(&table),
            "rigs/{file}.toml must hold these lines:\n{table}"
        );
    }
}
