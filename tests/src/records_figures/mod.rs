//! What records cost once there are many: adding, a unit's history, a model's values, verifying, and benches that add at once and
//! are killed.

#![allow(
    clippy::unwrap_used,
    clippy::panic,
    clippy::print_stdout,
    clippy::print_stderr
)] // a program for the developer's desk
#![allow(clippy::disallowed_methods)] // it measures

#[path = "../../../records/tests/databases/support/cluster.rs"]
mod cluster;
mod data;

use std::fmt::Write as _;
use std::io::BufRead as _;
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::Instant;

use records::{Address, Filter, Store, UnitName};
use truerim::archive::{NEWEST, Wanted, sheet};
use truerim::report::records_page::records_page;

/// Units added in one change while filling.
const AT_ONCE: usize = 500;
/// How often what is quick is measured.
const TIMES: usize = 200;
/// Processes that add at once.
const BENCHES: u64 = 8;
/// Measurements of each of them.
const EACH: u64 = 100;
/// Serial numbers of what is added later begin here.
const LATER: u64 = 10_000_000;

/// How much there is.
#[derive(Debug, Clone, Copy)]
pub struct Size {
    /// Units, measured once each.
    pub units: u64,
    /// Measurands of each.
    pub measurands: u64,
}

/// Times of one kind of work, ms.
struct Times(Vec<f64>);

impl Times {
    fn of(times: usize, mut work: impl FnMut(usize)) -> Self {
        let one = |n| {
            let began = Instant::now();
            work(n);
            began.elapsed().as_secs_f64() * 1e3
        };
        let mut all: Vec<f64> = (0..times).map(one).collect();
        all.sort_by(f64::total_cmp);
        Self(all)
    }

    fn at(&self, share: f64) -> f64 {
        self.0[((self.0.len() - 1) as f64 * share).round() as usize]
    }

    fn row(&self, what: &str, wanted: &str) -> String {
        let [median, high, most] = [0.5, 0.95, 1.0].map(|share| self.at(share));
        let places = if median < 100.0 { 1 } else { 0 };
        format!("| {what} | {wanted} | {median:.places$} | {high:.places$} | {most:.places$} |\n")
    }
}

fn seconds(work: impl FnOnce()) -> f64 {
    let began = Instant::now();
    work();
    began.elapsed().as_secs_f64()
}

/// Fills a database, measures, and tells as a chapter in Markdown. `verifying`: whether all of it is verified in the end.
fn chapter(name: &str, url: &str, size: Size, verifying: bool) -> String {
    let address: Address = url.parse().unwrap();
    let mut store = Store::open(&address, true, &data::stamp(0)).unwrap();
    let filled = seconds(|| {
        let all = (0..size.units).map(|n| data::measurement(n, 0, size.measurands));
        store.add_all(all, AT_ONCE).unwrap();
    });
    eprintln!("{name}: filled in {filled:.0} s");
    if let Address::Server(url) = &address {
        // What the server does by itself within minutes, and would else do while it is measured.
        let mut client = postgres::Client::connect(url, postgres::NoTls).unwrap();
        client.batch_execute("VACUUM ANALYZE").unwrap();
    }
    let rate = size.units as f64 / filled;
    let mut text = format!(
        "\n## {name}\n\nFilled in {filled:.0} s, {rate:.0} units a second, {AT_ONCE} in one change.\n\n"
    );
    text += "| what | wanted, ms | median | 95 % | most |\n| --- | --- | --- | --- | --- |\n";

    let mut next = LATER;
    let mut one_more = |store: &mut Store| {
        let (recording, fit, stamp) = data::measurement(next, 0, size.measurands);
        next += 1;
        assert!(store.add(&recording, &fit, &stamp).unwrap().fit.new);
    };
    text += &Times::of(TIMES, |_| one_more(&mut store)).row("adding one", "20");
    let fresh = Times::of(TIMES / 4, |_| {
        one_more(&mut Store::open(&address, true, &data::stamp(0)).unwrap())
    });
    text += &fresh.row("… with connecting, as a program just started does", "–");
    let history = Times::of(TIMES, |n| {
        let n = n as u64 * 7_919 % size.units;
        let unit = UnitName {
            model: data::model(n).into(),
            serial: data::serial(n),
        };
        assert_eq!(store.history(&unit).unwrap().len(), 2);
    });
    text += &history.row("a unit's history", "20");
    let everything = Filter::default();
    let of_model = Times::of(5, |_| {
        let data = store.model_data(data::MODELS[1], &everything, None).unwrap();
        assert_eq!(data.series.len() as u64, size.measurands);
        assert!(data.series[0].points.len() as u64 >= size.units / 4);
    });
    let quarter = size.units / 4;
    let what = format!("a model's data: {quarter} units, {} measurands", size.measurands);
    text += &of_model.row(&what, "–");
    let one = ["measurand_07".to_owned()];
    let one_measurand = Times::of(5, |_| {
        let data = store
            .model_data(data::MODELS[1], &everything, Some(&one))
            .unwrap();
        assert_eq!(data.series.len(), 1);
    });
    text += &one_measurand.row("… one measurand", "–");
    text += &page_of_model(&mut store, size);
    eprintln!("{name}: looked");
    text += &at_once(&mut store, url, size);
    eprintln!("{name}: added at once");
    if verifying {
        let mut verified = None;
        let took = seconds(|| verified = Some(store.verify(&[]).unwrap()));
        let verified = verified.unwrap();
        assert_eq!(verified.findings, []);
        let _ = write!(
            text,
            "\nVerifying {} entries and {} rows of the other tables took {took:.0} s and found nothing.\n",
            verified.entries, verified.rows
        );
    }
    if let Address::File(path) = &address {
        let bytes = std::fs::metadata(path).unwrap().len();
        let _ = writeln!(text, "The file has {:.0} MB.", bytes as f64 * 1e-6);
    }
    text
}

