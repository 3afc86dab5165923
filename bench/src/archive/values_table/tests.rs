#![allow(clippy::unwrap_used, reason = "a test ends with the first surprise")]

use super::*;
use parquet::basic::ConvertedType;
use parquet::file::reader::{FileReader, SerializedFileReader};
use parquet::record::{Field, RowAccessor as _};
use records::{Point, Series};

fn measurement(recording: i64, at: i64) -> Measurement {
    Measurement {
        recording,
        fit: Some(recording + 1),
        model: "Marten 7".into(),
        serial: format!("W-{recording}"),
        firmware: "1.0".into(),
        bench: "north, \"old\"".into(),
        rig: "rig".into(),
        fixture: "plate".into(),
        operator: "Åse".into(),
        batch: String::new(),
        procedure: "quick".into(),
        calibration: "Heron 20, V-1".into(),
        created: String::new(),
        at,
        completion: "complete".into(),
        overdue: recording == 3,
        sound: true,
        verdict: None,
        warning: false,
    }
}

fn point(of: usize, value: Option<f64>) -> Point {
    Point {
        of,
        value,
        u: value.map(|v| 0.01 * v),
    }
}

/// Types, units, empty cells and every bit of the numbers come back.
#[test]
fn values_are_read_back_with_types_and_units() {
    // 2026-03-02T10:00:00Z, by `date -u -d 2026-03-02T10:00:00 +%s`.
    let at = 1_772_445_600;
    let third = 0.1 + 0.2;
    let data = ModelData {
        measurements: vec![measurement(1, at), measurement(3, at + 60)],
        series: vec![
            Series {
                id: "latency".into(),
                unit: "s".into(),
                points: vec![point(0, Some(third)), point(1, None)],
            },
            Series {
                id: "bandwidth".into(),
                unit: "Hz".into(),
                points: vec![point(1, Some(61.5))],
            },
        ],
    };
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("values.parquet");
    let origin = TableOrigin {
        records: "sqlite:r.db".into(),
        end: (4, "ab12".into()),
    };
    write_values(&data, &origin, &path).unwrap();

    let reader = SerializedFileReader::new(std::fs::File::open(&path).unwrap()).unwrap();
    let metadata = reader.metadata().file_metadata();
    let pairs = metadata.key_value_metadata().unwrap();
    let said = |key: &str| {
        pairs
            .iter()
            .find(|pair| pair.key == key)
            .unwrap()
            .value
            .clone()
            .unwrap()
    };
    assert_eq!(
        [
            said("units:latency"),
            said("units:bandwidth"),
            said("records"),
            said("last_entry"),
            said("last_link")
        ],
        ["s", "Hz", "sqlite:r.db", "4", "ab12"]
    );
    let kind = |name: &str| {
        let columns = metadata.schema_descr().columns();
        let column = columns.iter().find(|column| column.name() == name).unwrap();
        (column.physical_type(), column.converted_type())
    };
    assert_eq!(kind("measurand"), (Physical::BYTE_ARRAY, ConvertedType::UTF8));
    assert_eq!(kind("value"), (Physical::DOUBLE, ConvertedType::NONE));
    assert_eq!(
        kind("measured"),
        (Physical::INT64, ConvertedType::TIMESTAMP_MILLIS)
    );

    let rows: Vec<_> = reader.get_row_iter(None).unwrap().map(Result::unwrap).collect();
    assert_eq!(rows.len(), 3);
    assert_eq!(rows[0].get_double(2).unwrap().to_bits(), third.to_bits());
    assert_eq!(rows[0].get_double(3).unwrap().to_bits(), (0.01 * third).to_bits());
    assert_eq!(rows[0].get_timestamp_millis(4).unwrap(), at * 1000);
    let refused: Vec<Field> = rows[1]
        .get_column_iter()
        .map(|(_, field)| field.clone())
        .collect();
    assert_eq!(refused[2..4], [Field::Null, Field::Null]);
    assert_eq!(
        (rows[1].get_long(5).unwrap(), rows[1].get_long(6).unwrap()),
        (3, 1)
    );
    let words = |row: &parquet::record::Row| [0, 1, 7, 9, 13].map(|at| row.get_string(at).unwrap().clone());
    assert_eq!(words(&rows[0]), ["latency", "s", "W-1", "north, \"old\"", "Åse"]);
    assert_eq!(
        words(&rows[2]),
        ["bandwidth", "Hz", "W-3", "north, \"old\"", "Åse"]
    );
}
