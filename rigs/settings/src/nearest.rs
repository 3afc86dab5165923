//! The known key that a misspelt one was probably meant to be.

use alloc::vec::Vec;

/// Least number of single-character insertions, deletions and replacements between two words (Levenshtein distance).
fn distance(a: &str, b: &str) -> usize {
    let b: Vec<char> = b.chars().collect();
    let mut row: Vec<usize> = (0..=b.len()).collect();
    for (i, ca) in a.chars().enumerate() {
        let mut diagonal = i;
        let mut left = i + 1;
        for (cell, cb) in row.iter_mut().skip(1).zip(&b) {
            let above = *cell;
            left = (diagonal + usize::from(ca != *cb)).min(above + 1).min(left + 1);
            diagonal = above;
            *cell = left;
        }
        if let Some(first) = row.first_mut() {
            *first = i + 1;
        }
    }
    row.last().copied().unwrap_or(0)
}

/// The candidate closest to `word`, if it is close enough to have been meant: at most a third of the letters wrong.
///
/// ```
/// assert_eq!(settings_file::nearest("torqe", ["torque", "stop"].into_iter()), Some("torque"));
/// ```
pub fn nearest<'a>(word: &str, candidates: impl Iterator<Item = &'a str>) -> Option<&'a str> {
    let limit = (word.chars().count() / 3).max(2);
    candidates
        .map(|c| (distance(word, c), c))
        .filter(|(d, c)| *d <= limit && *d < c.chars().count())
        .min()
        .map(|(_, c)| c)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn distances_of_the_textbook() {
        assert_eq!(distance("kitten", "sitting"), 3);
        assert_eq!(distance("", "abc"), 3);
        assert_eq!(distance("abc", "abc"), 0);
        assert_eq!(distance("flaw", "lawn"), 2);
    }

    #[test]
    fn only_a_close_word_is_suggested() {
        let known = ["torque", "watchdog", "stop"];
        assert_eq!(nearest("watchdoc", known.into_iter()), Some("watchdog"));
        assert_eq!(nearest("torqe", known.into_iter()), Some("torque"));
        assert_eq!(nearest("colour", known.into_iter()), None);
    }
}
