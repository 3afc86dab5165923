//! What somebody with the database's password does behind the program's back is found; on both databases.

use super::support::{Place, add};
use records::entry::{FIRST_LINK, next_link};
use records::{Entry, Finding, Noted, sha256};

crate::on_both! {
    sound_records_are_found_sound
    nothing_can_be_changed_or_removed_by_mistake
    a_changed_line_is_found
    a_line_changed_with_its_digest_is_found
    an_entry_rewritten_with_digest_link_and_key_is_found
    a_removed_entry_is_found
    an_end_that_was_cut_off_is_found_by_a_receipt
    two_entries_in_each_others_place_are_found
    an_entry_slipped_in_is_found
    records_written_anew_are_found_by_a_receipt
    a_changed_result_is_found
    a_removed_result_is_found
    a_result_slipped_in_is_found
    a_changed_name_is_found
    a_row_of_an_entry_that_is_not_there_is_found
}

/// Three measurements of two units: entries 1 to 6.
fn filled(place: &Place) -> Vec<Entry> {
    let mut store = place.open();
    add(&mut store, "VB-0001", 1);
    add(&mut store, "VB-0002", 2);
    add(&mut store, "VB-0001", 3);
    (1..=6).map(|seq| store.entry(seq).unwrap().unwrap()).collect()
}

fn findings(place: &Place, noted: &[Noted]) -> Vec<Finding> {
    place.open().verify(noted).unwrap().findings
}

/// That something with these words is found about these entries, and nothing about others.
fn found(place: &Place, noted: &[Noted], expected: &[(i64, &str)]) {
    let findings = findings(place, noted);
    for (entry, words) in expected {
        assert!(
            findings
                .iter()
                .any(|f| f.entry == *entry && f.what.contains(words)),
            "nothing of {entry} says \"{words}\": {findings:#?}"
        );
    }
    for finding in &findings {
        assert!(
            expected.iter().any(|(entry, _)| *entry == finding.entry),
            "{finding:?}"
        );
    }
}

fn receipt(entry: &Entry) -> Noted {
    Noted {
        seq: entry.seq,
        link: entry.link.clone(),
        place: "out/run/record.json".into(),
    }
}

/// A text of SQL.
fn quoted(text: &str) -> String {
    format!("'{}'", text.replace('\'', "''"))
}

fn sound_records_are_found_sound(place: &Place) {
    let entries = filled(place);
    let noted: Vec<Noted> = entries.iter().map(receipt).collect();
    let verified = place.open().verify(&noted).unwrap();
    assert_eq!(verified.findings, []);
    assert_eq!((verified.entries, verified.noted), (6, 6));
    assert_eq!(verified.link, entries[5].link);
    // 8 names and 3 measurands of the first, 1 unit of the second; 3 recordings, 3 fits, 9 results, 6 mentions
    assert_eq!(verified.rows, 8 + 3 + 1 + 3 + 3 + 9 + 6);
}

fn nothing_can_be_changed_or_removed_by_mistake(place: &Place) {
    filled(place);
    for table in [
        "entries",
        "results",
        "recordings",
        "fits",
        "units",
        "mentions",
        "migrations",
    ] {
        let column = match table {
            "migrations" => "number",
            "entries" => "seq",
            _ => "entry",
        };
        for sql in [
            format!("UPDATE {table} SET {column} = {column} + 100"),
            format!("DELETE FROM {table}"),
        ] {
            let said = place.by_hand(&sql).unwrap_err();
            assert!(
                said.contains("only added, never changed or removed"),
                "{sql}: {said}"
            );
        }
    }
    found(place, &[], &[]);
}

fn a_changed_line_is_found(place: &Place) {
    filled(place);
    place.damage(
        "entries",
        "UPDATE entries SET line = replace(line, '0.00402', '0.00302') WHERE seq = 4",
    );
    found(place, &[], &[(4, "changed")]);
}

fn a_line_changed_with_its_digest_is_found(place: &Place) {
    let line = filled(place)[0].line.replace("Robin Vale", "Kim Aster");
    let digest = sha256(&line);
    let sql = format!(
        "UPDATE entries SET line = {}, digest = '{digest}' WHERE seq = 1",
        quoted(&line)
    );
    place.damage("entries", &sql);
    found(place, &[], &[(1, "does not follow")]);
}

fn an_entry_rewritten_with_digest_link_and_key_is_found(place: &Place) {
    let entries = filled(place);
    let line = entries[3].line.replace("0.00402", "0.00302");
    assert_ne!(line, entries[3].line);
    let digest = sha256(&line);
    let link = next_link(&entries[2].link, &digest);
    let sql = format!(
        "UPDATE entries SET line = {}, digest = '{digest}', link = '{link}' WHERE seq = 4",
        quoted(&line)
    );
    place.damage("entries", &sql);
    // Its own key names the old content, its results are the old ones, and the next link is of the old entry.
    found(
        place,
        &[],
        &[
            (4, "its key is not that of its content"),
            (4, "results"),
            (5, "does not follow"),
        ],
    );
}

