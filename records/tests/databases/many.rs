//! Several benches adding at once, one of them killed in the middle again and again: nothing is lost and nothing is there twice.

use std::process::{Child, Command, Stdio};

use records::content::{Kind, Recording};
use records::{Address, Filter, Store};

use super::support::{Place, fit_of, recording, stamp};

crate::on_both! { benches_that_add_at_once_and_die_lose_nothing }

const ADDRESS: &str = "RECORDS_TEST_ADDRESS";
const BENCH: &str = "RECORDS_TEST_BENCH";
/// Benches, each a process.
const BENCHES: u32 = 4;
/// Measurements of each.
const EACH: u32 = 12;

/// What a bench does: adds its measurements in order, and says each when it is safe. Run by the test as a process of its own.
#[test]
#[ignore = "part of another test, which runs it as a process"]
fn a_bench() {
    let (Ok(address), Ok(bench)) = (std::env::var(ADDRESS), std::env::var(BENCH)) else {
        return;
    };
    let address: Address = address.parse().unwrap();
    let mut store = Store::open(&address, true, &stamp()).unwrap();
    for n in 0..EACH {
        let mut of = recording(&format!("VB-{bench}-{}", n % 3), n);
        of.bench = format!("bench {bench}");
        store.add(&of, &fit_of(&of, "0.1.0", 0.004), &stamp()).unwrap();
        eprintln!("added {n}");
    }
}

fn bench(place: &Place, number: u32) -> Child {
    let url = match &place.address {
        Address::File(path) => path.display().to_string(),
        Address::Server(url) => url.clone(),
    };
    let mut command = Command::new(std::env::current_exe().unwrap());
    command.args(["many::a_bench", "--exact", "--ignored", "--nocapture"]);
    command.env(ADDRESS, url).env(BENCH, number.to_string());
    command
        .stdout(Stdio::null())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap()
}

/// Kills a bench once it has said this often that something is safe; wherever in the next one that finds it.
fn killed_after(mut child: Child, said: u32) {
    use std::io::BufRead as _;
    let lines = std::io::BufReader::new(child.stderr.take().unwrap()).lines();
    let added = lines.map_while(Result::ok).filter(|line| line.contains("added"));
    added.take(said as usize).for_each(drop);
    child.kill().unwrap();
    child.wait().unwrap();
}

fn benches_that_add_at_once_and_die_lose_nothing(place: &Place) {
    let others: Vec<Child> = (1..BENCHES).map(|number| bench(place, number)).collect();
    for said in [1, 3, 6] {
        killed_after(bench(place, 0), said);
    }
    // What it says is safe is there, though it died; then it begins again from the start.
    let mut store = place.open();
    let of_bench = Filter {
        bench: Some("bench 0".into()),
        ..Filter::default()
    };
    assert!(store.measurements(&of_bench).unwrap().len() >= 6);
    let last = bench(place, 0);
    for child in others.into_iter().chain([last]) {
        let ended = child.wait_with_output().unwrap();
        assert!(
            ended.status.success(),
            "{}",
            String::from_utf8_lossy(&ended.stderr)
        );
    }
    let all = store.measurements(&Filter::default()).unwrap();
    assert_eq!(all.len() as u32, BENCHES * EACH);
    let (end, _) = store.end().unwrap();
    assert_eq!(end as u32, 2 * BENCHES * EACH);
    let mut seals: Vec<String> = (1..=end)
        .filter_map(|seq| store.entry(seq).unwrap())
        .filter(|entry| entry.kind().unwrap() == Kind::Recording)
        .map(|entry| entry.content::<Recording>().unwrap().seal)
        .collect();
    seals.sort();
    seals.dedup();
    assert_eq!(seals.len() as u32, BENCHES * EACH);
    assert_eq!(store.verify(&[]).unwrap().findings, []);
}
