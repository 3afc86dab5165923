//! What a header must fulfil before a file is made from it.

use super::header::{ChannelInfo, Header};

/// Names that mean something else in the root group.
const RESERVED: [&str; 9] = [
    "time",
    "files",
    "extra",
    "segments",
    "events",
    "host",
    "round_trips",
    "progress",
    "seal",
];

/// The first thing about `header` that does not do, in words.
pub(super) fn header(header: &Header) -> Result<(), String> {
    if header.run_id.is_empty() || header.created.is_empty() {
        return Err("the header's run_id and created must not be empty".to_owned());
    }
    if header.sample_period_ticks == 0 {
        return Err("sample_period_ticks = 0: samples need a distance of 1 tick or more".to_owned());
    }
    if !(header.tick_s.is_finite() && header.tick_s > 0.0) {
        return Err(format!(
            "tick_s = {}: a tick's length must be finite and above 0 s",
            header.tick_s
        ));
    }
    if header.channels.is_empty() {
        return Err("the header has no channel; a recording needs one or more".to_owned());
    }
    for (position, one) in header.channels.iter().enumerate() {
        channel(one).map_err(|what| format!("channel {:?}: {what}", one.name))?;
        if header.channel_index(&one.name) != Some(position) {
            return Err(format!(
                "channel {:?} is there twice; give each its own name",
                one.name
            ));
        }
    }
    Ok(())
}

fn channel(c: &ChannelInfo) -> Result<(), String> {
    let letters = c
        .name
        .bytes()
        .all(|b| b.is_ascii_lowercase() || b.is_ascii_digit() || b == b'_');
    if !letters || !c.name.starts_with(|f: char| f.is_ascii_lowercase()) {
        return Err("a channel's name is made of a-z, 0-9 and _ and starts with a letter".to_owned());
    }
    if RESERVED.contains(&c.name.as_str()) {
        return Err("this name is taken in the file; choose another".to_owned());
    }
    if !(c.scale.is_finite() && c.scale != 0.0 && c.offset.is_finite()) {
        return Err(format!(
            "scale = {}, offset = {}: both must be finite, the scale not 0",
            c.scale, c.offset
        ));
    }
    if !(c.group_delay_s.is_finite() && c.group_delay_s >= 0.0) {
        return Err(format!(
            "group_delay_s = {}: must be finite and 0 or more",
            c.group_delay_s
        ));
    }
    let (low, high) = c.width.range();
    if c.raw_min > c.raw_max || c.raw_min < low || c.raw_max > high {
        return Err(format!(
            "raw_min = {}, raw_max = {}: must be in order and within {low} to {high}",
            c.raw_min, c.raw_max
        ));
    }
    Ok(())
}