fn a_removed_entry_is_found(place: &Place) {
    filled(place);
    place.damage("entries", "DELETE FROM entries WHERE seq = 4");
    found(place, &[], &[(4, "removed"), (4, "fits"), (5, "does not follow")]);
}

fn an_end_that_was_cut_off_is_found_by_a_receipt(place: &Place) {
    let entries = filled(place);
    for table in ["entries", "fits", "results", "mentions"] {
        let column = if table == "entries" { "seq" } else { "entry" };
        place.damage(table, &format!("DELETE FROM {table} WHERE {column} = 6"));
    }
    // All traces are gone: what is left is sound by itself.
    found(place, &[], &[]);
    found(place, &[receipt(&entries[4])], &[]);
    found(place, &[receipt(&entries[5])], &[(6, "cut off")]);
}

fn two_entries_in_each_others_place_are_found(place: &Place) {
    filled(place);
    let sql = "UPDATE entries SET seq = 100 WHERE seq = 3; UPDATE entries SET seq = 3 WHERE seq = 5; \
               UPDATE entries SET seq = 5 WHERE seq = 100";
    place.damage("entries", sql);
    let moved = [
        (3, "moved"),
        (3, "does not follow"),
        (4, "does not follow"),
        (5, "moved"),
        (6, "does not follow"),
    ];
    found(place, &[], &moved);
}

fn an_entry_slipped_in_is_found(place: &Place) {
    let entries = filled(place);
    // The third entry again, as a fourth of its own unit; those behind it move on.
    let line = entries[2]
        .line
        .replace("VB-0002", "VB-0003")
        .replace("\"seq\":3", "\"seq\":4");
    let digest = sha256(&line);
    let link = next_link(&entries[2].link, &digest);
    let sql = format!(
        "UPDATE entries SET seq = seq + 101 WHERE seq > 3; UPDATE entries SET seq = seq - 100 WHERE seq > 100; \
         INSERT INTO entries (seq, kind, \"key\", digest, link, line) VALUES (4, 'recording', 'recording slipped', '{digest}', \
         '{link}', {})",
        quoted(&line)
    );
    place.damage("entries", &sql);
    let findings = findings(place, &[]);
    let says = |entry: i64, words: &str| {
        findings
            .iter()
            .any(|f| f.entry == entry && f.what.contains(words))
    };
    assert!(
        says(4, "column \"key\"") && says(5, "moved") && says(5, "does not follow") && says(7, "moved"),
        "{findings:#?}"
    );
}

fn records_written_anew_are_found_by_a_receipt(place: &Place) {
    let entries = filled(place);
    // Everything from the second measurement on as if its operator had been another, with digests and links that follow.
    let mut link = FIRST_LINK.to_owned();
    let mut sql = String::new();
    for entry in &entries {
        let line = match entry.seq {
            3 => entry
                .line
                .replace("\"by\":\"Robin Vale\"", "\"by\":\"Kim Aster\""),
            _ => entry.line.clone(),
        };
        let digest = sha256(&line);
        link = next_link(&link, &digest);
        sql += &format!(
            "UPDATE entries SET line = {}, digest = '{digest}', link = '{link}' WHERE seq = {};",
            quoted(&line),
            entry.seq
        );
    }
    place.damage("entries", &sql);
    found(place, &[], &[]);
    found(place, &[receipt(&entries[1])], &[]);
    found(place, &[receipt(&entries[4])], &[(5, "written anew")]);
}

fn a_changed_result_is_found(place: &Place) {
    filled(place);
    place.damage(
        "results",
        "UPDATE results SET value = 0.003 WHERE fit = 4 AND value < 0.01",
    );
    found(
        place,
        &[],
        &[(
            4,
            "table results: 1 rows that follow from it are not there, 1 are there",
        )],
    );
}

fn a_removed_result_is_found(place: &Place) {
    filled(place);
    place.damage("results", "DELETE FROM results WHERE fit = 4 AND value > 1");
    found(
        place,
        &[],
        &[(
            4,
            "table results: 1 rows that follow from it are not there, 0 are there",
        )],
    );
}

fn a_result_slipped_in_is_found(place: &Place) {
    filled(place);
    let sql =
        "INSERT INTO results (model, measurand, fit, value, u, entry) VALUES (1, 8192, 5, 0.004, 0.0001, 4)";
    place.by_hand(sql).unwrap();
    found(
        place,
        &[],
        &[(
            4,
            "table results: 0 rows that follow from it are not there, 1 are there",
        )],
    );
}

fn a_changed_name_is_found(place: &Place) {
    filled(place);
    place.damage("operators", "UPDATE operators SET name = 'Kim Aster'");
    // Later entries that name the operator follow from the first one's row no more, either.
    let findings = findings(place, &[]);
    assert!(
        findings
            .iter()
            .any(|f| f.entry == 1 && f.what.contains("operators")),
        "{findings:#?}"
    );
}

fn a_row_of_an_entry_that_is_not_there_is_found(place: &Place) {
    filled(place);
    place
        .by_hand("INSERT INTO mentions (unit, mentioned, entry) VALUES (1, 3, 77)")
        .unwrap();
    found(place, &[], &[(77, "slipped in")]);
}
