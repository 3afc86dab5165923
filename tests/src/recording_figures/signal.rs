//! What is recorded: made of closed forms and a small generator, so that it is the same everywhere.

use truerim::recording::{Block, ChannelInfo, CountWidth, Header, HostRow, RoundTrip};

/// Samples a second.
pub const RATE_HZ: usize = 4_000;
/// Rows handed over at a time: 25 ms.
pub const BLOCK_ROWS: usize = 100;
/// Bytes of a row as they are in memory: an int64 tick, five channels of 16 bits and three of 32.
pub const ROW_BYTES: usize = 8 + 5 * 2 + 3 * 4;
/// Widths of the channels.
pub const WIDTHS: [CountWidth; 8] = {
    use CountWidth::{I16, I32};
    [I16, I32, I32, I32, I16, I16, I16, I16]
};

/// Row by row the same on every machine: a commanded sine, a response with noise, slow and still channels.
pub struct Signal {
    state: u64,
    row: u64,
}

impl Signal {
    /// From the first row on.
    #[must_use]
    pub const fn from_the_start() -> Self {
        Self {
            state: 0x9e37_79b9_7f4a_7c15,
            row: 0,
        }
    }

    /// Noise of about a few counts, xorshift64.
    fn noise(&mut self, bits: u32) -> i32 {
        self.state ^= self.state << 13;
        self.state ^= self.state >> 7;
        self.state ^= self.state << 17;
        let masked = (self.state >> 40) & ((1 << bits) - 1);
        masked as i32 - (1 << (bits - 1))
    }

    /// The next [`BLOCK_ROWS`] rows.
    pub fn block(&mut self) -> Block {
        let mut columns: Vec<Vec<i32>> = (0..8).map(|_| Vec::with_capacity(BLOCK_ROWS)).collect();
        let first_tick = self.row * 250;
        for _ in 0..BLOCK_ROWS {
            let t = self.row as f64 / RATE_HZ as f64;
            let wave = (std::f64::consts::TAU * 3.0 * t).sin();
            let row = [
                (9_000.0 * (wave * 20.0).round() / 20.0) as i32,
                (400_000.0 * wave) as i32 + self.noise(9),
                (20_000.0 * wave) as i32 + self.noise(3),
                (55_000.0 * wave) as i32 + self.noise(3),
                (2_000.0 * wave) as i32 + self.noise(6),
                2_300 + (t / 60.0) as i32 + self.noise(2),
                24_000 + self.noise(5),
                0,
            ];
            for (column, count) in columns.iter_mut().zip(row) {
                column.push(count);
            }
            self.row += 1;
        }
        Block {
            first_tick,
            rows: BLOCK_ROWS,
            columns,
        }
    }
}

/// What the recording says of itself.
#[must_use]
pub fn header() -> Header {
    let channel = |(index, width): (usize, &CountWidth)| ChannelInfo {
        name: format!("channel_{index}"),
        long_name: format!("channel {index}"),
        units: "1".into(),
        width: *width,
        scale: 0.001,
        offset: 0.0,
        group_delay_s: 0.0,
        raw_min: width.range().0,
        raw_max: width.range().1,
    };
    Header {
        run_id: "figures".into(),
        created: "2026-03-02T10:00:00+01:00".into(),
        sample_period_ticks: 250,
        tick_s: 1e-6,
        channels: WIDTHS.iter().enumerate().map(channel).collect(),
        ..Header::default()
    }
}

/// Arrivals that a run keeps beside a block, one in 4 ms.
pub fn arrivals(block: &Block) -> impl Iterator<Item = HostRow> {
    let first = block.first_tick;
    (0..BLOCK_ROWS as u64)
        .filter(move |row| (first / 250 + row).is_multiple_of(16))
        .map(move |row| {
            let tick = first + 250 * row;
            HostRow {
                first_tick: tick,
                host_ns: tick as i64 * 1_000 + 40_000 + (tick % 7_919) as i64,
            }
        })
}

/// Round trips beside a block, one in 5 ms.
pub fn round_trips(block: &Block) -> impl Iterator<Item = RoundTrip> {
    let first = block.first_tick;
    (0..BLOCK_ROWS as u64).step_by(20).map(move |row| {
        let tick = first + 250 * row;
        RoundTrip {
            host_send_ns: tick as i64 * 1_000 - 30_000,
            host_receive_ns: tick as i64 * 1_000 + 20_000 + (tick % 6_007) as i64,
            rig_tick: tick,
        }
    })
}
