//! What limits make of a measurement, as a part of its page.
//!
//! The page follows from the fit alone, and is checked by that; what somebody's limits make of it stands apart from it, between
//! two marks, and can be taken out again.

use std::fmt::Write as _;

use super::escape;

const BEGIN: &str = "<!-- judged -->\n";
const END: &str = "<!-- /judged -->\n";

/// A judgement in words.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Verdict {
    /// pass, fail or undecided.
    pub word: String,
    /// Name of the limits.
    pub limits: String,
    /// Why nothing can be said of the whole; empty otherwise.
    pub reason: String,
    /// Each measurand that has limits: its name, what is said of it, and the numbers behind that.
    pub lines: Vec<[String; 3]>,
}

/// A page with a verdict in its head, instead of one that was there.
#[must_use]
pub fn with_verdict(page: &str, verdict: &Verdict) -> String {
    let mut page = without_verdict(page);
    if let Some(at) = page.find("</header>") {
        page.insert_str(at, &block(verdict));
    }
    page
}

/// A page as it follows from its fit.
#[must_use]
pub fn without_verdict(page: &str) -> String {
    match page.split_once(BEGIN) {
        Some((before, rest)) => match rest.split_once(END) {
            Some((_, after)) => format!("{before}{after}"),
            None => page.to_owned(),
        },
        None => page.to_owned(),
    }
}

fn block(verdict: &Verdict) -> String {
    let class = |word: &str| match word {
        "pass" => "good",
        "fail" => "bad",
        _ => "",
    };
    let mut text = format!(
        "{BEGIN}<div class=\"alert\" role=\"note\"><p><strong class=\"{}\">{}</strong> by {}{}</p>\n<table>\n<tbody>\n",
        class(&verdict.word),
        escape(&verdict.word.to_uppercase()),
        escape(&verdict.limits),
        match verdict.reason.is_empty() {
            true => String::new(),
            false => format!(": {}", escape(&verdict.reason)),
        }
    );
    for [name, word, numbers] in &verdict.lines {
        // Writing to a String cannot fail.
        let _ = writeln!(
            text,
            "<tr><th scope=\"row\">{}</th><td class=\"{}\">{}</td><td>{}</td></tr>",
            escape(name),
            class(word),
            escape(word),
            escape(numbers)
        );
    }
    text + "</tbody>\n</table></div>\n" + END
}

#[cfg(test)]
mod tests {
    use super::{Verdict, with_verdict, without_verdict};

    #[test]
    fn a_verdict_goes_in_and_out_and_replaces_the_one_before() {
        let page = "<body><header>\n<h1>W-1</h1></header>\n<main></main></body>";
        let verdict = |word: &str| Verdict {
            word: word.into(),
            limits: "end of <line>".into(),
            reason: String::new(),
            lines: vec![["latency".into(), word.into(), "5.1 ms".into()]],
        };
        let judged = with_verdict(page, &verdict("pass"));
        assert!(judged.contains("<strong class=\"good\">PASS</strong> by end of &lt;line&gt;"));
        let again = with_verdict(&judged, &verdict("fail"));
        assert!(again.contains("FAIL") && !again.contains("PASS"), "{again}");
        assert_eq!(without_verdict(&again), page);
        assert_eq!(without_verdict(page), page);
    }
}
