//! The figures for people, and as JSON.

use serde_json::{Value, json};
use truerim::drive::lateness::EDGES_US;

use super::endurance::Endurance;
use super::host::Host;
use super::minute::Minute;
use super::spread::Spread;
use super::stops::{Scheduled, Stops, Times, Trials};
use super::wakes::Wakes;

/// Everything that was measured, with what it belongs to.
#[derive(Debug, Clone)]
pub struct Figures {
    /// The computer.
    pub host: Host,
    /// Load averages before, between and after, where the system tells.
    pub load: Vec<Option<f64>>,
    /// Busy processes that were kept beside it.
    pub busy: usize,
    /// The real program for as long as was asked, if it was.
    pub endurance: Option<Endurance>,
    /// The minute, if it was asked for.
    pub minute: Option<Minute>,
    /// The stops, if they were asked for.
    pub stops: Option<Stops>,
    /// The wakes, measured with the stops.
    pub wakes: Option<Wakes>,
}

/// One of the three times of a trial.
type Pick = fn(&Times) -> i64;
/// Name, name in JSON, and time.
const TIMES: [(&str, &str, Pick); 3] = [
    ("readable to written", "readable_to_written", |t| t.written_ns),
    ("same, at most", "readable_to_written_at_most", |t| t.at_most_ns),
    ("readable to read back", "readable_to_read_back", |t| t.read_ns),
];

impl Figures {
    /// Lines of a table.
    #[must_use]
    pub fn lines(&self) -> Vec<String> {
        let loads: Vec<_> = self
            .load
            .iter()
            .map(|load| load.map_or("?".to_owned(), |l| format!("{l:.2}")))
            .collect();
        let mut lines = vec![format!(
            "host                    {}, {} processors, load average {}",
            self.host.kernel,
            self.host.processors,
            loads.join(" then ")
        )];
        if self.busy > 0 {
            lines.push(format!("{:<23} {} busy processes", "load", self.busy));
        }
        if let Some(endurance) = &self.endurance {
            lines.extend(endurance_lines(endurance));
        }
        if let Some(minute) = &self.minute {
            lines.extend(minute_lines(minute));
        }
        if let Some(stops) = &self.stops {
            lines.extend(stop_lines(stops));
        }
        if let Some(wakes) = &self.wakes {
            lines.extend(wake_lines(wakes));
        }
        lines
    }

    /// As JSON.
    #[must_use]
    pub fn json(&self) -> Value {
        json!({
            "schema": "truerim pty figures",
            "schema_version": 1,
            "host": self.host.json(),
            "load_averages": self.load,
            "busy_processes": self.busy,
            "endurance": self.endurance.as_ref().map(Endurance::json),
            "minute": self.minute.as_ref().map(Minute::json),
            "wakes": self.wakes.as_ref().map(|wakes| json!({
                "ordinary": wakes.ordinary.json(),
                "real_time": wakes.real_time.0.json(),
                "real_time_scheduling": wakes.real_time.1.to_string(),
            })),
            "stops": self.stops.as_ref().map(|stops| json!({
                "device_scheduling": stops.device.map(|granted| granted.to_string()),
                "ordinary": scheduled_json(&stops.ordinary),
                "real_time": stops.real_time.as_ref().map(scheduled_json),
            })),
        })
    }
}

fn endurance_lines(endurance: &Endurance) -> Vec<String> {
    let [expected, received, bad] = endurance.samples();
    let mut lines = vec![
        String::new(),
        "The real program against `truerim virtual`, at 4,000 samples/s".to_owned(),
    ];
    let mut add = |what: &str, text: String| lines.push(format!("{what:<23} {text}"));
    add(
        "runs",
        format!(
            "{}, {} ended early, {:.1} min recorded",
            endurance.legs.len(),
            endurance.ended_early(),
            endurance.recorded_s() / 60.0
        ),
    );
    for leg in &endurance.legs {
        add("", format!("{:.1} s: {}", leg.recorded_s, leg.end));
    }
    add(
        "samples",
        format!("{expected} expected, {received} received, {bad} bad frames"),
    );
    for (what, lateness) in [("wakes", &endurance.wakes), ("batches", &endurance.arrivals)] {
        let (count, worst_us) = (lateness.count(), lateness.worst_us);
        add(what, format!("{count}, the latest {worst_us} us"));
        let bins: Vec<_> = lateness.bins.iter().map(u64::to_string).collect();
        add("", format!("later by {EDGES_US:?} us: {}", bins.join(" ")));
    }
    if let Some(spread) = &endurance.round_trips {
        add("", heading());
        add("keep-alive round trip", row(spread));
    }
    lines
}

