//! A sensor that sends lines by itself.

use super::text::{Cut, Cutter};
use super::{Account, Pattern, Reading, Scale};
use crate::time_base::{OneWay, Settings, TimeBase};

/// What is declared of a sensor that sends lines.
#[derive(Debug, Clone, PartialEq)]
pub struct LinesSettings {
    /// Where in a line the torque stands.
    pub pattern: Pattern,
    /// Torque of what is written.
    pub scale: Scale,
    /// Lines a second.
    pub rate_hz: f64,
    /// Group delay: from the torque to the moment at which its line is sent, s.
    pub delay_s: f64,
    /// Most that the least delayed of many lines is on the way, from being sent to being read, s.
    pub way_s: f64,
}

/// Follows such a sensor: counts lines, places each by the count and the lower envelope of arrivals, reads its torque.
///
/// Arrival times alone are jittery by milliseconds (a USB frame, a bridge's timer, a busy computer); the sensor's own rate is not. A line that
/// cannot be read counts, as its place in time is known.
#[derive(Debug, Clone)]
pub struct Lines {
    settings: LinesSettings,
    cutter: Cutter,
    base: TimeBase,
    count: i64,
    account: Account,
}

/// Lines in a group of which the least delayed is kept: those of about 50 ms.
fn group(rate_hz: f64) -> usize {
    (0.05 * rate_hz).clamp(4.0, 64.0) as usize
}

impl Lines {
    /// Nothing heard yet.
    #[must_use]
    pub fn new(settings: LinesSettings) -> Self {
        let clock = Settings {
            group: group(settings.rate_hz),
            resolution_ns: 1,
            // What instruments call their rate is rounded more coarsely than a crystal is wrong.
            rate: 5e-3,
            ..Settings::CRYSTAL
        };
        Self {
            settings,
            cutter: Cutter::new(),
            base: TimeBase::new(clock),
            count: 0,
            account: Account::default(),
        }
    }

    /// Takes bytes that were there at `now_ns` and hands over the readings in them. None before the sensor's clock is known.
    pub fn receive(&mut self, now_ns: i64, bytes: &[u8], mut on_reading: impl FnMut(Reading)) {
        let Self {
            settings,
            cutter,
            base,
            count,
            account,
        } = self;
        let way_ns = (settings.way_s * 1e9) as u32;
        let delay_ns = (settings.delay_s * 1e9) as i64;
        let before = *count;
        cutter.feed(bytes, |cut| {
            *count += 1;
            let sent_ns = (*count as f64 / settings.rate_hz * 1e9) as i64;
            let arrived_ns = now_ns;
            base.one_way(&OneWay { sent_ns, arrived_ns }, way_ns);
            account.jumps = base.jumps();
            let torque_nm = match cut {
                Cut::Spoilt if *count == 1 => return, // the half line that every beginning has
                Cut::Spoilt => {
                    account.misfit("", "too long, or no text");
                    return;
                }
                Cut::Line(line) => match settings.pattern.read(line) {
                    Ok(written) => settings.scale.torque_nm(written),
                    Err(why) => {
                        account.misfit(line, why);
                        return;
                    }
                },
            };
            let Some(torque_nm) = torque_nm else {
                account.misfit("", "no finite number");
                return;
            };
            account.readings = account.readings.saturating_add(1);
            if let Some((host_ns, bound_ns)) = base.host_of(sent_ns) {
                on_reading(Reading {
                    moment_ns: host_ns - delay_ns,
                    bound_ns,
                    torque_nm,
                });
            }
        });
        let lines = u32::try_from(*count - before).unwrap_or(u32::MAX);
        account.heard.arrived(now_ns, lines);
    }

    /// What was heard so far.
    #[must_use]
    pub const fn account(&self) -> &Account {
        &self.account
    }

    /// Lines a second by this computer's clock, once that is known.
    #[must_use]
    pub fn rate_hz(&self) -> Option<f64> {
        self.base
            .drift()
            .map(|(drift, _)| self.settings.rate_hz * (1.0 + drift))
    }
}

#[cfg(test)]
mod tests {
    use super::{Lines, LinesSettings, Scale};
    use alloc::format;
    use alloc::vec::Vec;

    fn lines(rate_hz: f64) -> Lines {
        Lines::new(LinesSettings {
            pattern: "{torque} mN·m".parse().unwrap(),
            scale: Scale {
                nm: 1e-3,
                offset_nm: 0.0,
            },
            rate_hz,
            delay_s: 2e-3,
            way_s: 1e-3,
        })
    }

    #[test]
    fn each_reading_has_the_moment_at_which_its_torque_was() {
        let mut sensor = lines(1_000.0);
        let mut readings = Vec::new();
        // Sent each millisecond of a clock 200 ppm slow, read 0.3 ms later or up to 5 ms late; torque is the line's number.
        for line in 0..2_000_i64 {
            let sent_ns = line * 1_000_200;
            let late_ns = 300_000 + (line * 7 % 11) * 450_000;
            let text = if line == 1_234 {
                "OL mN·m\r\n".into()
            } else {
                format!("{line} mN·m\r\n")
            };
            sensor.receive(sent_ns + late_ns, text.as_bytes(), |reading| {
                readings.push((sent_ns, reading))
            });
        }
        assert!(readings.len() > 1_900, "{}", readings.len());
        for (sent_ns, reading) in &readings {
            // Measured 2 ms before it was sent; the bound is that of the way, a millisecond either way of its middle, and no more than
            // three times that before there is a line to lay.
            let off = (reading.moment_ns - (sent_ns - 2_000_000)) as f64;
            assert!(
                libm::fabs(off) <= reading.bound_ns,
                "{off} of {}",
                reading.bound_ns
            );
            assert!(reading.bound_ns < 1.6e6, "{}", reading.bound_ns);
        }
        let account = sensor.account();
        assert_eq!((account.misfits, account.jumps), (1, 0));
        assert_eq!(account.misfit.as_ref().unwrap().0, "OL mN·m");
        let rate = sensor.rate_hz().unwrap();
        assert!(libm::fabs(rate - 1_000.0 / 1.000_2) < 0.5, "{rate}");
        let (plain, loose) = account.heard.rate_hz().unwrap();
        // Arrivals scatter by 5 ms over 2 s.
        assert!(
            libm::fabs(plain - 1_000.0 / 1.000_2) < 2.5 && loose < 2.0,
            "{plain} {loose}"
        );
    }

    #[test]
    fn a_rate_that_is_not_the_declared_one_is_known_though_no_reading_can_be_placed() {
        // A tenth faster than declared, eight lines at a time.
        let mut sensor = lines(1_000.0);
        assert_eq!(sensor.account().heard.rate_hz(), None);
        for burst in 0..200_i64 {
            let text = "1.0 mN·m\n".repeat(8);
            sensor.receive(burst * 8 * 1_000_000 * 10 / 11, text.as_bytes(), |_| {});
        }
        let (rate, loose) = sensor.account().heard.rate_hz().unwrap();
        // 8 a burst and 1.1 kHz, in closed form.
        assert!(libm::fabs(rate - 1_100.0) < 1e-6, "{rate}");
        assert!(
            libm::fabs(loose - 9.0 / (199.0 * 8.0 / 1_100.0)) < 1e-6,
            "{loose}"
        );
    }
}
