//! Instants as entries write them.

/// Seconds since 1970-01-01T00:00:00Z of an RFC 3339 date and time, fractions of a second left out; `None` if it is none.
///
/// The day number of a date is that of the proleptic Gregorian calendar, with the year taken to begin in March so that the
/// leap day comes last.
///
/// ```
/// use records::seconds_of;
/// assert_eq!(seconds_of("1970-01-01T00:00:00Z"), Some(0));
/// assert_eq!(seconds_of("2026-03-02T10:00:00+01:00"), seconds_of("2026-03-02T09:00:00Z"));
/// assert_eq!(seconds_of("yesterday"), None);
/// ```
#[must_use]
pub fn seconds_of(text: &str) -> Option<i64> {
    let number = |from: usize, to: usize| -> Option<i64> {
        let digits = text.get(from..to)?;
        let all_digits = digits.bytes().all(|byte| byte.is_ascii_digit());
        all_digits.then(|| digits.parse().ok()).flatten()
    };
    let mark = |at: usize, among: &str| text.get(at..=at).is_some_and(|mark| among.contains(mark));
    if !(mark(4, "-") && mark(7, "-") && mark(10, "Tt ") && mark(13, ":") && mark(16, ":")) {
        return None;
    }
    let (year, month, day) = (number(0, 4)?, number(5, 7)?, number(8, 10)?);
    let (hour, minute, second) = (number(11, 13)?, number(14, 16)?, number(17, 19)?);
    let in_range =
        (1..=12).contains(&month) && (1..=31).contains(&day) && hour < 24 && minute < 60 && second <= 60;
    if !in_range {
        return None;
    }
    let rest = text.get(19..)?;
    let zone = match rest.strip_prefix('.') {
        Some(fraction) => fraction.trim_start_matches(|c: char| c.is_ascii_digit()),
        None => rest,
    };
    let offset = match zone {
        "Z" | "z" => 0,
        _ => {
            let start = text.len() - zone.len();
            let sign = match zone.get(0..1)? {
                "+" => 1,
                "-" => -1,
                _ => return None,
            };
            if zone.len() != 6 || !mark(start + 3, ":") {
                return None;
            }
            sign * (number(start + 1, start + 3)? * 3600 + number(start + 4, start + 6)? * 60)
        }
    };
    let (year, month) = if month > 2 {
        (year, month - 3)
    } else {
        (year - 1, month + 9)
    };
    let days = 365 * year + year / 4 - year / 100 + year / 400 + (153 * month + 2) / 5 + day - 1 - 719_468;
    Some(((days * 24 + hour) * 60 + minute) * 60 + second - offset)
}

/// The same turned round: an instant in UTC as RFC 3339 writes it, whole seconds since 1970-01-01T00:00:00Z.
///
/// ```
/// assert_eq!(records::text_of(0), "1970-01-01T00:00:00Z");
/// ```
#[must_use]
pub fn text_of(seconds: i64) -> String {
    // Days since the first of March of the year 0, in eras of 400 years.
    let (day, of_day) = (seconds.div_euclid(86_400) + 719_468, seconds.rem_euclid(86_400));
    let (era, of_era) = (day.div_euclid(146_097), day.rem_euclid(146_097));
    let year = (of_era - of_era / 1460 + of_era / 36_524 - of_era / 146_096) / 365;
    let of_year = of_era - (365 * year + year / 4 - year / 100);
    let month = (5 * of_year + 2) / 153;
    let day = of_year - (153 * month + 2) / 5 + 1;
    let (month, next) = if month < 10 {
        (month + 3, 0)
    } else {
        (month - 9, 1)
    };
    format!(
        "{:04}-{month:02}-{day:02}T{:02}:{:02}:{:02}Z",
        400 * era + year + next,
        of_day / 3600,
        of_day / 60 % 60,
        of_day % 60
    )
}

#[cfg(test)]
mod tests {
    use super::{seconds_of, text_of};

    /// Over four centuries, in steps that meet every hour and every day of a month.
    #[test]
    fn instants_are_read_as_they_are_written() {
        for step in 0..20_000_i64 {
            let seconds = -2_000_000_000 + step * 651_557;
            assert_eq!(
                seconds_of(&text_of(seconds)),
                Some(seconds),
                "{}",
                text_of(seconds)
            );
        }
        assert_eq!(text_of(951_827_696), "2000-02-29T12:34:56Z");
        assert_eq!(text_of(-1), "1969-12-31T23:59:59Z");
    }

    /// Seconds from `date -u -d … +%s` of GNU coreutils 9.1.
    #[test]
    fn instants_are_those_of_date() {
        for (text, seconds) in [
            ("2000-02-29T12:34:56Z", 951_827_696),
            ("2026-11-27T06:40:28+00:00", 1_795_761_628),
            ("2026-12-31T23:59:59.250-03:30", 1_798_774_199),
            ("1969-12-31T23:59:59Z", -1),
            ("2100-03-01T00:00:00Z", 4_107_542_400),
        ] {
            assert_eq!(seconds_of(text), Some(seconds), "{text}");
        }
    }

    #[test]
    fn what_is_no_instant_is_none() {
        for text in [
            "",
            "2026-11-27",
            "2026-11-27T06:40:28",
            "2026-13-27T06:40:28Z",
            "2026-11-27T06:40:28+01",
            "2026-11-27T06:40:28µ01:00",
            "+026-11-27T06:40:28Z",
        ] {
            assert_eq!(seconds_of(text), None, "{text}");
        }
    }
}
