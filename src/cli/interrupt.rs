//! Ctrl-C and its kin: a build that is asked to stop leaves nothing behind and ends with status 130.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::exit;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Mutex, MutexGuard};

use super::Failure;

/// Status of a process that was interrupted: 128 and the number of SIGINT, as shells have it.
pub(super) const STATUS: u8 = 130;

/// Folders to remove if the process is asked to stop: one with all in it, others if empty.
static TO_CLEAR: Mutex<Option<(PathBuf, Vec<PathBuf>)>> = Mutex::new(None);
/// Held while files take their places, so that a signal finds all of them in place or none, and none
/// beside its place.
static WHOLE: Mutex<()> = Mutex::new(());
static ASKED: AtomicBool = AtomicBool::new(false);

/// From here on signals to stop end the process in order.
pub(super) fn listen() {
    // Where the system does not let us listen, it ends the process by itself.
    let _ = ctrlc::set_handler(|| {
        ASKED.store(true, Ordering::SeqCst);
        let _whole = WHOLE.lock();
        if let Ok(mut clear) = TO_CLEAR.lock()
            && let Some((staging, made)) = clear.take()
        {
            // A file may come to it while it is being removed.
            for _ in 0..10 {
                if fs::remove_dir_all(&staging).is_ok() || !staging.exists() {
                    break;
                }
            }
            made.iter().rev().for_each(|folder| drop(fs::remove_dir(folder)));
        }
        exit(STATUS.into());
    });
}

/// What has to go if the process is asked to stop from now on.
pub(super) fn clear_if_stopped(staging: &Path, made: &[PathBuf]) {
    if let Ok(mut clear) = TO_CLEAR.lock() {
        *clear = Some((staging.to_path_buf(), made.to_vec()));
    }
}

/// Nothing is left that would have to go.
pub(super) fn nothing_to_clear() {
    if let Ok(mut clear) = TO_CLEAR.lock() {
        *clear = None;
    }
}

/// Makes a signal wait until the guard is dropped.
pub(super) fn hold() -> Option<MutexGuard<'static, ()>> {
    WHOLE.lock().ok()
}

/// Was the process asked to stop?
pub(super) fn is_asked() -> bool {
    ASKED.load(Ordering::SeqCst)
}

/// An error if the process was asked to stop, so that nothing more is written.
pub(super) fn stop_if_asked() -> Result<(), Failure> {
    if is_asked() {
        return Err(Failure("stopped; nothing was changed".into()));
    }
    Ok(())
}