/// A model's page from the records to the last byte, as the program writes it.
fn page_of_model(store: &mut Store, size: Size) -> String {
    let model = data::MODELS[1];
    let newest = Filter {
        newest: Some(NEWEST),
        ..Filter::default()
    };
    let mut rows = 0;
    let read = Times::of(5, |_| {
        let data = store.model_data(model, &newest, None).unwrap();
        rows = data.series.iter().map(|series| series.points.len()).sum();
    });
    let page = Times::of(5, |_| {
        let data = store.model_data(model, &newest, None).unwrap();
        let sheet = sheet(&data, model, "figures", &Wanted::default()).unwrap();
        assert!(records_page(&sheet).unwrap().len() > 100_000);
    });
    let what = format!(
        "what a model's page reads: of {} measurements who, when and where, of the newest {NEWEST} the values: {rows}",
        size.units / 4
    );
    read.row(&what, "1000")
        + &page.row(
            "a model's page, read, computed and drawn, twelve measurands",
            "1000",
        )
}

/// A process that adds measurements of bench `number`, from the first on.
fn bench(url: &str, number: u64, measurands: u64) -> Child {
    let mut command = Command::new(std::env::current_exe().unwrap());
    command.args(["--job", url, &number.to_string(), &measurands.to_string()]);
    command.stdout(Stdio::piped()).spawn().unwrap()
}

/// What such a process does: says each measurement that is safe, and how long it took.
pub fn job(url: &str, number: u64, measurands: u64) {
    let address: Address = url.parse().unwrap();
    let mut store = Store::open(&address, true, &data::stamp(0)).unwrap();
    for n in 0..EACH {
        let (recording, fit, stamp) = data::measurement(2 * LATER + number * 1_000 + n, 0, measurands);
        let took = seconds(|| drop(store.add(&recording, &fit, &stamp).unwrap()));
        println!("{}", took * 1e3);
    }
}

/// Benches that add at once; half of them are killed, at moments that have nothing to do with what they are doing, and begin again.
fn at_once(store: &mut Store, url: &str, size: Size) -> String {
    let (before, _) = store.end().unwrap();
    let began = Instant::now();
    let mut killed = 0;
    let mut times = Vec::new();
    std::thread::scope(|scope| {
        let all: Vec<_> = (0..BENCHES)
            .map(|number| {
                scope.spawn(move || {
                    let mut killed = 0;
                    if number % 2 == 0 {
                        for said in [7, 23, 55] {
                            let mut child = bench(url, number, size.measurands);
                            let lines = std::io::BufReader::new(child.stdout.take().unwrap()).lines();
                            lines.take(said).for_each(drop);
                            child.kill().unwrap();
                            child.wait().unwrap();
                            killed += 1;
                        }
                    }
                    let ended = bench(url, number, size.measurands).wait_with_output().unwrap();
                    assert!(ended.status.success());
                    let said = String::from_utf8(ended.stdout).unwrap();
                    let times: Vec<f64> = said.lines().filter_map(|line| line.parse().ok()).collect();
                    (killed, times)
                })
            })
            .collect();
        for one in all {
            let (more, some) = one.join().unwrap();
            killed += more;
            times.extend(some);
        }
    });
    let took = began.elapsed().as_secs_f64();
    let (end, _) = store.end().unwrap();
    assert_eq!(end - before, 2 * (BENCHES * EACH) as i64, "lost or doubled");
    times.sort_by(f64::total_cmp);
    let row = Times(times).row("adding one, while seven others do", "20");
    format!(
        "{row}\n{BENCHES} processes added {EACH} measurements each at once, in {took:.0} s; {killed} times one was killed in the \
         middle and began again. {} entries came of it, two a measurement: none lost, none doubled.\n",
        end - before
    )
}

/// Measures on both databases, or the one named, and tells as a page. `about`: when and on what.
#[must_use]
pub fn measure(size: Size, folder: &Path, only: Option<&str>, about: &str, verifying: bool) -> String {
    let mut text = format!(
        "# What records cost\n\n{about}\n\n{} units of {} models, measured once each, {} measurands: {} values. Everything is forced to \
         the disk as in use. Times in ms.\n",
        size.units,
        data::MODELS.len(),
        size.measurands,
        size.units * size.measurands
    );
    if only.is_none_or(|only| only == "sqlite") {
        let file = folder.join("records.db");
        text += &chapter("SQLite", file.to_str().unwrap(), size, verifying);
    }
    if only.is_none_or(|only| only == "postgres") {
        // The server's own defaults for what is forced; more memory and longer between checkpoints than by default, as one that
        // serves a team has.
        let server = cluster::Cluster::start(
            "-c fsync=on -c full_page_writes=on -c shared_buffers=512MB -c max_wal_size=4GB",
        );
        text += &chapter("PostgreSQL", &server.make("records"), size, verifying);
    }
    text
}
