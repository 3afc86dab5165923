//! Forcing what was written to the disk, beside the writing.
//!
//! A flush hands the data to the operating system: that outlives the program, not the power. Forcing (fsync) outlives
//! both, but can take as long as the disk likes, so it has a thread of its own and the writer never waits for it.

use std::path::Path;
use std::sync::mpsc::{SyncSender, sync_channel};
use std::sync::{Arc, OnceLock};
use std::thread::JoinHandle;

use super::error::RecordingError;
use super::space;

/// The thread that forces one file to the disk when asked.
pub(super) struct Force {
    ask: Option<SyncSender<()>>,
    failure: Arc<OnceLock<RecordingError>>,
    thread: Option<JoinHandle<()>>,
}

impl Force {
    /// Starts the thread, in the scheduling class of the one that calls; its first work is the file's name.
    pub(super) fn start(path: &Path) -> Result<Self, RecordingError> {
        let file = std::fs::File::open(path).map_err(|e| RecordingError::io(path, "open to force", &e))?;
        let failure = Arc::new(OnceLock::new());
        let (told, owned) = (Arc::clone(&failure), path.to_owned());
        // One request may wait: it covers all that was written before it is taken.
        let (ask, asked) = sync_channel::<()>(1);
        let force = move || {
            // Not every file system lets a directory be forced; the file's contents are what must not fail.
            let _ = std::fs::File::open(space::directory(&owned)).and_then(|d| d.sync_all());
            while asked.recv().is_ok() {
                if let Err(e) = file.sync_data() {
                    let _ = told.set(RecordingError::io(&owned, "force the file to the disk", &e));
                    return;
                }
            }
        };
        let thread = std::thread::Builder::new()
            .name("force".to_owned())
            .spawn(force)
            .map_err(|e| RecordingError::io(path, "start the thread that forces the file to the disk", &e))?;
        Ok(Self {
            ask: Some(ask),
            failure,
            thread: Some(thread),
        })
    }

    /// Asks for all that is written by now. A request more while one waits adds nothing.
    ///
    /// # Errors
    /// The error of an earlier request: what the system could not keep then is lost.
    pub(super) fn ask(&self) -> Result<(), RecordingError> {
        if let Some(error) = self.failure.get() {
            return Err(error.clone());
        }
        if let Some(ask) = &self.ask {
            let _ = ask.try_send(()); // full: one waits already; gone: its failure is told at the next call
        }
        Ok(())
    }
}

impl Drop for Force {
    fn drop(&mut self) {
        self.ask = None;
        if let Some(thread) = self.thread.take() {
            let _ = thread.join();
        }
    }
}
