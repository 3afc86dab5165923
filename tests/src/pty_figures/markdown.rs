//! The figures as a part of a page in Markdown, between two markers; what stands outside them stays.

use std::path::Path;

use truerim::drive::Lateness;
use truerim::drive::lateness::EDGES_US;

use super::Unmeasured;
use super::endurance::Endurance;
use super::spread::Spread;
use super::stops::{Scheduled, Trials};
use super::table::Figures;

/// Before the part.
const BEGIN: &str = "<!-- figures: written by pty-figures --markdown -->";
/// Behind it.
const END: &str = "<!-- /figures -->";

/// Writes the figures between the markers of a page.
///
/// # Errors
/// [`Unmeasured`] when the page cannot be read or written or has no markers.
pub fn write(path: &Path, figures: &Figures) -> Result<(), Unmeasured> {
    let wrong = |error: &dyn std::fmt::Display| Unmeasured::from_error(&path.display().to_string(), error);
    let page = std::fs::read_to_string(path).map_err(|error| wrong(&error))?;
    let new =
        between(&page, &part(figures)).ok_or_else(|| wrong(&format!("needs the lines {BEGIN} and {END}")))?;
    std::fs::write(path, new).map_err(|error| wrong(&error))
}

fn between(page: &str, part: &str) -> Option<String> {
    let (before, rest) = page.split_once(BEGIN)?;
    let (_, after) = rest.split_once(END)?;
    Some(format!("{before}{BEGIN}\n\n{part}\n{END}{after}"))
}

fn part(figures: &Figures) -> String {
    let loads: Vec<_> = figures
        .load
        .iter()
        .map(|load| load.map_or("?".to_owned(), |load| format!("{load:.1}")))
        .collect();
    let mut text = format!(
        "{}, {} processors, {} busy processes of ordinary priority beside it; load average over a minute before, \
         between and after: {}.\n",
        figures.host.kernel,
        figures.host.processors,
        figures.busy,
        loads.join(", ")
    );
    if let Some(endurance) = &figures.endurance {
        text += &runs(endurance);
    }
    if let Some(stops) = &figures.stops {
        text += "\n**From a violating sample readable to the stop written**, and a bare read-then-write echo on the same \
                 pty, turn by turn, µs:\n\n| | trials | p50 | p99 | p99.9 | worst |\n| --- | --- | --- | --- | --- | --- |\n";
        text += &trials("ordinary scheduling", &stops.ordinary);
        if let Some(real_time) = &stops.real_time {
            text += &trials("real-time scheduling", real_time);
        }
    }
    text
}

fn runs(endurance: &Endurance) -> String {
    let [expected, received, bad] = endurance.samples();
    let granted = endurance
        .granted
        .map_or("nothing known".to_owned(), |[class, memory]| {
            let word = |granted| if granted { "granted" } else { "not permitted" };
            format!(
                "real-time scheduling {}, locked memory {}",
                word(class),
                word(memory)
            )
        });
    let mut text = format!(
        "\n**Runs at 4,000 samples/s**: {:.1} min recorded in {} runs, of which {} ended early; {expected} samples \
         expected, {received} received, {bad} damaged frames. Bench: {granted}. Rig's process: {}\n\n\
         | run | recorded | end |\n| --- | --- | --- |\n",
        endurance.recorded_s() / 60.0,
        endurance.legs.len(),
        endurance.ended_early(),
        endurance.rig_granted,
    );
    for (number, leg) in (1..).zip(&endurance.legs) {
        text += &format!(
            "| {number} | {:.1} s | {} |\n",
            leg.recorded_s,
            leg.end.replace('|', "/")
        );
    }
    text += &format!(
        "\n**Wakes** ({} waits whose time had come, worst {} µs late) and **batches** ({} of them, every fourth; worst {} \
         µs later than the promptest of its run):\n\n| later by | wakes | batches |\n| --- | --- | --- |\n",
        endurance.wakes.count(),
        endurance.wakes.worst_us,
        endurance.arrivals.count(),
        endurance.arrivals.worst_us,
    );
    text += &histogram(&endurance.wakes, &endurance.arrivals);
    if let Some(trips) = &endurance.round_trips {
        text += &format!(
            "\nKeep-alive to echo, µs: p50 {:.0}, p99 {:.0}, p99.9 {:.0}, worst {:.0} of {}.\n",
            trips.p50_us, trips.p99_us, trips.p999_us, trips.worst_us, trips.count
        );
    }
    text
}

fn histogram(wakes: &Lateness, arrivals: &Lateness) -> String {
    let mut text = String::new();
    let mut low = "0".to_owned();
    for (bin, (woke, arrived)) in wakes.bins.iter().zip(arrivals.bins).enumerate() {
        let range = match EDGES_US.get(bin) {
            Some(&edge) => {
                let high = microseconds(edge);
                let range = format!("{low} to {high}");
                low = high;
                range
            }
            None => format!("{low} and more"),
        };
        text += &format!("| {range} | {woke} | {arrived} |\n");
    }
    text
}

fn microseconds(us: u64) -> String {
    if us < 1_000 {
        format!("{us} µs")
    } else {
        format!("{} ms", us / 1_000)
    }
}

fn trials(title: &str, scheduled: &Scheduled) -> String {
    let row = |kind: &str, trials: &Trials| {
        let missing = trials.missing + trials.void.len();
        match Spread::of(trials.times.iter().map(|times| times.written_ns)) {
            Some(s) => format!(
                "| {kind}, {title} | {}{} | {:.0} | {:.0} | {:.0} | {:.0} |\n",
                s.count,
                if missing > 0 {
                    format!(" (and {missing} void)")
                } else {
                    String::new()
                },
                s.p50_us,
                s.p99_us,
                s.p999_us,
                s.worst_us
            ),
            None => format!("| {kind}, {title} | 0 ({missing} void) | | | | |\n"),
        }
    };
    row("stop", &scheduled.stops) + &row("echo", &scheduled.echoes)
}

#[cfg(test)]
mod tests {
    use truerim::drive::Lateness;

    use super::{BEGIN, END, between, histogram};

    #[test]
    fn only_what_stands_between_the_markers_is_written() {
        let page = format!("# A\n{BEGIN}\nold\n{END}\nB\n");
        assert_eq!(
            between(&page, "new\n").unwrap(),
            format!("# A\n{BEGIN}\n\nnew\n\n{END}\nB\n")
        );
        assert_eq!(between("no markers", "new"), None);
    }

    #[test]
    fn each_bin_has_its_row_with_its_edges() {
        let mut wakes = Lateness::default();
        wakes.add(12_000);
        let text = histogram(&wakes, &Lateness::default());
        assert!(text.starts_with("| 0 to 50 µs | 0 | 0 |\n"), "{text}");
        assert!(text.contains("| 10 ms to 15 ms | 1 | 0 |"), "{text}");
        assert!(text.ends_with("| 30 ms and more | 0 | 0 |\n"), "{text}");
    }
}
