//! Fewer rows for a picture without losing a peak of any curve.

/// Rows to keep of lists of one length: all where they are no more than `most`; else, of each of so many equal blocks, the first and those of
/// the least and the greatest value of every list, and the last of all. Ascending, each once; about `most` at most. This is the M4
/// aggregation (Jugel, Jerzak, Hackenbroich and Markl, Proc. VLDB 7, 2014) of several curves over one axis.
pub(crate) fn rows(lists: &[&[f64]], most: usize) -> Vec<usize> {
    let count = lists.iter().map(|list| list.len()).min().unwrap_or(0);
    if count <= most {
        return (0..count).collect();
    }
    let blocks = (most / (1 + 2 * lists.len())).max(1);
    let mut kept = vec![count - 1];
    for block in 0..blocks {
        let range = block * count / blocks..(block + 1) * count / blocks;
        kept.push(range.start);
        for list in lists {
            let by = |a: &usize, b: &usize| list[*a].total_cmp(&list[*b]);
            kept.extend(range.clone().min_by(by));
            kept.extend(range.clone().max_by(by));
        }
    }
    kept.sort_unstable();
    kept.dedup();
    kept
}

/// The values of a list at these rows.
pub(crate) fn at(list: &[f64], rows: &[usize]) -> Vec<f64> {
    rows.iter().filter_map(|row| list.get(*row).copied()).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_needle_in_either_curve_is_kept_and_so_are_both_ends() {
        let mut a: Vec<f64> = (0..10_000).map(|i| f64::from(i % 13)).collect();
        let mut b = vec![0.0; 10_000];
        a[4_321] = 50.0;
        b[7_777] = -9.0;
        let kept = rows(&[&a, &b], 1200);
        assert!(kept.len() <= 1201, "{}", kept.len());
        assert!(kept.contains(&4_321) && kept.contains(&7_777));
        assert_eq!((kept.first(), kept.last()), (Some(&0), Some(&9_999)));
        assert!(kept.windows(2).all(|w| w[0] < w[1]));
        assert_eq!(at(&b, &[7_777, 20_000]), [-9.0]);
    }

    #[test]
    fn few_rows_stay_as_they_are() {
        assert_eq!(rows(&[&[1.0, 2.0, 3.0]], 3), [0, 1, 2]);
        assert!(rows(&[], 10).is_empty());
    }
}
