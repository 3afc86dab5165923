//! Many runs on several threads, one a seed.

use std::sync::Mutex;
use std::sync::atomic::{AtomicU64, Ordering};

/// Does `work` for 0 to `count`, on `threads` threads. The results are in order whatever the number of threads.
///
/// # Errors
/// The first that went wrong, in words; what has begun by then is finished.
pub fn each<T: Send>(
    count: u64,
    threads: usize,
    work: impl Fn(u64) -> Result<T, String> + Sync,
) -> Result<Vec<T>, String> {
    let next = AtomicU64::new(0);
    let results = Mutex::new(Vec::new());
    let take = || -> Result<(), String> {
        loop {
            let k = next.fetch_add(1, Ordering::Relaxed);
            if k >= count {
                return Ok(());
            }
            let done = work(k)?;
            if let Ok(mut all) = results.lock() {
                all.push((k, done));
            }
        }
    };
    std::thread::scope(|scope| {
        let workers: Vec<_> = (0..threads.max(1)).map(|_| scope.spawn(take)).collect();
        workers.into_iter().try_for_each(|worker| match worker.join() {
            Ok(done) => done,
            Err(_) => Err("a thread of the survey panicked".to_owned()),
        })
    })?;
    let mut all = results.into_inner().map_err(|error| error.to_string())?;
    all.sort_by_key(|(k, _)| *k);
    Ok(all.into_iter().map(|(_, done)| done).collect())
}
