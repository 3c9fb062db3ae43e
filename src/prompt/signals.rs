//! Signals while a person is asked: Ctrl-C pauses, a hang-up or an order to end leaves with the terminal restored.
//!
//! One watcher serves the whole process. It acts only while someone is being asked; at other times a signal does what it
//! always does. A second signal that comes before the first was heeded (the program is busy elsewhere) ends the program,
//! after the terminal has been put back.

use std::io;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Mutex, MutexGuard, OnceLock, PoisonError};

use rustix::termios::{OptionalActions, Termios, tcsetattr};
use signal_hook::consts::{SIGCONT, SIGHUP, SIGINT, SIGTERM};
use signal_hook::iterator::Signals;
use signal_hook::low_level::emulate_default_handler;

/// The terminal's modes before and while we read keys.
#[derive(Clone)]
pub(super) struct Modes {
    pub before: Termios,
    pub while_asking: Termios,
}

/// Someone is asked; on a terminal, with its modes.
#[derive(Clone)]
struct Asked {
    modes: Option<Modes>,
}

#[derive(Default)]
struct Watch {
    interrupted: AtomicBool,
    ended: AtomicBool,
    /// The order to end was a hang-up.
    hung_up: AtomicBool,
    /// Set while someone is asked.
    asked: Mutex<Option<Asked>>,
}

static WATCH: OnceLock<Watch> = OnceLock::new();
static STARTED: Mutex<bool> = Mutex::new(false);

fn watch() -> &'static Watch {
    WATCH.get_or_init(Watch::default)
}

/// The value behind a lock; a thread that died holding it left nothing half done.
fn lock<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

/// Someone is asked from now on, on standard input; where that is a terminal, with these modes.
pub(super) fn begin(modes: Option<Modes>) -> io::Result<()> {
    let mut started = lock(&STARTED);
    if !*started {
        // A signal that was ignored at our start stays ignored: a job in the background, `nohup`. At a terminal Ctrl-C is
        // a key that the page offers, and comes as SIGINT, so there it is heeded whatever was inherited.
        let ignored = ignored();
        let heeded = [SIGINT, SIGTERM, SIGHUP, SIGCONT]
            .into_iter()
            .filter(|signal| !has(ignored, *signal) || (*signal == SIGINT && modes.is_some()));
        let mut signals = Signals::new(heeded)?;
        std::thread::Builder::new().name("signals".into()).spawn(move || {
            for signal in &mut signals {
                heed(signal, has(ignored, signal));
            }
        })?;
        *started = true;
    }
    watch().interrupted.store(false, Ordering::SeqCst);
    watch().ended.store(false, Ordering::SeqCst);
    watch().hung_up.store(false, Ordering::SeqCst);
    *lock(&watch().asked) = Some(Asked { modes });
    Ok(())
}

/// The signals that are ignored, the lowest bit for signal 1 (proc_pid_status(5), `SigIgn`); none where that is not told.
fn ignored() -> u64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let mask = status.lines().find_map(|line| line.strip_prefix("SigIgn:"));
    mask.and_then(|mask| u64::from_str_radix(mask.trim(), 16).ok()).unwrap_or(0)
}

fn has(set: u64, signal: i32) -> bool {
    set >> (signal - 1) & 1 == 1
}

/// Nobody is asked any more.
pub(super) fn end() {
    *lock(&watch().asked) = None;
}

/// Whether Ctrl-C came since this was last asked.
pub(super) fn take_interrupt() -> bool {
    watch().interrupted.swap(false, Ordering::SeqCst)
}

/// Whether the program has been told to end.
pub(super) fn must_end() -> bool {
    watch().ended.load(Ordering::SeqCst)
}

/// Whether it was told so by a hang-up: its terminal is gone.
pub(super) fn hung_up() -> bool {
    watch().hung_up.load(Ordering::SeqCst)
}

/// Acts on a signal; `ignored` at our start, it does nothing while nobody is asked.
fn heed(signal: i32, ignored: bool) {
    let asked = lock(&watch().asked).clone();
    let Some(Asked { modes }) = asked else {
        if ignored {
            return;
        }
        // Nothing sensible is left to do if even the default action fails.
        let _ = emulate_default_handler(signal);
        return;
    };
    if signal == SIGCONT {
        // Whoever stopped us gave the terminal its own modes in the meantime.
        if let Some(modes) = &modes {
            let _ = tcsetattr(rustix::stdio::stdin(), OptionalActions::Now, &modes.while_asking);
        }
        return;
    }
    if signal == SIGHUP {
        watch().hung_up.store(true, Ordering::SeqCst);
    }
    let flag = if signal == SIGINT { &watch().interrupted } else { &watch().ended };
    if flag.swap(true, Ordering::SeqCst) {
        if let Some(modes) = &modes {
            let _ = tcsetattr(rustix::stdio::stdin(), OptionalActions::Now, &modes.before);
        }
        let _ = emulate_default_handler(signal);
    }
}
