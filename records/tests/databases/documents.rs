//! docs/records.md says what is so.

use std::collections::BTreeMap;

use records::Address;
use records::limits::Limits;

use super::support::sqlite;

const DOCUMENT: &str = include_str!("../../../docs/records.md");

#[test]
fn the_example_of_limits_can_be_read() {
    let blocks: Vec<&str> = DOCUMENT.split("```toml\n").skip(1).collect();
    let [block] = blocks.as_slice() else {
        panic!("one example, not {}", blocks.len())
    };
    let text = block.split("```").next().unwrap();
    let limits = Limits::from_toml("docs/records.md", text).unwrap_or_else(|findings| panic!("{findings}"));
    assert_eq!(limits.measurands.len(), 2);
    assert!((limits.measurands[0].rule.factor() - 1.65).abs() < 1e-12);
    assert!((limits.measurands[1].rule.factor() - 2.0).abs() < 1e-12);
}

/// Tables and columns of a new database, as SQLite itself tells them.
#[test]
fn every_table_and_column_is_documented() {
    let place = sqlite();
    drop(place.open());
    let Address::File(path) = &place.address else {
        panic!("a file")
    };
    let connection = rusqlite::Connection::open(path).unwrap();
    let sql = "SELECT m.name, c.name FROM sqlite_master m JOIN pragma_table_info(m.name) c WHERE m.type = 'table' \
               ORDER BY m.name, c.cid";
    let mut statement = connection.prepare(sql).unwrap();
    let mut found: BTreeMap<String, Vec<String>> = BTreeMap::new();
    let mut rows = statement.query([]).unwrap();
    while let Some(row) = rows.next().unwrap() {
        let table: String = row.get(0).unwrap();
        found.entry(table).or_default().push(row.get(1).unwrap());
    }
    let told = DOCUMENT
        .split("<!-- tables")
        .nth(1)
        .unwrap()
        .split("<!-- /tables -->")
        .next()
        .unwrap();
    let told: BTreeMap<String, Vec<String>> = told
        .lines()
        .filter(|line| line.starts_with("| `"))
        .map(|line| {
            let cells: Vec<&str> = line.split('|').map(str::trim).collect();
            let columns = cells[2].split(", ").map(str::to_owned).collect();
            (cells[1].trim_matches('`').to_owned(), columns)
        })
        .collect();
    assert_eq!(told, found);
}