fn minute_lines(minute: &Minute) -> Vec<String> {
    let mut lines = vec![
        String::new(),
        "A run at 4,000 samples/s, recorded, the rig in a process of its own".to_owned(),
    ];
    let mut add = |what: &str, text: String| lines.push(format!("{what:<23} {text}"));
    add("end", minute.end.clone());
    add("plan", format!("{:.1} s", minute.plan_s));
    add(
        "samples",
        format!(
            "{} expected, {} received, {} lost",
            minute.expected, minute.received, minute.lost
        ),
    );
    add(
        "frames",
        format!("{} bad, {} lost", minute.bad_frames, minute.frames_lost),
    );
    add(
        "latest wake",
        format!("{} us after a deadline", minute.latest_wake_us),
    );
    if let Some(spread) = &minute.round_trips {
        add("", heading());
        add("keep-alive round trip", row(spread));
    }
    let granted = minute
        .granted
        .map_or("nothing asked for".to_owned(), |granted| granted.to_string());
    add("bench", granted);
    add("rig's process", minute.rig_granted.clone());
    lines
}

fn stop_lines(stops: &Stops) -> Vec<String> {
    let mut lines = vec![
        String::new(),
        "From a violating sample readable to the stop written, and a bare echo of the same lengths, turn by turn".to_owned(),
    ];
    if let Some(granted) = stops.device {
        lines.push(format!("{:<23} {granted}", "device's thread"));
    }
    lines.extend(scheduled_lines("ordinary scheduling", &stops.ordinary));
    match &stops.real_time {
        Some(scheduled) => {
            let granted = scheduled
                .granted
                .map_or(String::new(), |granted| granted.to_string());
            lines.extend(scheduled_lines(&granted, scheduled));
        }
        None => lines.push("real-time scheduling was not permitted".to_owned()),
    }
    lines
}

fn wake_lines(wakes: &Wakes) -> Vec<String> {
    let (spread, granted) = &wakes.real_time;
    vec![
        String::new(),
        "How late the bench's line wakes when no bytes come, waits of 0.1 to 5 ms".to_owned(),
        format!("{:<31} {}", "", heading()),
        format!("  {:<29} {}", "ordinary scheduling", row(&wakes.ordinary)),
        format!("  {:<29} {}", "real-time scheduling", row(spread)),
        format!("  {granted}"),
    ]
}

fn scheduled_lines(title: &str, scheduled: &Scheduled) -> Vec<String> {
    let mut lines = vec![
        format!("bench's thread: {title}"),
        format!("{:<31} {}", "", heading()),
    ];
    for (kind, trials) in [("stop", &scheduled.stops), ("echo", &scheduled.echoes)] {
        for (name, _, pick) in TIMES {
            if let Some(spread) = spread(trials, pick) {
                lines.push(format!("  {kind:<5} {name:<23} {}", row(&spread)));
            }
        }
        if !trials.causes.is_empty() {
            let causes: Vec<_> = trials
                .causes
                .iter()
                .map(|(cause, count)| format!("{cause} {count}"))
                .collect();
            lines.push(format!("  {kind:<5} for {}", causes.join(", ")));
        }
        if trials.missing > 0 || !trials.void.is_empty() {
            lines.push(format!(
                "  {kind:<5} without an answer {}, void {}",
                trials.missing,
                trials.void.len()
            ));
        }
        lines.extend(
            trials
                .void
                .iter()
                .take(5)
                .map(|why| format!("        void: {why}")),
        );
    }
    lines
}

fn spread(trials: &Trials, pick: Pick) -> Option<Spread> {
    Spread::of(trials.times.iter().map(pick))
}

fn scheduled_json(scheduled: &Scheduled) -> Value {
    let kind = |trials: &Trials| {
        let mut value = json!({ "answered": trials.times.len(), "without_answer": trials.missing,
            "causes": trials.causes, "void": trials.void });
        if let Some(object) = value.as_object_mut() {
            for (_, name, pick) in TIMES {
                object.insert(
                    name.to_owned(),
                    json!(spread(trials, pick).as_ref().map(Spread::json)),
                );
            }
        }
        value
    };
    json!({
        "bench_scheduling": scheduled.granted.map(|granted| granted.to_string()),
        "stop": kind(&scheduled.stops),
        "echo": kind(&scheduled.echoes),
    })
}

fn heading() -> String {
    format!(
        "{:>8} {:>9} {:>9} {:>9} {:>9}  us",
        "count", "p50", "p99", "p99.9", "worst"
    )
}

fn row(spread: &Spread) -> String {
    format!(
        "{:>8} {:>9.1} {:>9.1} {:>9.1} {:>9.1}",
        spread.count, spread.p50_us, spread.p99_us, spread.p999_us, spread.worst_us
    )
}
