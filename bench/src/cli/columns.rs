//! Rows of cells as columns for the terminal.

/// Rows with two spaces between columns, each as wide as its widest cell.
pub(super) fn columns(rows: &[Vec<String>]) -> Vec<String> {
    let count = rows.iter().map(Vec::len).max().unwrap_or(0);
    let width = |column: usize| {
        let cells = rows.iter().filter_map(|row| row.get(column));
        cells.map(|cell| cell.chars().count()).max().unwrap_or(0)
    };
    let widths: Vec<usize> = (0..count).map(width).collect();
    let line = |row: &Vec<String>| {
        let mut text = String::new();
        for (cell, width) in row.iter().zip(&widths) {
            text += cell;
            text += &" ".repeat(width - cell.chars().count() + 2);
        }
        text.trim_end().to_owned()
    };
    rows.iter().map(line).collect()
}
