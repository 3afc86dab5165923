#![allow(clippy::unwrap_used, reason = "a test ends with the first surprise")]

use std::io::Write as _;

use super::*;

fn read(text: &str, columns: [&str; 3]) -> Result<AxisSeries, String> {
    let mut file = tempfile::Builder::new().suffix(".csv").tempfile().unwrap();
    file.write_all(text.as_bytes()).unwrap();
    let columns = columns.map(ColumnOf::from_words);
    let [time, position, effort] = &columns;
    read_axis(file.path(), TextStyle::default(), [time, position, effort]).map_err(|error| error.to_string())
}

const GOOD: &str = "t,x,f\n0,0,1\n1,10,2\n2,20,3\n3,30,4\n";

#[test]
fn units_decide_what_the_axis_is() {
    let linear = read(GOOD, ["t=ms", "x=mm", "f=N"]).unwrap();
    assert!(linear.linear);
    assert!((linear.fs_hz - 1000.0).abs() < 1e-9);
    assert!((linear.position[3] - 0.03).abs() < 1e-15 && (linear.effort[3] - 4.0).abs() < 1e-15);
    let rotary = read(GOOD, ["t", "x=deg", "f=mN·m"]).unwrap();
    assert!(!rotary.linear);
    // 30 degrees are pi/6.
    assert!((rotary.position[3] - std::f64::consts::FRAC_PI_6).abs() < 1e-15);
    assert!((rotary.effort[3] - 0.004).abs() < 1e-15 && (rotary.fs_hz - 1.0).abs() < 1e-12);
    // An effort without unit is in the axis' own.
    assert!((read(GOOD, ["t", "x=mm", "f"]).unwrap().effort[0] - 1.0).abs() < 1e-15);
}

#[test]
fn what_cannot_be_used_is_said_with_its_place() {
    let cases = [
        (GOOD, ["t", "y=deg", "f"], "no column"),
        (GOOD, ["t", "x", "f"], "column \"x\" has no unit"),
        (GOOD, ["t", "x=N", "f"], "no angle and no length"),
        (GOOD, ["t", "x=mm", "f=N·m"], "not a force"),
        (GOOD, ["t", "x=deg", "f=N"], "not a torque"),
        (GOOD, ["t=mm", "x=deg", "f"], "not a time"),
        (
            "t,x,f\n0,0,1\n1,a,2\n2,2,2\n",
            ["t", "x=deg", "f"],
            "row 2 (line 3), column \"x\": \"a\" is no number",
        ),
        (
            "t,x,f\n0,0,1\n1,2\n2,2,2\n",
            ["t", "x=deg", "f"],
            "row 2 (line 3): 2 fields",
        ),
        (
            "t,x,f\n0,0,1\n1,1,2\n1,2,2\n3,3,3\n",
            ["t", "x=deg", "f"],
            "row 3: time does not go on",
        ),
        (
            "t,x,f\n0,0,1\n1,1,2\n5,2,2\n6,3,3\n",
            ["t", "x=deg", "f"],
            "row 3: 4 s after",
        ),
        ("t,x,f\n0,0,1\n", ["t", "x=deg", "f"], "time goes from 0 to 0 s"),
        ("t,x,f\n", ["t", "x=deg", "f"], "no rows"),
    ];
    for (text, columns, expected) in cases {
        let error = read(text, columns).unwrap_err();
        assert!(error.contains(expected), "{columns:?}: {error}");
    }
}

/// A straight line stays one when its rows are laid on the even grid.
#[test]
fn uneven_rows_are_laid_on_the_grid() {
    let rows: String = [0.0, 1.2, 1.9, 3.0, 4.3, 5.0]
        .iter()
        .map(|t| format!("{t},{},{}\n", 2.0 * t, 7.0 - t))
        .collect();
    let series = read(&format!("t,x,f\n{rows}"), ["t", "x=rad", "f=N·m"]).unwrap();
    assert_eq!(series.notes.len(), 1, "{:?}", series.notes);
    for (k, (x, f)) in series.position.iter().zip(&series.effort).enumerate() {
        assert!((x - 2.0 * k as f64).abs() < 1e-12 && (f - 7.0 + k as f64).abs() < 1e-12);
    }
}
